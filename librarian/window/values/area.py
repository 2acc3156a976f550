"""The values area: its title line with the switch and the order, and the table."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QFrame, QHBoxLayout, QHeaderView, QTableView, QVBoxLayout, QWidget

from librarian.window.paint.fonts import BODY, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw
from librarian.window.parts.choice import Choice
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.scroll import WIDTH, ThinScrollBar
from librarian.window.parts.segments import Segments
from librarian.window.shown.sheet import SCOPE_WORDS, Order, Scope, Sheet
from librarian.window.values.columns import columns_for
from librarian.window.values.model import ValuesModel
from librarian.window.values.paint import HEAD, ROW, Heads, ValuesDelegate

TITLE_LINE = 33
ORDERS: tuple[tuple[Order, str], ...] = (("share", "largest share of the range first"), ("panel", "in panel order"))
NO_VALUES = "The values of the chosen sound will stand here, in its own units."
NO_ROWS: dict[Scope, str] = {
    "differences": "No difference: every control that can be compared is equal.",
    "changed": "Nothing has moved: the panel was not heard elsewhere than stored.",
    "unknown": "Nothing is unknown.",
    "all": NO_VALUES,
}


class _Table(QTableView):
    """One Tab stop; Tab leaves it, arrows move along the rows."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(parent)
        self.look = look
        self.words = ""

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self.viewport())
        painter.fillRect(self.viewport().rect(), self.look.palette.sheet)
        if self.words and self.model().rowCount() == 0:
            painter.setFont(self.look.fonts.get(TEXT))
            draw(painter, QRectF(40, 6, self.viewport().width() - 54, self.look.fonts.room(ROW)), self.words,
                 self.look.palette.ink2)
        painter.end()
        super().paintEvent(event)
        if self.hasFocus() and self.currentIndex().isValid():
            self._frame()

    def _frame(self) -> None:
        top = self.rowViewportPosition(self.currentIndex().row())
        painter = QPainter(self.viewport())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen = painter.pen()
        pen.setColor(self.look.palette.ink)
        pen.setWidthF(2)
        painter.setPen(pen)
        high = self.rowHeight(self.currentIndex().row())
        painter.drawRoundedRect(QRectF(1, top + 1, self.viewport().width() - 2, high - 2), 2, 2)
        painter.end()


class ValuesArea(Lookful):
    """Shows a `Sheet` as a table. `selected` tells the parameter whose row a person looks at."""

    selected = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.sheet: Sheet | None = None
        self.model = ValuesModel()
        self._wanted: Scope | None = None
        self._wanted_order: Order | None = None
        self._quiet = False
        self.segments = Segments(look, "Which values", self)
        self.orders = Choice(look, "Order of the values", self)
        self.table = _Table(look, self)
        self._delegate = ValuesDelegate(look)
        self._build()
        self.show_sheet(None)

    def _build(self) -> None:
        table = self.table
        table.setModel(self.model)
        table.setItemDelegate(self._delegate)
        table.setHorizontalHeader(Heads(self.look, table))
        table.verticalHeader().hide()
        table.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        table.verticalHeader().setMinimumSectionSize(10)
        table.setFrameShape(QFrame.Shape.NoFrame)
        table.setShowGrid(False)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._bar = ThinScrollBar(self.look)
        table.setVerticalScrollBar(self._bar)
        table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
        table.setTabKeyNavigation(False)
        table.setWordWrap(False)
        table.setAccessibleName("Values")
        # Its signal, not the view's virtual function: Qt calls that while it takes the view down.
        table.selectionModel().currentRowChanged.connect(self._row_changed)
        self.segments.chosen.connect(self._scope_chosen)
        self.orders.show_options(ORDERS, self.order)
        self.orders.chosen.connect(self._order_chosen)
        head = QHBoxLayout()
        head.setContentsMargins(14, 0, 14, 0)
        head.setSpacing(10)
        self._title_room = self.fonts.room(62)
        head.addSpacing(self._title_room)
        head.addWidget(self.segments)
        head.addWidget(self.orders)
        head.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        self._head = QWidget(self)
        self._head.setLayout(head)
        self._head.setFixedHeight(self.fonts.room(TITLE_LINE))
        column.addWidget(self._head)
        column.addWidget(table, 1)
        self.look_changed()

    # -- what is shown

    def show_sheet(self, sheet: Sheet | None) -> None:
        """Show other values. A switch that a person has set to "All" stays there."""
        self.sheet = sheet
        self._fill()

    def select(self, parameter: str) -> None:
        """Look at a parameter's row from outside; tells nobody."""
        row = self.model.row_of(parameter)
        self._quiet = True
        try:
            if row is None:
                self.table.clearSelection()
            elif row != self.table.currentIndex().row():
                self.table.selectRow(row)
        finally:
            self._quiet = False

    def take_focus(self) -> None:
        """Focus goes to the row that is looked at, else to the first."""
        if not self.table.currentIndex().isValid() and self.model.rowCount():
            self.table.selectRow(0)
        self.table.setFocus(Qt.FocusReason.OtherFocusReason)

    @property
    def scope(self) -> Scope:
        """Which rows are shown."""
        offered = dict(self.sheet.scopes()) if self.sheet is not None else {}
        if self._wanted in offered and self._wanted is not None:
            return self._wanted
        return next((scope for scope, count in offered.items() if count or scope == "differences"), "all")

    @property
    def order(self) -> Order:
        """In which order: as a person chose, else by size for two sounds and as on the panel for one."""
        if self._wanted_order is not None:
            return self._wanted_order
        return "share" if self.sheet is not None and self.sheet.shown.comparing else "panel"

    def _fill(self) -> None:
        sheet = self.sheet
        looked_at = self._current_parameter()
        if sheet is None:
            self.segments.show_segments((), "")
            self.orders.hide()
            columns = columns_for("panel", self._table_width(), self.fonts.factor)
            self.model.show_rows((), "panel", columns.names)
            self.table.words = NO_VALUES
        else:
            scope = self.scope
            words = [(name, f"{SCOPE_WORDS[name]} {count}") for name, count in sheet.scopes()]
            self.segments.show_segments(words, scope)
            mode = sheet.mode(scope)
            self.orders.show_options(ORDERS, self.order)
            self.orders.setVisible(mode != "unknown")
            columns = columns_for(mode, self._table_width(), self.fonts.factor)
            self.model.show_rows(sheet.rows(scope, self.order), mode, columns.names)
            self.table.words = NO_ROWS[scope] if sheet.shown.a is not None else NO_VALUES
        self._size_columns()
        if looked_at:
            self.select(looked_at)
        self.table.viewport().update()

    def _current_parameter(self) -> str:
        row = self.table.currentIndex().row()
        return self.model.rows[row].id if 0 <= row < len(self.model.rows) else ""

    # -- where it stands

    def _table_width(self) -> int:
        return max(100, self.width() - WIDTH)

    def _size_columns(self) -> None:
        columns = columns_for(self.model.mode, self._table_width(), self.fonts.factor)
        head = self.table.horizontalHeader()
        for place, wide in enumerate(columns.widths[: self.model.columnCount()]):
            head.resizeSection(place, wide)

    def look_changed(self) -> None:
        self.table.verticalHeader().setDefaultSectionSize(self.fonts.room(ROW))
        self._head.setFixedHeight(self.fonts.room(TITLE_LINE))
        self._bar.head = self.fonts.room(HEAD)
        self._size_columns()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        # Without room for a row the values fold to their title line.
        room = self.fonts.room
        self.table.setVisible(self.height() >= self._head.height() + room(HEAD) + room(ROW) - 4)
        if columns_for(self.model.mode, self._table_width(), self.fonts.factor).names != self.model.columns:
            self._fill()
        self._size_columns()

    def sizeHint(self) -> QSize:
        return QSize(960, 172)

    def minimumSizeHint(self) -> QSize:
        # Folded to its title line when there is no room for rows.
        return QSize(300, self.fonts.room(TITLE_LINE))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.setFont(self.fonts.get(BODY, bold=True))
        draw(painter, QRectF(14, 0, self._title_room, self._head.height()), "Values", self.colours.ink)
        painter.end()

    # -- hands

    def _scope_chosen(self, scope: str) -> None:
        names: dict[str, Scope] = {name: name for name in SCOPE_WORDS}
        self._wanted = names[scope]
        self._fill()

    def _order_chosen(self, order: str) -> None:
        self._wanted_order = "share" if order == "share" else "panel"
        self._fill()

    def _row_changed(self, current: QModelIndex) -> None:
        self.table.viewport().update()
        if current.isValid() and not self._quiet:
            self.selected.emit(self.model.rows[current.row()].id)
