"""A layout that places widgets from left to right and wraps, like words on a page; mirrored right to left."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QWidget


class FlowLayout(QLayout):
    """Children at their size hints. `gap_x`, `gap_y`: px between them; `align_end`: lines start from the far side."""

    def __init__(self, parent: QWidget | None = None, gap_x: int = 0, gap_y: int = 0, *,
                 align_end: bool = False) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self._gap_x, self._gap_y, self._align_end = gap_x, gap_y, align_end
        self.setContentsMargins(0, 0, 0, 0)

    def addItem(self, item: QLayoutItem) -> None:
        self._items.append(item)

    def count(self) -> int:
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._arrange(QRect(0, 0, width, 0), place=False)

    def setGeometry(self, rect: QRect) -> None:
        super().setGeometry(rect)
        self._arrange(rect, place=True)

    def sizeHint(self) -> QSize:
        wide = sum(item.sizeHint().width() + self._gap_x for item in self._shown()) - self._gap_x
        return QSize(max(0, wide), self.minimumSize().height())

    def minimumSize(self) -> QSize:
        size = QSize()
        for item in self._shown():
            size = size.expandedTo(item.minimumSize())
        return size

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def lines(self, width: int) -> list[list[QLayoutItem]]:
        """The children line by line at this width."""
        made: list[list[QLayoutItem]] = [[]]
        x = 0
        for item in self._shown():
            wide = item.sizeHint().width()
            if made[-1] and x + wide > width:
                made.append([])
                x = 0
            made[-1].append(item)
            x += wide + self._gap_x
        return made

    def _arrange(self, rect: QRect, *, place: bool) -> int:
        parent = self.parentWidget()
        mirrored = parent is not None and parent.layoutDirection() == Qt.LayoutDirection.RightToLeft
        y = rect.y()
        for line in self.lines(rect.width()):
            used = sum(item.sizeHint().width() for item in line) + self._gap_x * max(0, len(line) - 1)
            x = rect.x() + (rect.width() - used if self._align_end else 0)
            high = max((item.sizeHint().height() for item in line), default=0)
            for item in line:
                size = item.sizeHint()
                left = rect.x() + rect.right() - (x + size.width() - 1) if mirrored else x
                if place:
                    item.setGeometry(QRect(QPoint(left, y + (high - size.height()) // 2), size))
                x += size.width() + self._gap_x
            y += high + self._gap_y
        return y - self._gap_y - rect.y()
