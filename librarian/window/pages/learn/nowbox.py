"""The control that moves now, drawn large: its dial, how it travels, how far it has reached."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from librarian.chart.learn import Control
from librarian.window.paint.controls import ControlState, paint_control
from librarian.window.paint.fonts import NAME, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, one_line
from librarian.window.parts.lookful import Lookful
from librarian.window.words import counted

DIAL, GAP, HEIGHT = 92, 24, 116
WAITING = "Move one control from end to end and back."


class NowBox(Lookful):
    """Shows a `Control`, or what to do while there is none."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self._control: Control | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.show_control(None)

    @property
    def lines(self) -> tuple[str, str, str]:
        """What stands beside the dial."""
        one = self._control
        if one is None:
            return WAITING, "What it sends is recognised by itself: you only say what it is called.", ""
        nature = one.nature
        steps = f", {counted(len(nature.steps), 'position')}" if nature.steps else ""
        reach = f"{nature.kind}{steps}, heard from {_figure(nature.low)} to {_figure(nature.high)}"
        title = f"{one.label} ({'; '.join(one.texts)})" if one.label else "; ".join(one.texts)
        return title, f"{reach}, {counted(one.messages, 'message')}", nature.advice

    def show_control(self, control: Control | None) -> None:
        """Another control, or the same one further on."""
        self._control = control
        self.setAccessibleName(one_line(". ".join(part for part in self.lines if part)))
        self.update()

    @property
    def state(self) -> ControlState:
        """How it is drawn: the hand is the value that came last, in the range of what its bytes can carry so far."""
        one = self._control
        if one is None:
            return ControlState()
        nature = one.nature
        span = max(1, nature.high - nature.low)
        share = min(1.0, max(0.0, (one.last - nature.low) / span))
        kind = "continuous" if nature.kind == "continuous" else nature.kind
        if kind == "switch":
            return ControlState("switch", 2, a=share)
        if nature.steps and one.last in nature.steps:
            share = nature.steps.index(one.last) / max(1, len(nature.steps) - 1)
        return ControlState(kind, len(nature.steps), a=share)

    def sizeHint(self) -> QSize:
        return QSize(420, self.fonts.room(HEIGHT))

    def minimumSizeHint(self) -> QSize:
        return QSize(260, self.fonts.room(HEIGHT))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), self.colours.sheet)
        top = (self.height() - DIAL) / 2
        paint_control(painter, QRectF(2, top, DIAL, DIAL), self.state, self.colours)
        first, second, third = self.lines
        fonts, left = self.fonts, DIAL + GAP
        wide = self.width() - left - 8
        middle = self.height() / 2
        line = fonts.room(20)
        painter.setFont(fonts.get(NAME, bold=True))
        draw(painter, QRectF(left, middle - 2.1 * line, wide, 1.5 * line), one_line(first), self.colours.ink)
        painter.setFont(fonts.get(TEXT))
        draw(painter, QRectF(left, middle - 0.4 * line, wide, line), second, self.colours.ink2)
        painter.setFont(fonts.get(TEXT, bold=True))
        draw(painter, QRectF(left, middle + 0.7 * line, wide, line), third, self.colours.ink)
        painter.end()


def _figure(number: int) -> str:
    return f"−{-number}" if number < 0 else str(number)
