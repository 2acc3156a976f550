"""What a query could become: a list below the field, inside the window, so that no pop-up grabs the keys."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QFrame, QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from librarian.window.collection.state import Completion
from librarian.window.paint.fonts import SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import RIGHT, draw, one_line
from librarian.window.parts.scroll import ThinScrollBar
from librarian.window.words import figures

ROW, EDGE, COUNT_ROOM, KIND_ROOM, BAR, MOST = 28, 12, 34, 78, 4, 8
COMPLETION_ROLE = Qt.ItemDataRole.UserRole + 1
Index = QModelIndex | QPersistentModelIndex


class CompletionModel(QAbstractListModel):
    """Completions in the order given."""

    def __init__(self) -> None:
        super().__init__()
        self.items: tuple[Completion, ...] = ()

    def show_items(self, items: Sequence[Completion]) -> None:
        """Other completions."""
        self.beginResetModel()
        self.items = tuple(items)
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own default
        return 0 if parent.isValid() else len(self.items)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid():
            return None
        item = self.items[index.row()]
        if role == COMPLETION_ROLE:
            return item
        if role == Qt.ItemDataRole.DisplayRole:
            return one_line(item.text)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return one_line(f"{item.text}, {item.kind}, finds {item.count}")
        return None


class _Delegate(QStyledItemDelegate):
    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look

    def sizeHint(self, _option: QStyleOptionViewItem, _index: Index) -> QSize:
        return QSize(200, self.look.fonts.room(ROW))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        item = index.data(COMPLETION_ROLE)
        if not isinstance(item, Completion):
            return
        colours, fonts = self.look.palette, self.look.fonts
        rect = QRectF(option.rect)
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.fillRect(rect, colours.select if selected else colours.sheet)
        if selected:
            painter.fillRect(QRectF(rect.left(), rect.top(), BAR, rect.height()), colours.ink)
        right = rect.right() - EDGE
        painter.setFont(fonts.get(SMALL))
        draw(painter, QRectF(right - COUNT_ROOM, rect.top(), COUNT_ROOM, rect.height()), figures(item.count),
             colours.ink2, RIGHT)
        kind = one_line(item.kind)
        wide = min(KIND_ROOM, fonts.metrics(SMALL).horizontalAdvance(kind) + 1)
        left, end = rect.left() + EDGE, right - COUNT_ROOM - wide
        draw(painter, QRectF(end, rect.top(), wide, rect.height()), kind, colours.ink2, RIGHT)
        painter.setFont(fonts.get(TEXT, bold=selected))
        draw(painter, QRectF(left, rect.top(), end - 8 - left, rect.height()), one_line(item.text), colours.ink)
        painter.restore()


class CompletionList(QListView):
    """Shown below the field while there is something to offer; the field keeps the focus."""

    taken = Signal(Completion)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        self.items = CompletionModel()
        self._delegate = _Delegate(look)
        self.setModel(self.items)
        self.setItemDelegate(self._delegate)
        self.setFrameStyle(int(QFrame.Shape.Box) | int(QFrame.Shadow.Plain))
        self.setLineWidth(1)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setUniformItemSizes(True)
        self.setVerticalScrollBar(ThinScrollBar(look))
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Completions")
        self.clicked.connect(self._clicked)
        self.hide()

    def offer(self, items: Sequence[Completion], below: QWidget) -> None:
        """Show these under the widget, as wide as it is; nothing to offer hides the list."""
        self.items.show_items(items)
        if not items:
            self.hide()
            return
        window = below.window()
        if self.parentWidget() is not window:
            self.setParent(window)
        corner = below.mapTo(window, below.rect().bottomLeft())
        high = min(len(items), MOST) * self.look.fonts.room(ROW) + 4
        self.setGeometry(corner.x(), corner.y() + 5, below.width(), high)
        self.raise_()
        self.show()

    def step(self, by: int) -> None:
        """The next or previous completion, around the end."""
        count = self.items.rowCount()
        now = self.currentIndex().row()
        row = (0 if by > 0 else count - 1) if now < 0 else (now + by) % count
        self.setCurrentIndex(self.items.index(row))

    def current(self) -> Completion | None:
        """The completion that is marked, else the first."""
        row = max(0, self.currentIndex().row())
        return self.items.items[row] if row < len(self.items.items) else None

    @property
    def has_mark(self) -> bool:
        """True when Down has entered the list."""
        return self.currentIndex().isValid()

    def _clicked(self, index: QModelIndex) -> None:
        self.taken.emit(self.items.items[index.row()])

