"""Describe where an instrument is: its chart, its ports; or have every pair of ports asked who is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QComboBox, QVBoxLayout, QWidget

from librarian.window.paint.fonts import BODY, SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import one_line
from librarian.window.parts.arranged import button_row, form, on_page
from librarian.window.parts.button import Button
from librarian.window.parts.field import Field
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec

NOT_CHOSEN = "not chosen"
OTHER_FILE = "another chart file…"


@dataclass(frozen=True)
class Offer:
    """What there is to choose from. `charts`: (key, name); ports: (fingerprint, name). `instrument`: the id of the one
    whose ports are chosen anew, None for a new one; then `name` and `chart` are what it has now."""

    charts: Sequence[tuple[str, str]] = ()
    outputs: Sequence[tuple[str, str]] = ()
    inputs: Sequence[tuple[str, str]] = ()
    instrument: int | None = None
    name: str = ""
    chart: str = ""
    output: str = ""
    input: str = ""


@dataclass(frozen=True)
class Chosen:
    """What the person chose. `chart` is a key of the offer."""

    instrument: int | None
    name: str
    chart: str
    output: str
    input: str


class ConnectPage(Lookful):
    """`accepted` (Chosen), `asked` (Chosen: find it by asking), `file_asked` (load a chart file), `left`."""

    accepted = Signal(object)
    asked = Signal(object)
    file_asked = Signal()
    left = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self._offer = Offer()
        self.title = Sentence(look, px=BODY + 5)
        self.chart, self.output, self.input = QComboBox(), QComboBox(), QComboBox()
        self.name = Field(look, "as the chart calls it", "Name of the instrument")
        self.saying = Sentence(look, second=True)
        self.connect_button = Button(look, ButtonSpec("connect", "Connect", primary=True), self._pressed)
        self.ask_button = Button(look, ButtonSpec("ask", "Ask every port"), self._pressed)
        self.leave_button = Button(look, ButtonSpec("leave", "Not now", key="Esc"), self._pressed)
        self._build()
        self.chart.activated.connect(self._chart_taken)
        for box in (self.output, self.input):
            box.currentIndexChanged.connect(self._settle)

    def _build(self) -> None:
        rows = (
            ("Chart", self.chart), ("Name", self.name), ("Output, to its MIDI IN", self.output),
            ("Input, from its MIDI OUT", self.input),
        )
        grid, self._labels = form(rows)
        for text, widget in rows:
            widget.setAccessibleName(text)
        column = QVBoxLayout()
        column.addWidget(self.title)
        column.addLayout(grid)
        column.addWidget(self.saying)
        column.addLayout(button_row((self.connect_button, self.ask_button, self.leave_button)))
        on_page(self, column, width=620, top=48)
        self.look_changed()

    def show_offer(self, offer: Offer) -> None:
        """Other charts or ports, or another instrument; what was chosen stays chosen where it is still there."""
        same = offer.instrument == self._offer.instrument
        chart, output, input_ = (
            (self._taken(self.chart), self._taken(self.output), self._taken(self.input)) if same else ("", "", "")
        )
        self._offer = offer
        new = offer.instrument is None
        self.title.say("Connect an instrument" if new else f"Ports and chart of {one_line(offer.name)}")
        self._fill(self.chart, [*offer.charts, ("", OTHER_FILE)], chart or offer.chart, first=None)
        self._fill(self.output, offer.outputs, output or offer.output, first=NOT_CHOSEN)
        self._fill(self.input, offer.inputs, input_ or offer.input, first=NOT_CHOSEN)
        if not same:
            self.name.edit.setText(offer.name)
        self.say("Plug its MIDI OUT into the interface’s IN and its MIDI IN into the interface’s OUT, and switch it "
                 "on. Nothing is sent to a port but the question who is there.")
        self._settle()

    def choose_chart(self, key: str) -> None:
        """Choose this chart of the offer."""
        self.chart.setCurrentIndex(max(0, self.chart.findData(key)))

    def choose_ports(self, output: str, input_: str) -> None:
        """Choose these ports of the offer, as found by asking."""
        self.output.setCurrentIndex(max(0, self.output.findData(output)))
        self.input.setCurrentIndex(max(0, self.input.findData(input_)))

    def say(self, sentence: str) -> None:
        """What is going on, or what went wrong."""
        self.saying.say_plainly(sentence)

    @property
    def chosen(self) -> Chosen:
        """What is chosen now."""
        return Chosen(
            self._offer.instrument, self.name.edit.text().strip(), self._taken(self.chart), self._taken(self.output),
            self._taken(self.input),
        )

    def take_focus(self) -> None:
        """Focus goes to the first field that can be changed."""
        (self.chart if self._offer.instrument is None else self.output).setFocus(Qt.FocusReason.OtherFocusReason)

    @staticmethod
    def _taken(box: QComboBox) -> str:
        data = box.currentData()
        return data if isinstance(data, str) else ""

    @staticmethod
    def _fill(box: QComboBox, entries: Sequence[tuple[str, str]], chosen: str, first: str | None) -> None:
        box.blockSignals(True)
        box.clear()
        if first is not None:
            box.addItem(first, "")
        for key, name in entries:
            box.addItem(one_line(name), key)
        place = box.findData(chosen) if chosen else 0
        box.setCurrentIndex(max(place, 0))
        box.blockSignals(False)

    def _settle(self) -> None:
        chosen = self.chosen
        missing = "" if chosen.output and chosen.input else "Choose an output and an input first."
        if not chosen.chart:
            missing = "Choose a chart first."
        self.connect_button.set_spec(ButtonSpec("connect", "Connect", primary=True, reason=missing))
        reason = "" if self._offer.outputs and self._offer.inputs else "There is no port to ask."
        no_chart = "" if chosen.chart else missing
        self.ask_button.set_spec(ButtonSpec("ask", "Ask every port", reason=reason or no_chart))

    def _chart_taken(self) -> None:
        if self.chart.currentText() == OTHER_FILE:
            self.file_asked.emit()
        self._settle()

    def _pressed(self, name: str) -> None:
        if name == "connect":
            self.accepted.emit(self.chosen)
        elif name == "ask":
            self.asked.emit(self.chosen)
        else:
            self.left.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)

    def look_changed(self) -> None:
        for label in self._labels:
            label.setFont(self.fonts.get(SMALL))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()
