"""The legend of marks in use, in one line from the right."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.marks import Mark, draw_mark
from librarian.window.paint.text import draw
from librarian.window.parts.lookful import Lookful

BETWEEN, MARK_ROOM, SIZE = 16, 16, 4.6
SIZES: dict[Mark, float] = {"A": 4.2, "B": 4.6, "unknown": 6.4, "setup": 5.4, "locked": 4.6, "agrees": 5.0}


class Legend(Lookful):
    """Marks with their words, right-aligned; the last ones are left out where there is no room."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.entries: tuple[tuple[Mark, str], ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)

    def show_entries(self, entries: Sequence[tuple[Mark, str]]) -> None:
        """Other marks."""
        self.entries = tuple(entries)
        self.setAccessibleName("Marks in use: " + ", ".join(words for _, words in self.entries))
        self.updateGeometry()
        self.update()

    def _width(self, words: str) -> float:
        return MARK_ROOM + self.fonts.metrics(SMALL).horizontalAdvance(words)

    def sizeHint(self) -> QSize:
        wide = sum(self._width(words) + BETWEEN for _, words in self.entries) - BETWEEN
        return QSize(max(0, round(wide) + 2), self.fonts.room(18))

    def minimumSizeHint(self) -> QSize:
        return QSize(0, self.fonts.room(18))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setFont(self.fonts.get(SMALL))
        middle = self.height() / 2
        shown, used = [], 0.0
        for mark, words in self.entries:
            wide = self._width(words)
            if used + wide > self.width() + 1:
                break
            shown.append((mark, words, wide))
            used += wide + BETWEEN
        left = self.width() - (used - BETWEEN)
        for mark, words, wide in shown:
            draw_mark(painter, mark, QPointF(left + SIZE + 1, middle), SIZES.get(mark, SIZE), self.colours)
            draw(painter, QRectF(left + MARK_ROOM, 0, wide - MARK_ROOM + 2, self.height()), words, self.colours.ink2,
                 elide=None)
            left += wide + BETWEEN
        painter.end()
