"""Joints between areas: a hairline of one pixel to see, 5 px to take hold of (Qt widens a joint that thin itself)."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSplitter, QSplitterHandle, QWidget

from librarian.window.paint.look import Look
from librarian.window.paint.text import hairline

HANDLE = 1


class _Handle(QSplitterHandle):
    def __init__(self, look: Look, orientation: Qt.Orientation, parent: QSplitter) -> None:
        super().__init__(orientation, parent)
        self.look = look
        look.changed.connect(self._look_has_changed)

    def _look_has_changed(self) -> None:
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.contentsRect(), self.look.palette.sheet)
        at = self.contentsRect().topLeft()
        if self.orientation() == Qt.Orientation.Horizontal:
            hairline(painter, self.look.palette.line, at.x(), 0, at.x(), self.height())
        else:
            hairline(painter, self.look.palette.line, 0, at.y(), self.width(), at.y())
        painter.end()


class Joint(QSplitter):
    """A splitter whose children never fold away by themselves. `moved_by_hand` once a person has moved it."""

    def __init__(self, look: Look, orientation: Qt.Orientation, parent: QWidget | None = None) -> None:
        super().__init__(orientation, parent)
        self.look = look
        self.moved_by_hand = False
        self.setHandleWidth(HANDLE)
        self.setChildrenCollapsible(False)
        self.splitterMoved.connect(self._moved)

    def createHandle(self) -> QSplitterHandle:
        return _Handle(self.look, self.orientation(), self)

    def _moved(self) -> None:
        self.moved_by_hand = True
