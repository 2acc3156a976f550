"""The table's model: rows of the sheet, columns by the mode."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from librarian.window.paint.text import one_line, plain_tip
from librarian.window.shown.sheet import Mode, ValueRow
from librarian.window.values.columns import Column

ROW_ROLE = Qt.ItemDataRole.UserRole + 1
COLUMN_ROLE = Qt.ItemDataRole.UserRole + 2
Index = QModelIndex | QPersistentModelIndex
HEADS: dict[Mode, dict[Column, str]] = {
    "compare": {"a": "A", "second": "B", "difference": "B − A"},
    "panel": {"a": "A stored", "second": "Panel now", "difference": "Panel − A"},
    "unknown": {"a": "A stored", "why": "Why it is unknown"},
}
COMMON: dict[Column, str] = {
    "mark": "", "section": "Section", "parameter": "Parameter", "range": "Range", "binding": "Binding",
}


class ValuesModel(QAbstractTableModel):
    """`ValueRow`s in order. Column 0 is the mark."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: tuple[ValueRow, ...] = ()
        self.columns: tuple[Column, ...] = ("mark", "section", "parameter", "a", "second", "difference", "range")
        self.mode: Mode = "panel"

    def show_rows(self, rows: Sequence[ValueRow], mode: Mode, columns: Sequence[Column]) -> None:
        """Other rows. Where rows and columns are as many as before, only their content changes: nothing jumps."""
        new_rows, new_columns = tuple(rows), tuple(columns)
        same_shape = len(new_rows) == len(self.rows) and new_columns == self.columns and mode == self.mode
        if same_shape:
            changed = new_rows != self.rows
            self.rows = new_rows
            if changed and new_rows:
                last = self.index(len(new_rows) - 1, len(new_columns) - 1)
                self.dataChanged.emit(self.index(0, 0), last)
            return
        self.beginResetModel()
        self.rows, self.columns, self.mode = new_rows, new_columns, mode
        self.endResetModel()

    def row_of(self, parameter: str) -> int | None:
        """The row of a parameter."""
        return next((place for place, row in enumerate(self.rows) if row.id == parameter), None)

    def head(self, column: Column) -> str:
        """The words above a column."""
        return HEADS[self.mode].get(column) or COMMON.get(column, "")

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own default
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own default
        return 0 if parent.isValid() else len(self.columns)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        if orientation == Qt.Orientation.Horizontal and 0 <= section < len(self.columns):
            if role == Qt.ItemDataRole.DisplayRole:
                return self.head(self.columns[section])
            if role == COLUMN_ROLE:
                return self.columns[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid():
            return None
        row, column = self.rows[index.row()], self.columns[index.column()]
        if role == ROW_ROLE:
            return row
        if role == COLUMN_ROLE:
            return column
        if role == Qt.ItemDataRole.DisplayRole:
            return self.text(row, column)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(f"{row.section}, {row.label}: {row.a}")
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return one_line(row.spoken if column == "parameter" else self.text(row, column))
        return None

    @staticmethod
    def text(row: ValueRow, column: Column) -> str:
        """What stands in a cell."""
        return one_line({
            "mark": "", "section": row.section, "parameter": row.label, "a": row.a, "second": row.second,
            "why": row.second, "difference": row.difference, "range": "", "binding": row.binding,
        }[column])
