"""A list of any length in a drawer: one or two lines of text a row, a mark before them, a word at the right.

Rows are asked for when they are painted, so a hundred thousand of them open as fast as ten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from PySide6.QtCore import (
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRectF,
    QSignalBlocker,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QStandardItemModel
from PySide6.QtWidgets import QAbstractItemView, QListView, QStyle, QStyledItemDelegate, QStyleOptionViewItem

from librarian.window.paint.fonts import BODY, SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.marks import Mark, draw_mark
from librarian.window.paint.text import RIGHT, draw, hairline, one_line, plain_tip, stroke
from librarian.window.parts.arranged import as_rows
from librarian.window.parts.scroll import WIDTH

LINE_ROLE = Qt.ItemDataRole.UserRole + 1
GUTTER, EDGE, BAR, MARK_AT, MARK = 30, 12, 4, 16, 5.4
TWO, ONE = 44, 30
Height = Literal["one line", "two lines"]
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True)
class Line:
    """One row. `mark` before it with `says` as its spoken word; `right` at the right; `strong`: bold and, with
    `trouble`, in the colour of what is wrong. `heading`: a title between rows, which cannot be chosen."""

    first: str
    second: str = ""
    right: str = ""
    mark: Mark | None = None
    says: str = ""
    strong: bool = False
    trouble: bool = False
    heading: bool = False

    @property
    def spoken(self) -> str:
        """The row in words."""
        return one_line(", ".join(part for part in (self.says, self.first, self.second, self.right) if part))


class LineSource(Protocol):
    """Where rows come from."""

    def __len__(self) -> int: ...
    def line(self, row: int) -> Line:
        """The row at a place, 0 to len - 1."""
        ...


class Fixed:
    """Rows that are made already."""

    def __init__(self, lines: Sequence[Line] = ()) -> None:
        self._lines = lines

    def __len__(self) -> int:
        return len(self._lines)

    def line(self, row: int) -> Line:
        """The row at a place."""
        return self._lines[row]


class LineModel(QStandardItemModel):
    """Counts rows as the standard model does (fast), and asks the source for what is painted."""

    def __init__(self) -> None:
        super().__init__()
        self.source: LineSource = Fixed()

    def show_source(self, source: LineSource) -> None:
        """Other rows."""
        self.beginResetModel()
        self.source = source
        blocker = QSignalBlocker(self)
        self.setRowCount(0)
        self.setColumnCount(1)
        self.setRowCount(len(source))
        blocker.unblock()
        self.endResetModel()

    def line(self, row: int) -> Line:
        """One row."""
        return self.source.line(row)

    def flags(self, index: Index) -> Qt.ItemFlag:
        if not index.isValid() or (index.row() < len(self.source) and self.line(index.row()).heading):
            return Qt.ItemFlag.NoItemFlags
        return Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemNeverHasChildren

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid() or not 0 <= index.row() < len(self.source):
            return None
        if role == LINE_ROLE:
            return self.line(index.row())
        if role == Qt.ItemDataRole.DisplayRole:
            return one_line(self.line(index.row()).first)
        if role == Qt.ItemDataRole.ToolTipRole:
            line = self.line(index.row())
            return plain_tip(" · ".join(part for part in (line.first, line.second, line.right) if part))
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self.line(index.row()).spoken
        return None


class LineDelegate(QStyledItemDelegate):
    """Paints `Line`s."""

    def __init__(self, look: Look, height: Height) -> None:
        super().__init__()
        self.look, self.height = look, height

    def sizeHint(self, _option: QStyleOptionViewItem, _index: Index) -> QSize:
        return QSize(200, self.look.fonts.room(TWO if self.height == "two lines" else ONE))

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        line = index.data(LINE_ROLE)
        if not isinstance(line, Line):
            return
        rect, state = QRectF(option.rect), option.state
        colours = self.look.palette
        selected = bool(state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(rect, colours.well if line.heading else colours.select if selected else colours.sheet)
        if selected:
            painter.fillRect(QRectF(rect.left(), rect.top(), BAR, rect.height()), colours.ink)
        else:
            bottom = rect.bottom() - 1
            hairline(painter, colours.line, rect.left() + GUTTER, bottom, rect.right() - EDGE, bottom)
        self._words(painter, rect, line, selected=selected)
        if state & QStyle.StateFlag.State_HasFocus:
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(rect.adjusted(1, 1, -1, -1), 2, 2)
        painter.restore()

    def _words(self, painter: QPainter, rect: QRectF, line: Line, *, selected: bool) -> None:
        fonts, colours = self.look.fonts, self.look.palette
        k = fonts.factor
        two = self.height == "two lines" and bool(line.second)
        first_y = rect.top() + (15 * k if two else rect.height() / 2)
        bold = selected or line.strong or line.heading
        left = rect.left() + (12 if line.heading else GUTTER)
        if line.mark is not None:
            draw_mark(painter, line.mark, QPointF(rect.left() + MARK_AT, first_y), MARK, colours)
        ink = colours.broken if line.trouble else colours.ink
        right = rect.right() - EDGE
        if line.right:
            px = SMALL if self.height == "two lines" else TEXT
            text = one_line(line.right)
            strong = line.trouble
            most = (right - left) * (0.45 if not two else 0.5)
            wide = min(fonts.metrics(px, bold=strong).horizontalAdvance(text) + 2, most)
            painter.setFont(fonts.get(px, bold=strong))
            draw(painter, QRectF(right - wide, first_y - 10 * k, wide, 20 * k), text,
                 ink if line.trouble else colours.ink2, RIGHT)
            right -= wide + 8
        px = BODY if self.height == "two lines" else TEXT
        painter.setFont(fonts.get(px, bold=bold))
        draw(painter, QRectF(left, first_y - 10 * k, right - left, 20 * k), one_line(line.first),
             colours.ink if not (line.trouble and not two) else ink)
        if two:
            second = colours.ink if selected and self.look.dimmer else ink if line.trouble else colours.ink2
            painter.setFont(fonts.get(SMALL))
            room = QRectF(left, rect.top() + 24 * k, rect.right() - EDGE - left, 17 * k)
            draw(painter, room, one_line(line.second), second)


class LineList(QListView):
    """`current_changed` (row), `opened` (row: Enter or double click), `delete_asked` (rows: Del), `chosen_changed`."""

    current_changed = Signal(int)
    chosen_changed = Signal()
    opened = Signal(int)
    delete_asked = Signal(list)

    def __init__(self, look: Look, name: str, height: Height = "two lines", *, several: bool = False) -> None:
        super().__init__()
        self.look = look
        self.rows = LineModel()
        self.row_delegate = LineDelegate(look, height)
        self.setModel(self.rows)
        self.setItemDelegate(self.row_delegate)
        as_rows(self, look)
        self.setViewportMargins(0, 0, -WIDTH, 0)
        mode = QAbstractItemView.SelectionMode
        self.setSelectionMode(mode.ExtendedSelection if several else mode.SingleSelection)
        self.setAccessibleName(name)
        self.activated.connect(lambda index: self.opened.emit(index.row()))
        self.selectionModel().currentChanged.connect(self._current_changed)
        self.selectionModel().selectionChanged.connect(self._selection_changed)
        look.changed.connect(self._look_has_changed)

    def show_lines(self, source: LineSource | Sequence[Line], *, keep: bool = False) -> None:
        """Other rows. `keep`: the place that was looked at stays current."""
        before = self.currentIndex().row()
        self.rows.show_source(Fixed(source) if isinstance(source, Sequence) else source)
        if keep and len(self.rows.source):
            self.select_row(min(max(before, 0), len(self.rows.source) - 1))
        self.viewport().update()

    def lines(self) -> list[Line]:
        """Every row, for looking at."""
        return [self.rows.line(row) for row in range(len(self.rows.source))]

    def select_row(self, row: int) -> None:
        """Look at this row, or at the next one that can be chosen."""
        while row < len(self.rows.source) and self.rows.line(row).heading:
            row += 1
        if 0 <= row < len(self.rows.source):
            index = self.rows.index(row, 0)
            self.selectionModel().setCurrentIndex(index, QItemSelectionModel.SelectionFlag.ClearAndSelect)
            self.scrollTo(index)

    @property
    def current(self) -> int | None:
        """The row that is looked at."""
        row = self.currentIndex().row()
        return row if 0 <= row < len(self.rows.source) else None

    def chosen(self) -> list[int]:
        """The chosen rows, from the top."""
        selection = self.selectionModel().selection()
        ranges = [selection.at(place) for place in range(selection.count())]
        made: list[int] = []
        for part in sorted(ranges, key=lambda each: each.top()):
            made.extend(row for row in range(part.top(), part.bottom() + 1) if not self.rows.line(row).heading)
        return made

    def take_focus(self) -> None:
        """Focus goes to the current row, else to the first."""
        if self.current is None:
            self.select_row(0)
        self.setFocus(Qt.FocusReason.OtherFocusReason)

    def _current_changed(self, current: QModelIndex) -> None:
        if current.isValid():
            self.current_changed.emit(current.row())

    def _selection_changed(self) -> None:
        self.chosen_changed.emit()

    def _look_has_changed(self) -> None:
        self.scheduleDelayedItemsLayout()
        self.viewport().update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Delete and self.chosen():
            self.delete_asked.emit(self.chosen())
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter} and self.current is not None:
            self.opened.emit(self.current)
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self.viewport())
        painter.fillRect(QRectF(self.viewport().rect()), self.look.palette.sheet)
        painter.end()
        super().paintEvent(event)
