"""Progress in place: what is done, a bar, how long still, and a Cancel that says what is kept. Shown after 0.5 s."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from librarian.window.paint.fonts import SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import hairline, stroke
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted_in, figures, size, time_left

AFTER_MS, BAR = 500, 8
CANCEL = ButtonSpec("cancel", "Cancel", key="Esc")


@dataclass(frozen=True)
class ProgressState:
    """`what`: "Reading Lanternfish’s memory"; `done` `of` so many; `seconds_left` None where it is not known; `kept`:
    what a cancel keeps ("23 kept so far; cancel keeps them"); `unit`: what is counted, "" when `what` says it.
    `of` is 0 while it is not known how much there is."""

    what: str
    done: int
    of: int
    seconds_left: float | None = None
    kept: str = ""
    unit: str = ""

    @property
    def first(self) -> str:
        """"Reading Lanternfish’s memory: 23 of 64"."""
        if self.of <= 0:
            return f"{self.what}: {counted_in(self.done, self.unit)}" if self.done else self.what
        done = size(self.done) if self.unit == "bytes" else figures(self.done)
        return f"{self.what}: {done} of {counted_in(self.of, self.unit)}"

    @property
    def rest(self) -> str:
        """"11 s left · 23 kept so far; cancel keeps them"."""
        left = "" if self.seconds_left is None else time_left(self.seconds_left)
        return " · ".join(part for part in (left, self.kept) if part)

    @property
    def share(self) -> float:
        """How much is done, 0 to 1."""
        return min(1.0, max(0.0, self.done / self.of)) if self.of > 0 else 0.0


class _Bar(Lookful):
    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(look, parent)
        self.share = 0.0
        self.setFixedHeight(BAR)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(stroke(self.colours.ring, 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        edge = QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5)
        painter.drawRoundedRect(edge, 3, 3)
        painter.fillRect(QRectF(edge.left(), edge.top() + 0.5, edge.width() * self.share, edge.height() - 1),
                         self.colours.ink)
        painter.end()


class Progress(Lookful):
    """Shows a `ProgressState`, half a second after the first one; None takes it away. `cancelled` by a person."""

    cancelled = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.state: ProgressState | None = None
        self.first = Sentence(look, px=TEXT)
        self.rest = Sentence(look, px=SMALL, second=True)
        self.bar = _Bar(look, self)
        self.button = Button(look, CANCEL, lambda _name: self.cancelled.emit())
        words = QVBoxLayout()
        words.setContentsMargins(0, 0, 0, 0)
        words.setSpacing(4)
        for part in (self.first, self.bar, self.rest):
            words.addWidget(part)
        row = QHBoxLayout(self)
        row.setContentsMargins(14, 8, 12 - FRAME, 8)
        row.setSpacing(6)
        row.addLayout(words, 1)
        row.addWidget(self.button, 0, Qt.AlignmentFlag.AlignVCenter)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Maximum)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(AFTER_MS)
        self._timer.timeout.connect(self.show)
        self.hide()

    def show_state(self, state: ProgressState | None) -> None:
        """Another count; what is over in less than half a second is never seen."""
        if state is None:
            self._timer.stop()
            self.hide()
        elif self.state is None:
            self._timer.start()
        self.state = state
        if state is None:
            return
        self.first.say(state.first)
        self.rest.say_plainly(state.rest)
        self.bar.share = state.share
        self.bar.update()
        self.setAccessibleName(state.first)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        hairline(painter, self.colours.line, 0, 0, self.width(), 0)
        painter.end()
