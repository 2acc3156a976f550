"""The list of patches: a view that reads only what it paints; keyboard as in every list."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QItemSelectionModel, QModelIndex, QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractItemView, QListView, QWidget

from librarian.window.collection.model import PatchModel
from librarian.window.collection.row import RowDelegate
from librarian.window.collection.state import PatchSource, RowHeight, RowMarks
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import as_rows
from librarian.window.parts.scroll import WIDTH


class PatchList(QListView):
    """`current_changed`: another row is looked at (its patch id); `opened`: Enter or double click;
    `chosen_changed`: which ids are selected, when it is more than the current one; `delete_asked`: Del."""

    current_changed = Signal(int)
    opened = Signal(int)
    chosen_changed = Signal(list)
    delete_asked = Signal(list)

    def __init__(self, look: Look, source: PatchSource, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        self._quiet = False
        self.rows = PatchModel(source)
        self.row_delegate = RowDelegate(look)
        self.setModel(self.rows)
        self.setItemDelegate(self.row_delegate)
        as_rows(self, look)
        self.setViewportMargins(0, 0, -WIDTH, 0)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setAccessibleName("Patches")
        self.activated.connect(self._activated)
        # Its signals, not the view's virtual functions: Qt calls those while it takes the view down.
        self.selectionModel().currentChanged.connect(self._current_changed)
        self.selectionModel().selectionChanged.connect(self._selection_changed)
        look.changed.connect(self._look_has_changed)

    def show_ids(self, ids: Sequence[int], headings: Sequence[str] = ()) -> None:
        """Another result. The patch that was looked at stays current and in view if it is still there."""
        before = self.current_id()
        self._quiet = True
        try:
            self.rows.show_ids(ids, headings)
            row = self.rows.row_of(before) if before is not None else None
            if row is not None:
                self._set_current(row)
        finally:
            self._quiet = False
        self.viewport().update()

    def show_marks(self, marks: RowMarks) -> None:
        """Other patches are A and B, or have changed controls."""
        self.rows.show_marks(marks)

    def set_row_height(self, height: RowHeight) -> None:
        """Two lines or one for each row."""
        self.row_delegate.height = height
        self._look_has_changed()

    def current_id(self) -> int | None:
        """The patch that is looked at."""
        return self.rows.id_at(self.currentIndex().row())

    def select_id(self, patch: int) -> bool:
        """Look at a patch from outside; tells nobody. False when it is not in this result."""
        row = self.rows.row_of(patch)
        if row is None:
            return False
        self._quiet = True
        try:
            self._set_current(row)
        finally:
            self._quiet = False
        return True

    def chosen_ids(self) -> list[int]:
        """The selected patches, in the order of the list."""
        made: list[int] = []
        # By ranges: everything may be selected, and one index object for each row of 200,000 takes seconds.
        selection = self.selectionModel().selection()
        ranges = [selection.at(place) for place in range(selection.count())]
        for chosen in sorted(ranges, key=lambda each: each.top()):
            made.extend(self.rows.ids[chosen.top() : chosen.bottom() + 1])
        # Headings are no patches, and a patch may stand under several of them.
        return list(dict.fromkeys(patch for patch in made if patch > 0)) if self.rows.headings else made

    def take_focus(self) -> None:
        """Focus goes to the current row, else to the first."""
        if not self.currentIndex().isValid() and self.rows.rowCount():
            self._set_current(1 if self.rows.headings else 0)
        self.setFocus(Qt.FocusReason.OtherFocusReason)

    def _set_current(self, row: int) -> None:
        index = self.rows.index(row, 0)
        self.selectionModel().setCurrentIndex(index, QItemSelectionModel.SelectionFlag.ClearAndSelect)
        self.scrollTo(index)

    def _look_has_changed(self) -> None:
        self.scheduleDelayedItemsLayout()
        self.viewport().update()

    # -- hands

    def _current_changed(self, current: QModelIndex) -> None:
        patch = self.rows.id_at(current.row())
        if patch is not None and not self._quiet:
            self.current_changed.emit(patch)

    def _selection_changed(self) -> None:
        if not self._quiet:
            self.chosen_changed.emit(self.chosen_ids())

    def _activated(self, index: QModelIndex) -> None:
        patch = self.rows.id_at(index.row())
        if patch is not None:
            self.opened.emit(patch)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Delete and self.chosen_ids():
            self.delete_asked.emit(self.chosen_ids())
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter} and self.current_id() is not None:
            # Qt sends `activated` for Return only where the platform's style says so.
            self.opened.emit(self.current_id())
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self.viewport())
        painter.fillRect(QRectF(self.viewport().rect()), self.look.palette.sheet)
        painter.end()
        super().paintEvent(event)
