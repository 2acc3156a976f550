"""Notices in place: a sentence with buttons that stays until it is answered or overtaken, never on a timer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from librarian.window.paint.fonts import BODY, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import hairline
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.flow import FlowLayout
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec


@dataclass(frozen=True)
class NoticeState:
    """`first` is bold, `rest` below it in second ink (or behind it, in a foot). `bar`: its left edge, ink or broken.

    `safe`: the button that changes nothing and takes the focus; the last one unless named.
    """

    first: str
    rest: str = ""
    buttons: tuple[ButtonSpec, ...] = ()
    bar: Literal["", "ink", "broken"] = "ink"
    safe: str = ""


def undo_notice(what: str, key: str = "Ctrl+Z") -> NoticeState:
    """After something that can be undone: "Deleted “Rain on the skylight” and its 2 versions."."""
    return NoticeState("", what, (ButtonSpec("undo", "Undo", key=key),), bar="")


def loudness_notice() -> NoticeState:
    """Before the first recall, audition or vary of an instrument on a day."""
    return NoticeState(
        "Turn the monitors down first: this sound may be loud, and hearing damage is permanent.",
        "Follow local rules and the venue’s sound engineer.",
        (ButtonSpec("monitors_down", "Monitors are down, recall", primary=True),
         ButtonSpec("not_now", "Not now", key="Esc")),
    )


class _Notice(Lookful):
    """What both shapes of a notice share: sentences, buttons, Esc."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.state: NoticeState | None = None
        self.buttons: dict[str, Button] = {}
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
        self.hide()

    def show_state(self, state: NoticeState | None) -> None:
        """Show a notice, or none."""
        self.state = state
        for button in self.buttons.values():
            button.hide()
            button.deleteLater()
        self.buttons = {}
        if state is None:
            self.hide()
            return
        self._say(state)
        for spec in state.buttons:
            button = Button(self.look, spec, self.pressed.emit)
            self.buttons[spec.name] = button
            self._place_button(button)
            button.show()
        self.show()
        self._keep_whole()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._keep_whole()

    def _keep_whole(self) -> None:
        """However narrow, neither a line nor a button is cut."""
        layout = self.layout()
        if layout is not None and layout.hasHeightForWidth():
            self.setMinimumHeight(layout.heightForWidth(self.width()))

    def take_focus(self) -> None:
        """Focus goes to the button that changes nothing."""
        if self.buttons:
            safe = self.buttons.get(self.state.safe) if self.state is not None else None
            (safe or list(self.buttons.values())[-1]).setFocus(Qt.FocusReason.OtherFocusReason)

    def _say(self, state: NoticeState) -> None:
        raise NotImplementedError

    def _place_button(self, button: Button) -> None:
        raise NotImplementedError


class Band(_Notice):
    """A notice as wide as its area: sentence above, buttons below, a 5 px bar at its left."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.first = Sentence(look, px=BODY)
        self.rest = Sentence(look, px=TEXT, second=True)
        self._row = FlowLayout()
        column = QVBoxLayout(self)
        column.setContentsMargins(20 - FRAME, 8, 16, 8)
        for words in (self.first, self.rest):
            words.setContentsMargins(FRAME, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.first)
        column.addWidget(self.rest)
        column.addSpacing(4)
        holder = QHBoxLayout()
        holder.setContentsMargins(0, 0, 0, 0)
        holder.addLayout(self._row)
        column.addLayout(holder)
        column.addStretch(1)

    def _say(self, state: NoticeState) -> None:
        self.first.say(state.first)
        self.first.setVisible(bool(state.first))
        self.rest.say_plainly(state.rest)
        self.rest.setVisible(bool(state.rest))
        self.setAccessibleName(f"{state.first} {state.rest}".strip())

    def _place_button(self, button: Button) -> None:
        self._row.addWidget(button)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        if self.state is not None and self.state.bar:
            colour = self.colours.broken if self.state.bar == "broken" else self.colours.ink
            painter.fillRect(0, 0, 5, self.height(), colour)
        painter.end()


class Foot(_Notice):
    """A notice at the foot of a list: one sentence, its buttons beside it."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.sentence = Sentence(look, px=TEXT)
        self._row: QBoxLayout = QHBoxLayout(self)
        self._row.setContentsMargins(14, 6, 12 - FRAME, 6)
        self._row.setSpacing(4)
        self._row.addWidget(self.sentence, 1, Qt.AlignmentFlag.AlignVCenter)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Maximum)

    def _say(self, state: NoticeState) -> None:
        self.sentence.say(state.first, state.rest)
        self.setAccessibleName(self.sentence.said)

    def _place_button(self, button: Button) -> None:
        self._row.addWidget(button)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.ground)
        hairline(painter, self.colours.ink, 0, 0, self.width(), 0)
        painter.end()

