"""The drawn marks: one vocabulary for list, panel, table, history, chain and stage.

Each is told by its shape alone; colour repeats it. All are painted, never typed: fonts lack them or draw them
differently. Every function draws centred on a point; `size` is the mark's outer radius in px.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPolygonF

from librarian.window.paint.palette import Palette
from librarian.window.paint.text import polar, stroke

Mark = Literal[
    "A", "B", "panel", "changed", "unknown", "setup", "locked", "agrees", "equal", "different", "broken",
    "question", "alarm", "to instrument", "to computer",
]
MARKS: tuple[Mark, ...] = (
    "A", "B", "panel", "changed", "unknown", "setup", "locked", "agrees", "equal", "different", "broken",
    "question", "alarm", "to instrument", "to computer",
)


def disc(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """A, the stored value: a filled disc."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawEllipse(at, size, size)


def ring(painter: QPainter, at: QPointF, size: float, colour: QColor, fill: QColor | None = None,
         width: float = 2.0) -> None:
    """B, the second sound: an open ring with a 2 px stroke."""
    painter.setPen(stroke(colour, width))
    painter.setBrush(Qt.BrushStyle.NoBrush if fill is None else fill)
    painter.drawEllipse(at, size - width / 2, size - width / 2)


def triangle(painter: QPainter, at: QPointF, size: float, colour: QColor, towards: float = 90.0) -> None:
    """The panel now: a filled triangle whose tip points at `towards` degrees (90 is up), `at` its middle."""
    tip = polar(at, size * 0.8, towards)
    foot = polar(at, size * 0.8, towards + 180)
    side = size * 0.78
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawPolygon(QPolygonF([tip, polar(foot, side, towards + 90), polar(foot, side, towards - 90)]))


def diamond(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Changed since capture or recall."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawPolygon(QPolygonF([polar(at, size, turn) for turn in (0.0, 90.0, 180.0, 270.0)]))


def letter(painter: QPainter, at: QPointF, px: float, text: str, colour: QColor) -> None:
    """One bold character, its ink centred on the point: drawn as a path, so that it is as sharp as a mark."""
    font = QFont(painter.font())
    font.setPixelSize(max(6, round(px)))
    font.setBold(True)
    path = QPainterPath()
    path.addText(QPointF(0, 0), font, text)
    box = path.boundingRect()
    path.translate(at.x() - box.center().x(), at.y() - box.center().y())
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawPath(path)


def unknown(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Never received: a ring of four dashes with a question mark in it."""
    width = max(1.2, size * 0.22)
    painter.setPen(stroke(colour, width))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    radius = size - width / 2
    box = QRectF(at.x() - radius, at.y() - radius, 2 * radius, 2 * radius)
    for quarter in range(4):
        painter.drawArc(box, round((quarter * 90 + 19) * 16), 52 * 16)
    letter(painter, at, size * 1.5, "?", colour)


def square(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """A setup parameter: an open square."""
    width = max(1.5, size * 0.3)
    half = size * 0.88 - width / 2
    painter.setPen(stroke(colour, width, round_cap=True))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(QRectF(at.x() - half, at.y() - half, 2 * half, 2 * half))


def padlock(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Locked: recall and vary skip it."""
    body = QRectF(at.x() - size * 0.78, at.y() - size * 0.3, size * 1.56, size * 1.3)
    width = max(1.2, size * 0.3)
    bow = QRectF(at.x() - size * 0.48, at.y() - size * 0.9, size * 0.96, size * 1.1)
    painter.setPen(stroke(colour, width))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    path = QPainterPath(QPointF(bow.left(), body.top() + 1))
    path.lineTo(bow.left(), bow.center().y())
    path.arcTo(bow, 180, -180)
    path.lineTo(bow.right(), body.top() + 1)
    painter.drawPath(path)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    painter.drawRoundedRect(body, size * 0.12, size * 0.12)


def tick(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Agrees, or answered."""
    path = QPainterPath(QPointF(at.x() - size * 0.85, at.y() + size * 0.1))
    path.lineTo(at.x() - size * 0.25, at.y() + size * 0.72)
    path.lineTo(at.x() + size * 0.88, at.y() - size * 0.72)
    painter.setPen(stroke(colour, max(1.8, size * 0.38)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(path)


def equal(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Read back equal."""
    thick = max(2.0, size * 0.34)
    for y in (-size * 0.42, size * 0.42):
        painter.fillRect(QRectF(at.x() - size * 0.95, at.y() + y - thick / 2, size * 1.9, thick), colour)


def different(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """Read back different."""
    equal(painter, at, size, colour)
    painter.setPen(stroke(colour, max(2.0, size * 0.34)))
    painter.drawLine(QPointF(at.x() - size * 0.62, at.y() + size), QPointF(at.x() + size * 0.62, at.y() - size))


def broken(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    """A line that ends here: its two ends bent apart."""
    painter.setPen(stroke(colour, max(2.4, size * 0.36), round_cap=True))
    painter.drawLine(QPointF(at.x() - size, at.y()), QPointF(at.x() - size * 0.18, at.y() - size * 0.62))
    painter.drawLine(QPointF(at.x() + size * 0.18, at.y() + size * 0.62), QPointF(at.x() + size, at.y()))


def draw_mark(painter: QPainter, mark: Mark, at: QPointF, size: float, palette: Palette) -> None:
    """One mark in the colour that repeats its meaning."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    shape, colour = _table(palette)[mark]
    shape(painter, at, size, colour)
    painter.restore()


def _table(palette: Palette) -> dict[Mark, tuple[Callable[[QPainter, QPointF, float, QColor], None], QColor]]:
    return {
        "A": (disc, palette.ink),
        "B": (ring, palette.b),
        "panel": (triangle, palette.live),
        "changed": (diamond, palette.live),
        "unknown": (unknown, palette.ink2),
        "setup": (square, palette.ink2),
        "locked": (padlock, palette.ink2),
        "agrees": (tick, palette.ink),
        "equal": (equal, palette.ink),
        "different": (different, palette.broken),
        "broken": (broken, palette.broken),
        "question": (_question, palette.ink),
        "alarm": (_alarm, palette.broken),
        "to instrument": (_rightwards, palette.live),
        "to computer": (_leftwards, palette.live),
    }


def _question(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    letter(painter, at, size * 2.4, "?", colour)


def _alarm(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    letter(painter, at, size * 2.4, "!", colour)


def _rightwards(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    triangle(painter, at, size, colour, 0.0)


def _leftwards(painter: QPainter, at: QPointF, size: float, colour: QColor) -> None:
    triangle(painter, at, size, colour, 180.0)
