"""The traffic drawer: the newest crossings on top, decoded through the chart; holding stops the view, not the log."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, QTimer, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from librarian.errors import LibrarianError, OutsideProblem
from librarian.transfer.meaning import Line, Reader
from librarian.window.paint.fonts import SMALL, TITLE
from librarian.window.paint.look import Look
from librarian.window.paint.text import one_line, plain_tip
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.field import Field
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.scroll import ThinScrollBar
from librarian.window.parts.segments import Segments
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.wire.traffic import Crossing, Traffic, as_text, save

MOST, LOOK_MS = 2000, 250
HEADS = ("Time", "", "Meaning", "Bytes")
WAYS = (("both", "Both ways"), ("out", "To it"), ("in", "From it"))
ROW = 22
Index = QModelIndex | QPersistentModelIndex


class TrafficModel(QAbstractTableModel):
    """The newest lines first; only the newest are kept here, the log itself keeps more."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: deque[Line] = deque(maxlen=MOST)
        self.clock: Callable[[float], str] = lambda at: f"{at:.3f}"

    def add(self, newer: Sequence[Line]) -> None:
        """More lines, oldest first."""
        if not newer:
            return
        fresh = list(newer)[-MOST:]
        over = len(self.lines) + len(fresh) - MOST
        if over > 0:
            self.beginRemoveRows(QModelIndex(), len(self.lines) - over, len(self.lines) - 1)
            for _ in range(over):
                self.lines.pop()
            self.endRemoveRows()
        self.beginInsertRows(QModelIndex(), 0, len(fresh) - 1)
        self.lines.extendleft(fresh)
        self.endInsertRows()

    def replace(self, lines: Sequence[Line]) -> None:
        """Other lines, oldest first."""
        self.beginResetModel()
        self.lines.clear()
        self.lines.extendleft(list(lines)[-MOST:])
        self.endResetModel()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own default
        return 0 if parent.isValid() else len(self.lines)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own default
        return 0 if parent.isValid() else len(HEADS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return HEADS[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid():
            return None
        line = self.lines[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            arrow = "to it" if line.direction == "out" else "from it"
            meaning = line.meaning if line.known else f"? {line.meaning}"
            return (self.clock(line.at), arrow, one_line(meaning), line.size)[index.column()]
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(f"{line.meaning}\n{line.raw[:256].hex(' ').upper()}{' …' if len(line.raw) > 256 else ''}")
        if role == Qt.ItemDataRole.TextAlignmentRole and index.column() == 3:
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None


class TrafficDrawer(Lookful):
    """Shows one log. `closed`: the person is done with it. `told` (sentence) when a file was or was not written."""

    closed = Signal()
    told = Signal(str)

    def __init__(self, look: Look, traffic: Traffic, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self._traffic = traffic
        self._reader: Callable[[], Reader] | None = None
        self._using: Reader | None = None
        self._seen = 0
        self._way = "both"
        self._words: tuple[str, ...] = ()
        self.held = False
        self.model = TrafficModel()
        self.title = Sentence(look, px=TITLE)
        self.title.say("Traffic")
        self.close_button = Button(look, ButtonSpec("close", "Close", key="Esc"), lambda _name: self.closed.emit())
        self.hold_button = Button(look, ButtonSpec("hold", "Hold"), lambda _name: self.hold(not self.held))
        self.save_button = Button(look, ButtonSpec("save", "Save…"), lambda _name: self._choose_file())
        self.ways = Segments(look, "Direction")
        self.ways.show_segments(WAYS, self._way)
        self.ways.chosen.connect(self._take_way)
        self.filter = Field(look, "only lines with these words or bytes", "Only lines with these words or bytes")
        self.filter.edit.textChanged.connect(self._take_words)
        self.table = QTableView()
        self._dress_table()
        self._build()
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self.look_for_more)

    def _dress_table(self) -> None:
        table = self.table
        table.setModel(self.model)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setShowGrid(False)
        table.setTabKeyNavigation(False)
        table.verticalHeader().hide()
        table.verticalHeader().setDefaultSectionSize(ROW)
        header = table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        for column, wide in ((0, 86), (1, 46), (3, 104)):
            table.setColumnWidth(column, wide)
        table.setFrameShape(QFrame.Shape.NoFrame)
        table.setVerticalScrollBar(ThinScrollBar(self.look))
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        table.setAccessibleName("Traffic, newest first")

    def _build(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.title, 1)
        top.addWidget(self.close_button)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.ways)
        row.addStretch(1)
        row.addWidget(self.save_button)
        row.addWidget(self.hold_button)
        column = QVBoxLayout(self)
        column.setContentsMargins(14, 10, 12 - FRAME, 8)
        column.addLayout(top)
        column.addLayout(row)
        column.addWidget(self.filter)
        column.addWidget(self.table, 1)
        self.look_changed()

    def show_through(self, reader: Callable[[], Reader], clock: Callable[[float], str]) -> None:
        """Read from the log's beginning through this chart. `reader` makes a fresh one; `clock` shows a moment."""
        self._reader, self.model.clock = reader, clock
        self._start_again()
        self._timer.start()

    def stop(self) -> None:
        """The drawer is closed: nothing is read any more."""
        self._timer.stop()

    def hold(self, on: bool) -> None:
        """Stop the view, or let it run on; the log goes on in any case."""
        self.held = on
        self.hold_button.set_spec(ButtonSpec("hold", "Hold", primary=on))
        if not on:
            self.look_for_more()

    def _take_way(self, way: str) -> None:
        self._way = way
        self._start_again()

    def _start_again(self) -> None:
        if self._reader is not None:
            self._using, self._seen = self._reader(), 0
            self.model.replace(self._read())

    def _read(self) -> list[Line]:
        newer: tuple[Crossing, ...] = self._traffic.after(self._seen)
        if not newer or self._using is None:
            return []
        self._seen = newer[-1].number
        # Every crossing goes through the reader: what is left out may be half of a pair.
        lines = [self._using.read(one) for one in newer]
        return [line for line in lines if self._is_shown(line)]

    def _is_shown(self, line: Line) -> bool:
        if self._way not in {"both", line.direction}:
            return False
        if not self._words:
            return True
        # Bytes as they are shown, and without spaces between them.
        raw = line.raw.hex(" ")
        text = f"{line.meaning.casefold()} {raw} {raw.replace(' ', '')}"
        return all(word in text for word in self._words)

    def _take_words(self, text: str) -> None:
        self._words = tuple(text.casefold().split())
        self._start_again()

    def look_for_more(self) -> None:
        """Take what came since."""
        if not self.held:
            self.model.add(self._read())

    def _choose_file(self) -> None:
        name, _kind = QFileDialog.getSaveFileName(
            self, "Save the traffic", "traffic.jsonl", "Traffic that can be replayed (*.jsonl);;Text (*.txt)"
        )
        if name:
            self.save_to(Path(name))

    def save_to(self, path: Path) -> None:
        """Write the whole log as a file that can be replayed, or (.txt) the lines that are shown as text."""
        try:
            if path.suffix.lower() == ".txt":
                _write_text(path, self._as_text())
            else:
                about = self._reader().about if self._reader is not None else {}
                save(path, self._traffic.after(0), about)
        except LibrarianError as problem:
            self.told.emit(f"{problem} {problem.hint}".strip())
        else:
            self.told.emit(f"The traffic is saved as {path.name}.")

    def _as_text(self) -> str:
        if self._reader is None:
            return ""
        reader = self._reader()
        lines = [(one, reader.read(one)) for one in self._traffic.after(0)]
        shown = {one: one_line(line.meaning) for one, line in lines if self._is_shown(line)}
        return as_text(shown, shown.__getitem__)

    def take_focus(self) -> None:
        """Focus goes to the table."""
        self.table.setFocus(Qt.FocusReason.OtherFocusReason)

    def look_changed(self) -> None:
        self.table.setFont(self.fonts.get(SMALL))
        self.table.horizontalHeader().setFont(self.fonts.get(SMALL))
        self.table.verticalHeader().setDefaultSectionSize(self.fonts.room(ROW))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()


def _write_text(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be written: {error.strerror}.", "Choose another place.") from error
