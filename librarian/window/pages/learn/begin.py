"""Where learning begins: which ports, what the model is called, which chart file it becomes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import Signal
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
SAYING = (
    "Plug its MIDI OUT into the interface’s IN, choose that input, and move its controls one after another: the "
    "program sees what they send and writes the chart. Nothing is sent to it but the question who it is."
)


@dataclass(frozen=True)
class Begun:
    """What the person chose. `output`, `input`: fingerprints of ports; `file`: the chart, which may exist already."""

    name: str
    output: str
    input: str
    file: str


class BeginSheet(Lookful):
    """`pressed`: listen, file, leave."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.title = Sentence(look, px=BODY + 5)
        self.title.say("Learn an instrument from itself")
        self.about = Sentence(look)
        self.about.say_plainly(SAYING)
        self.name = Field(look, "what is printed on it", "Name of the model")
        self.output, self.input = QComboBox(), QComboBox()
        self.file = Field(look, "where the chart is written", "Chart file")
        self.saying = Sentence(look, second=True)
        self.listen = Button(look, ButtonSpec("listen", "Listen", primary=True), self.pressed.emit)
        self.choose = Button(look, ButtonSpec("file", "Choose a file…"), self.pressed.emit)
        self.leave = Button(look, ButtonSpec("leave", "Not now", key="Esc"), self.pressed.emit)
        self._file_by_hand = False
        self._folder = Path()
        self._build()
        self.name.edit.textChanged.connect(self._named)
        self.file.edit.textEdited.connect(self._file_edited)
        self.file.edit.textChanged.connect(self._settle)
        for box in (self.output, self.input):
            box.currentIndexChanged.connect(self._settle)
        for field in (self.name, self.file):
            field.edit.returnPressed.connect(self.listen.click)
        self.look_changed()

    def _build(self) -> None:
        rows = (
            ("Name of the model", self.name), ("Input, from its MIDI OUT", self.input),
            ("Output, to its MIDI IN", self.output), ("Chart file", self.file),
        )
        grid, self._labels = form(rows)
        for text, widget in rows:
            if isinstance(widget, QComboBox):
                widget.setAccessibleName(text)
        column = QVBoxLayout()
        column.addWidget(self.title)
        column.addWidget(self.about)
        column.addLayout(grid)
        column.addWidget(self.saying)
        column.addLayout(button_row((self.listen, self.choose, self.leave)))
        on_page(self, column, width=640, top=40)

    def begin(self, folder: Path) -> None:
        """A new session; `folder`: where charts go as long as no file is chosen."""
        self._folder, self._file_by_hand = folder, False
        self.name.edit.setText("")
        self.file.edit.setText("")
        self.say("")
        self._settle()

    def show_ports(self, outputs: Sequence[tuple[str, str]], inputs: Sequence[tuple[str, str]]) -> None:
        """Other ports as (fingerprint, name); what was chosen stays chosen, and a single one is taken."""
        for box, ports in ((self.output, outputs), (self.input, inputs)):
            taken = str(box.currentData() or "")
            box.blockSignals(True)
            box.clear()
            box.addItem(NOT_CHOSEN, "")
            for key, name in ports:
                box.addItem(one_line(name), key)
            place = box.findData(taken) if taken else (1 if len(ports) == 1 else 0)
            box.setCurrentIndex(max(place, 0))
            box.blockSignals(False)
        self._settle()

    def show_file(self, path: str) -> None:
        """A file that the person chose."""
        self._file_by_hand = True
        self.file.edit.setText(path)

    def say(self, sentence: str) -> None:
        """What is going on, or what went wrong."""
        self.saying.say_plainly(sentence)

    @property
    def begun(self) -> Begun:
        """What is chosen now."""
        return Begun(
            self.name.edit.text().strip(), str(self.output.currentData() or ""), str(self.input.currentData() or ""),
            self.file.edit.text().strip(),
        )

    def take_focus(self) -> None:
        """Focus goes to the name."""
        self.name.take_focus()

    def _named(self, text: str) -> None:
        if not self._file_by_hand:
            from librarian.chart.learn.writing import slug

            self.file.edit.setText(str(self._folder / f"{slug(text)}.toml") if text.strip() else "")
        self._settle()

    def _file_edited(self, _text: str) -> None:
        self._file_by_hand = True

    def _settle(self) -> None:
        begun = self.begun
        reason = ""
        if not begun.file:
            reason = "Say what the model is called; the chart file gets its name."
        if not begun.output or not begun.input:
            reason = "Choose an input and an output first."
        self.listen.set_spec(ButtonSpec("listen", "Listen", primary=True, reason=reason))

    def look_changed(self) -> None:
        for label in self._labels:
            label.setFont(self.fonts.get(SMALL))
