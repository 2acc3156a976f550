"""A thin scroll bar in the palette's colours, in every theme and on every platform."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QScrollBar, QStyle, QStyleOptionSlider, QWidget

from librarian.window.paint.look import Look
from librarian.window.paint.palette import mix

WIDTH, THUMB, LEAST = 9, 3, 24


class ThinScrollBar(QScrollBar):
    """An upright or level bar: no trough, a 3 px thumb, 9 px to take hold of.

    `overlays`: what lies below shines through. `head`: height of the heads that a table has beside it, px.
    """

    def __init__(self, look: Look, orientation: Qt.Orientation = Qt.Orientation.Vertical,
                 parent: QWidget | None = None) -> None:
        super().__init__(orientation, parent)
        self.look = look
        self.overlays = False
        self.head = 0
        # Without this the style keeps room for arrow buttons that are not drawn.
        self.setStyleSheet("QScrollBar::add-line, QScrollBar::sub-line { width: 0px; height: 0px; }"
                           "QScrollBar { margin: 0px; }")
        look.changed.connect(self._look_has_changed)

    def _look_has_changed(self) -> None:
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(WIDTH, 40) if self.orientation() == Qt.Orientation.Vertical else QSize(40, WIDTH)

    def _thumb(self) -> QRectF:
        option = QStyleOptionSlider()
        self.initStyleOption(option)
        return QRectF(self.style().subControlRect(
            QStyle.ComplexControl.CC_ScrollBar, option, QStyle.SubControl.SC_ScrollBarSlider, self
        ))

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours = self.look.palette
        painter = QPainter(self)
        if not self.overlays:
            painter.fillRect(self.rect(), colours.sheet)
            painter.fillRect(0, 0, self.width(), self.head, colours.well)
        if self.maximum() > self.minimum():
            thumb = self._thumb()
            if self.orientation() == Qt.Orientation.Vertical:
                thumb = QRectF(thumb.center().x() - THUMB / 2, thumb.top(), THUMB, max(LEAST, thumb.height()))
            else:
                thumb = QRectF(thumb.left(), thumb.center().y() - THUMB / 2, max(LEAST, thumb.width()), THUMB)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(colours.ring if self.isSliderDown() else mix(colours.ring, colours.sheet, 0.25))
            painter.drawRoundedRect(thumb, THUMB / 2, THUMB / 2)
        painter.end()
