"""The collection area put together: search line, tags, count line, list, and the notice at its foot."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QStackedLayout, QVBoxLayout, QWidget

from librarian.window.collection.list import PatchList
from librarian.window.collection.search import SearchLine
from librarian.window.collection.state import Completion, Found, Nothing, PatchSource, RowHeight, RowMarks
from librarian.window.collection.tags import TagFlow
from librarian.window.paint.fonts import BODY, SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, hairline
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.choice import Choice
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.notice import Foot, NoticeState
from librarian.window.parts.progress import Progress
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, figures

LINE = 26


class _CountLine(Lookful):
    """How many are listed, and in which order."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(look, parent)
        self.text = ""
        self.order = Choice(look, "Order", self)
        row = QHBoxLayout(self)
        row.setContentsMargins(14, 0, 4, 0)
        row.addStretch(1)
        row.addWidget(self.order)

    def sizeHint(self) -> QSize:
        return QSize(200, self.fonts.room(LINE) + 1)

    def minimumSizeHint(self) -> QSize:
        return QSize(120, self.fonts.room(LINE) + 1)

    def say(self, text: str) -> None:
        self.text = text
        self.setAccessibleName(text)
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.well)
        hairline(painter, self.colours.line, 0, 0, self.width(), 0)
        painter.setFont(self.fonts.get(SMALL, bold=True))
        end = self.order.x() - 4 if self.order.isVisible() else self.width() - 14
        draw(painter, QRectF(14, 0, end - 14, self.height()), self.text, self.colours.ink)
        painter.end()


class _Empty(Lookful):
    """What stands in the list's place when there is nothing to list."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(look, parent)
        self.sentence = Sentence(look, px=BODY, second=True)
        self.button = Button(look, ButtonSpec("", ""), lambda _name: self.pressed.emit(self.button.spec.name))
        column = QVBoxLayout(self)
        column.setContentsMargins(30 - FRAME, 18, 16, 12)
        self.sentence.setContentsMargins(FRAME, 0, 0, 0)
        column.setSpacing(10)
        column.addWidget(self.sentence)
        holder = QHBoxLayout()
        holder.setContentsMargins(0, 0, 0, 0)
        holder.addWidget(self.button)
        holder.addStretch(1)
        column.addLayout(holder)
        column.addStretch(1)

    def show_state(self, state: Nothing) -> None:
        self.sentence.say_plainly(state.sentence)
        if state.button is not None:
            self.button.set_spec(state.button)
        self.button.setVisible(state.button is not None)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()


class CollectionArea(Lookful):
    """The whole area. The list reads its rows from `source`; everything else is told by `show_found`.

    Signals: `query_changed` (text), `tag_toggled` (tag, on), `current_changed`, `opened` (patch id),
    `chosen_changed`, `delete_asked` (patch ids), `order_chosen` (id), `pressed` (name of the button in an empty list
    or in the notice), `failed` (sentence, hint) when rows could not be read.
    """

    query_changed = Signal(str)
    tag_toggled = Signal(str, bool)
    current_changed = Signal(int)
    opened = Signal(int)
    chosen_changed = Signal(list)
    delete_asked = Signal(list)
    order_chosen = Signal(str)
    pressed = Signal(str)
    failed = Signal(str, str)

    def __init__(self, look: Look, source: PatchSource, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.search = SearchLine(look)
        self.tags = TagFlow(look)
        self.count_line = _CountLine(look, self)
        self.list = PatchList(look, source)
        self.empty = _Empty(look, self)
        self.progress = Progress(look)
        self.notice = Foot(look)
        self._build()
        self._connect()
        self.show_found(Found())

    def _build(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 12, 0, 0)
        column.setSpacing(0)
        holder = QHBoxLayout()
        holder.setContentsMargins(12, 0, 12, 0)
        holder.addWidget(self.search)
        column.addLayout(holder)
        column.addSpacing(9)
        column.addWidget(self.tags)
        column.addSpacing(4)
        column.addWidget(self.count_line)
        self._stack = QStackedLayout()
        self._stack.addWidget(self.list)
        self._stack.addWidget(self.empty)
        column.addLayout(self._stack, 1)
        column.addWidget(self.progress)
        column.addWidget(self.notice)

    def _connect(self) -> None:
        self.search.query_changed.connect(self.query_changed)
        self.search.left_downwards.connect(self.list.take_focus)
        self.tags.toggled.connect(self.tag_toggled)
        self.list.current_changed.connect(self.current_changed)
        self.list.opened.connect(self.opened)
        self.list.chosen_changed.connect(self.chosen_changed)
        self.list.delete_asked.connect(self.delete_asked)
        self.list.rows.failed.connect(self.failed)
        self.count_line.order.chosen.connect(self.order_chosen)
        self.empty.pressed.connect(self.pressed)
        self.notice.pressed.connect(self.pressed)

    # -- what is shown

    def show_found(self, found: Found) -> None:
        """Another result with its counts, tags, and whatever is wrong with the query."""
        self.search.show_problem(found.problem)
        self.tags.show_tags(found.tags, found.chosen_tags, found.tag_total)
        count = len(found.ids) if found.count is None else found.count
        whole = counted(count, "patch", "patches") if count == found.total else (
            f"{figures(count)} of {figures(found.total)}")
        self.count_line.say(whole)
        self.count_line.order.show_options(found.orders, found.order)
        self.count_line.order.setVisible(count > 0)
        self.list.show_ids(found.ids, found.headings)
        self.empty.show_state(found.nothing)
        self._stack.setCurrentWidget(self.list if count else self.empty)

    def show_marks(self, marks: RowMarks) -> None:
        """Which patches are A and B, and which have changed controls."""
        self.list.show_marks(marks)

    def offer(self, completions: Sequence[Completion]) -> None:
        """Completions for what is being typed."""
        self.search.offer(completions)

    def show_notice(self, notice: NoticeState | None) -> None:
        """The notice at the foot of the list, or none."""
        self.notice.show_state(notice)

    def set_tag_rows(self, rows: int) -> None:
        """How many rows of tags there is room for."""
        self.tags.set_rows(rows)

    def set_row_height(self, height: RowHeight) -> None:
        """Two lines or one for each patch."""
        self.list.set_row_height(height)

    def take_focus(self) -> None:
        """Focus goes to the search line."""
        self.search.take_focus()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()

    def sizeHint(self) -> QSize:
        return QSize(320, 600)


