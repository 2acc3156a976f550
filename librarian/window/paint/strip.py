"""The range strip of the values table: a line with end ticks, and where the two sounds and the panel stand on it."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QPainter

from librarian.window.paint import marks
from librarian.window.paint.palette import Palette
from librarian.window.paint.text import dashed, stroke

DISC, BEAD, TRIANGLE = 4.0, 4.2, 4.2
EDGE = 4.5


@dataclass(frozen=True)
class StripState:
    """Shares of the range, 0 to 1; None is unknown or absent. `differs`: the bar between A and B is drawn."""

    a: float | None = None
    b: float | None = None
    now: float | None = None
    differs: bool = False


def paint_strip(painter: QPainter, box: QRectF, state: StripState, palette: Palette) -> None:
    """Draw the strip across `box`, its line in the middle of the height; the marks need 14 px of height."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    y = round(box.center().y()) + 0.5
    left, right = box.left() + EDGE, box.right() - EDGE

    def place(share: float) -> QPointF:
        return QPointF(left + (right - left) * min(1.0, max(0.0, share)), y)

    if state.a is None and state.b is None and state.now is None:
        painter.setPen(dashed(palette.ring, 1.0, 3, 3))
        painter.drawLine(QPointF(left, y), QPointF(right, y))
    else:
        painter.setPen(stroke(palette.ring, 1.0))
        painter.drawLine(QPointF(left, y), QPointF(right, y))
    painter.setPen(stroke(palette.ring, 1.0))
    for x in (left, right):
        painter.drawLine(QPointF(x, y - 3), QPointF(x, y + 3))
    if state.differs and state.a is not None and state.b is not None:
        painter.setPen(stroke(palette.b, 3.4))
        painter.drawLine(place(state.a), place(state.b))
    if state.a is not None:
        marks.disc(painter, place(state.a), DISC, palette.ink)
    if state.b is not None:
        marks.ring(painter, place(state.b), BEAD, palette.b, palette.sheet, 1.9)
    if state.now is not None:
        below = place(state.now) + QPointF(0, 1.5 + TRIANGLE * 0.8)
        marks.triangle(painter, below, TRIANGLE, palette.live, 90)
    painter.restore()
