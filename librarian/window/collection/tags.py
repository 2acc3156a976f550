"""The tags of what is listed now: a running index of words with small counts, no pills."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPoint, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractButton, QWidget

from librarian.window.collection.state import TagCount
from librarian.window.paint.fonts import TEXT, TINY
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, one_line, plain_tip, stroke
from librarian.window.parts.lookful import Lookful
from librarian.window.words import figures

LINE, PAD, COUNT_GAP, BETWEEN, EDGE = 24, 6, 4, 4, 8
ROWS, OPEN_ROWS = 3, 10


class TagWord(QAbstractButton):
    """One tag with its count; ink with paper letters when chosen. `arrow`: Left or Right asks for a neighbour."""

    arrow = Signal(int)

    def __init__(self, look: Look, tag: str, count: int | None, parent: QWidget) -> None:
        super().__init__(parent)
        self.look, self.tag, self.count = look, tag, count
        self.setText(one_line(tag).replace("&", "&&"))
        self.setCheckable(count is not None)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        noun = "patch" if count == 1 else "patches"
        self.setAccessibleName(one_line(tag if count is None else f"tag {tag}, {count} {noun}"))

    def _widths(self) -> tuple[float, float]:
        fonts = self.look.fonts
        word = fonts.metrics(TEXT).horizontalAdvance(one_line(self.tag))
        count = fonts.metrics(TINY).horizontalAdvance(figures(self.count)) if self.count is not None else 0.0
        return word, count

    def sizeHint(self) -> QSize:
        word, count = self._widths()
        return QSize(round(word + (COUNT_GAP + count if count else 0) + 2 * PAD), self.look.fonts.room(LINE - 3))

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours, fonts = self.look.palette, self.look.fonts
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        rect = QRectF(self.rect())
        word, count = self._widths()
        chosen = self.isChecked()
        if chosen or self.underMouse():
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(colours.ink if chosen else colours.well)
            painter.drawRoundedRect(rect.adjusted(1, 1, -1, -1), 3, 3)
        if self.hasFocus():
            painter.setPen(stroke(colours.sheet if chosen else colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            inset = 2.5 if chosen else 1
            painter.drawRoundedRect(rect.adjusted(inset, inset, -inset, -inset), 3, 3)
        painter.setFont(fonts.get(TEXT, underline=self.count is None))
        room = rect.width() - 2 * PAD - (COUNT_GAP + count if count else 0)
        draw(painter, QRectF(PAD, 0, room, rect.height()), one_line(self.tag), colours.sheet if chosen else colours.ink)
        if self.count is not None:
            painter.setFont(fonts.get(TINY))
            left = PAD + min(word, room) + COUNT_GAP
            draw(painter, QRectF(left, 0.5, count + 2, rect.height()), figures(self.count),
                 colours.sheet if chosen else colours.ink2, elide=None)
        painter.end()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        steps = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}
        step = steps.get(Qt.Key(event.key()))
        if step is not None:
            self.arrow.emit(step)
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            self.click()
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.update()


class TagFlow(Lookful):
    """Words in rows; the last one tells how many there are in all when they do not fit, and opens them.

    `toggled` (tag, on) when a person chooses one or lets it go. One Tab stop, then arrows.
    """

    toggled = Signal(str, bool)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.rows = ROWS
        self.opened = False
        self.words: list[TagWord] = []
        self._tags: tuple[TagCount, ...] = ()
        self._chosen: frozenset[str] = frozenset()
        self._total = 0
        self.setAccessibleName("Tags")

    def show_tags(self, tags: Sequence[TagCount], chosen: frozenset[str], total: int = 0) -> None:
        """Other counts. Chosen tags stand first; `total`: how many tags there are in all."""
        told = {tag.tag for tag in tags}
        # A chosen tag is shown even where the present result has none of it: it must be possible to let it go.
        extra = tuple(TagCount(tag, 0) for tag in sorted(chosen - told))
        self._tags = extra + tuple(sorted(tags, key=lambda tag: tag.tag not in chosen))
        self._chosen, self._total = chosen, max(total, len(self._tags))
        self._fill()

    def set_rows(self, rows: int) -> None:
        """How many rows there is room for."""
        if rows != self.rows:
            self.rows = rows
            self._fill()

    def set_opened(self, opened: bool) -> None:
        """Show all tags, or only the rows there is room for."""
        self.opened = opened
        self._fill()

    def take_focus(self) -> None:
        """Focus goes to the first tag."""
        if self.words:
            self._focus(0)

    # -- placing

    def look_changed(self) -> None:
        self._fill()

    def resizeEvent(self, event: QResizeEvent) -> None:
        if event.size().width() != event.oldSize().width():
            self._fill()

    def _line(self) -> int:
        return self.fonts.room(LINE)

    def _fill(self) -> None:
        focused = next((word.tag for word in self.words if word.hasFocus()), None)
        for word in self.words:
            word.hide()
            word.deleteLater()
        self.words = []
        most = OPEN_ROWS if self.opened else self.rows
        places, rest = self._fitting(most)
        for tag, corner in places:
            self._add(TagWord(self.look, tag.tag, tag.count, self), corner)
        if rest is not None:
            label, corner = rest
            word = TagWord(self.look, label, None, self)
            self._add(word, corner)
        lines = 1 + max((word.y() // self._line() for word in self.words), default=-1)
        self.setFixedHeight(lines * self._line())
        for index, word in enumerate(self.words):
            word.setFocusPolicy(Qt.FocusPolicy.StrongFocus if index == 0 else Qt.FocusPolicy.ClickFocus)
            if word.tag == focused:
                self._focus(index)

    def _add(self, word: TagWord, corner: QPoint) -> None:
        if word.count is not None:
            word.setChecked(word.tag in self._chosen)
            word.clicked.connect(self._clicked)
        else:
            word.clicked.connect(self._all_clicked)
        word.arrow.connect(self._step)
        size = word.sizeHint()
        wide = min(size.width(), max(20, self.width() - corner.x() - EDGE))
        if wide < size.width():
            word.setToolTip(plain_tip(word.tag))
        word.setGeometry(QRect(corner, QSize(wide, size.height())))
        word.show()
        self.words.append(word)

    def _fitting(self, most: int) -> tuple[list[tuple[TagCount, QPoint]], tuple[str, QPoint] | None]:
        """The tags that fit into so many rows with their corners, and the word that stands for the others."""
        placed: list[tuple[TagCount, QPoint]] = []
        label = "fewer tags" if self.opened else f"all {figures(self._total)} tags"
        last = self._width(label, None)
        x, line = EDGE, 0
        for tag in self._tags:
            wide = min(self._width(tag.tag, tag.count), self.width() - 2 * EDGE)
            if x > EDGE and x + wide > self.width() - EDGE:
                x, line = EDGE, line + 1
            if line >= most:
                break
            placed.append((tag, QPoint(x, line * self._line())))
            x += wide + BETWEEN
        complete = len(placed) == len(self._tags) == self._total
        if complete and not self.opened:
            return placed, None
        while placed:
            tag, corner = placed[-1]
            end = corner.x() + min(self._width(tag.tag, tag.count), self.width() - 2 * EDGE) + BETWEEN
            if end + last <= self.width() - EDGE:
                return placed, (label, QPoint(end, corner.y()))
            if corner.y() // self._line() + 1 < most:
                return placed, (label, QPoint(EDGE, corner.y() + self._line()))
            placed.pop()
        return placed, (label, QPoint(EDGE, 0)) if self._tags else None

    def _width(self, tag: str, count: int | None) -> int:
        word = self.fonts.metrics(TEXT).horizontalAdvance(one_line(tag))
        small = COUNT_GAP + self.fonts.metrics(TINY).horizontalAdvance(figures(count)) if count is not None else 0
        return round(word + small + 2 * PAD)

    # -- hands

    def _clicked(self) -> None:
        word = self.sender()
        if isinstance(word, TagWord):
            self.toggled.emit(word.tag, word.isChecked())

    def _all_clicked(self) -> None:
        self.set_opened(not self.opened)

    def _step(self, by: int) -> None:
        now = next((index for index, word in enumerate(self.words) if word.hasFocus()), None)
        if now is not None and 0 <= now + by < len(self.words):
            self._focus(now + by)

    def _focus(self, index: int) -> None:
        for place, word in enumerate(self.words):
            word.setFocusPolicy(Qt.FocusPolicy.StrongFocus if place == index else Qt.FocusPolicy.ClickFocus)
        self.words[index].setFocus(Qt.FocusReason.OtherFocusReason)
