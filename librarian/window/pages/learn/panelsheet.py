"""Learning from the panel: the control that moves, what it is called, and all that were learnt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from librarian.chart.learn import Control, Naming
from librarian.window.pages.learn.nowbox import NowBox
from librarian.window.pages.learn.subjects import PanelView
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import button_row
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.choice import Choice
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted

AS_HEARD = "heard"
KINDS = ("continuous", "bipolar", "stepped", "switch")
_FEW = 3
"""A control with fewer messages was perhaps only touched; it does not take the question away from another one."""


@dataclass(frozen=True)
class Named:
    """What the person says: which control is what."""

    key: int
    naming: Naming


class PanelSheet(Lookful):
    """`named` (Named), `left_out` (key), `pressed` (write, dumps, leave).

    The question follows the hand: the control that moves is asked about, unless a name is being typed for another one.
    """

    named = Signal(object)
    left_out = Signal(int)
    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.view = PanelView()
        self._asked: int | None = None
        self._kind = AS_HEARD
        self.state = Sentence(look)
        self.now = NowBox(look)
        self.name = Field(look, "name on the panel, then Enter", "Name of the control that moved")
        self.section = Field(look, "section, e.g. Filter", "Section of the panel")
        self.positions = Field(look, "names of its positions, lowest first, with commas", "Names of its positions")
        self.kind = Choice(look, "Kind of control")
        self.list = LineList(look, "Controls that were learnt")
        self.write = Button(look, ButtonSpec("write", "Write the chart"), self.pressed.emit)
        self.dumps = Button(look, ButtonSpec("dumps", "Learn its dumps too"), self.pressed.emit)
        self.out = Button(look, ButtonSpec("out", "Leave this one out"), lambda _name: self._leave_out())
        self.leave = Button(look, ButtonSpec("leave", "Not now", key="Esc"), self.pressed.emit)
        self._build()
        for field in (self.name, self.section, self.positions):
            field.edit.returnPressed.connect(self._enter)
        self.kind.chosen.connect(self._kind_chosen)
        self.list.current_changed.connect(self._looked_at)
        self.list.opened.connect(lambda _row: self.name.take_focus())
        self.list.delete_asked.connect(self._leave_out_rows)
        self._keys: list[int] = []
        self._show()

    def _leave_out_rows(self, rows: Sequence[int]) -> None:
        for key in [self._keys[row] for row in rows]:
            self.left_out.emit(key)

    def _build(self) -> None:
        names = QHBoxLayout()
        names.setSpacing(8)
        names.addWidget(self.section, 2)
        names.addWidget(self.name, 3)
        names.addWidget(self.kind)
        buttons = button_row((self.write, self.dumps, self.out, self.leave))
        buttons.setContentsMargins(-FRAME, 4, 0, 0)
        buttons.setSpacing(0)
        column = QVBoxLayout(self)
        column.setContentsMargins(24, 4, 24, 10)
        column.setSpacing(8)
        column.addWidget(self.now)
        column.addLayout(names)
        column.addWidget(self.positions)
        column.addWidget(self.state)
        column.addWidget(self.list, 1)
        column.addLayout(buttons)

    def begin(self) -> None:
        """A new session."""
        self._asked = None
        for field in (self.name, self.section, self.positions):
            field.edit.clear()
        self.show_view(PanelView())

    def show_view(self, view: PanelView) -> None:
        """What is known now."""
        self.view = view
        moving = view.of(view.current)
        if view.of(self._asked) is None and self._asked is not None:
            # Two halves of a pair have turned out to be one control; a name that is being typed is for that one.
            self._asked = view.current
        asked = view.of(self._asked)
        typing = bool(self.name.edit.text().strip()) and asked is not None
        if moving is not None and not typing and moving.key != self._asked:
            # A neighbour that was brushed does not take the question from a control that still waits for its name.
            brushed = moving.messages < _FEW and asked is not None and not asked.label
            if not brushed:
                self._ask(moving.key)
        self._show()

    def say(self, sentence: str) -> None:
        """What cannot be, in the place of the counts until something else happens."""
        self.state.say(sentence)

    def take_focus(self) -> None:
        """Focus goes to the name: from there the keyboard does everything."""
        self.name.take_focus()

    @property
    def asked(self) -> Control | None:
        """The control that is asked about."""
        return self.view.of(self._asked)

    # -- within

    def _ask(self, key: int) -> None:
        self._asked = key
        self._kind = AS_HEARD
        control = self.view.of(key)
        if control is not None and control.label:
            self.name.edit.setText(control.label)
            self.name.edit.selectAll()
        else:
            self.name.edit.clear()
        self.positions.edit.clear()

    def _show(self) -> None:
        control = self.asked
        self.now.show_control(control)
        nature = control.nature if control is not None else None
        steps = len(nature.steps) if nature is not None else 0
        self.positions.setVisible(1 < steps <= 32)
        heard = f"{nature.kind}, as heard" if nature is not None else "kind as heard"
        options = [(AS_HEARD, heard), *((kind, kind) for kind in KINDS if kind in self._possible(control))]
        self.kind.show_options(options, self._kind)
        named, all_ = self.view.named, len(self.view.controls)
        waiting = all_ - named
        told = f"{counted(named, 'control')} named" + (f", {waiting} without a name." if waiting else ".")
        rest = "Type its name and press Enter, then move the next one; Section/Name says both at once."
        if control is None and not all_:
            told, rest = "Nothing has moved yet.", "Notes, clocks and pitch bend do not count."
        self.state.say(told, " ".join(part for part in (rest, self._noise()) if part))
        self._keys = [one.key for one in self.view.controls]
        self.list.show_lines([_line(one) for one in self.view.controls], keep=False)
        if self._asked in self._keys:
            self.list.blockSignals(True)
            self.list.select_row(self._keys.index(self._asked))
            self.list.blockSignals(False)
        nothing = "" if named else "No control has a name yet."
        self.write.set_spec(ButtonSpec("write", "Write the chart", primary=True, key="Ctrl+Return", reason=nothing))
        self.dumps.set_spec(ButtonSpec("dumps", "Learn its dumps too", reason=nothing))
        self.out.set_spec(
            ButtonSpec("out", "Leave this one out", reason="" if control is not None else "No control is asked about.")
        )

    def _noise(self) -> str:
        parts = [f"{count} {name}" for name, count in self.view.unused]
        if self.view.longer:
            parts.append(counted(self.view.longer, "dump"))
        return f"Not used: {', '.join(parts)}." if parts else ""

    @staticmethod
    def _possible(control: Control | None) -> tuple[str, ...]:
        """Kinds that may be said of it: positions need a few numbers that were seen."""
        if control is None or not control.nature.steps:
            return ("continuous", "bipolar")
        return ("continuous", "bipolar", "stepped", "switch") if len(control.nature.steps) == 2 else KINDS[:3]

    def _kind_chosen(self, kind: str) -> None:
        self._kind = kind
        self._show()

    def _looked_at(self, row: int) -> None:
        if 0 <= row < len(self._keys) and self._keys[row] != self._asked:
            self._ask(self._keys[row])
            self._show()

    def _leave_out(self) -> None:
        if self._asked is not None:
            key, self._asked = self._asked, None
            self.name.edit.clear()
            self.left_out.emit(key)

    def _enter(self) -> None:
        text, control = self.name.edit.text().strip(), self.asked
        if control is None or not text:
            self.name.take_focus()
            return
        section, slash, label = text.rpartition("/")
        if slash and section.strip():
            self.section.edit.setText(section.strip())
        kind = None if self._kind == AS_HEARD else self._kind
        positions = tuple(word.strip() for word in self.positions.edit.text().split(",") if word.strip())
        naming = Naming(label.strip(), self.section.edit.text().strip() or "Panel", kind, positions)  # type: ignore[arg-type]
        self.name.edit.clear()
        self.positions.edit.clear()
        self._kind = AS_HEARD
        self.name.take_focus()
        self.named.emit(Named(control.key, naming))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        enter = event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}
        if enter and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.write.click()
        else:
            super().keyPressEvent(event)


def _line(one: Control) -> Line:
    nature = one.nature
    steps = f", {counted(len(nature.steps), 'position')}" if nature.steps else f", {nature.low} to {nature.high}"
    second = f"{'; '.join(one.texts)} · {nature.kind}{steps}"
    if nature.advice:
        second += f" · {nature.advice}"
    label = f"{one.section}, {one.label}" if one.label else "no name yet"
    return Line(label, second, mark="A" if one.label and nature.certain else "unknown", strong=not one.label)
