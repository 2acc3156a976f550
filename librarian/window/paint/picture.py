"""What was painted once and is only put there again: painting from Python is slow, and little of it changes."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSize
from PySide6.QtGui import QColor, QPainter, QPixmap


class Picture:
    """Of a whole widget, for as long as it would be painted in the same way. It covers what lies under it."""

    def __init__(self) -> None:
        self._pixels = QPixmap()
        self._of: object = None

    def show(self, painter: QPainter, ground: QColor, of: object, paint: Callable[[QPainter], None]) -> None:
        """Put it there. `paint` is called when `of`, all that it depends on, or size or resolution have changed."""
        device = painter.device()
        ratio = device.devicePixelRatioF()
        size = QSize(device.width(), device.height()) * ratio
        if self._of != of or self._pixels.size() != size:
            self._pixels = QPixmap(size)
            self._pixels.setDevicePixelRatio(ratio)
            # At 125 % a widget ends within a pixel, which its painting covers only in part.
            self._pixels.fill(ground)
            inner = QPainter(self._pixels)
            paint(inner)
            inner.end()
            self._of = of
        painter.drawPixmap(0, 0, self._pixels)
