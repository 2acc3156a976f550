"""The tags of what is listed now: a running index of words with small counts, no pills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPoint, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QAbstractButton, QWidget

from librarian.window.collection.state import TagCount
from librarian.window.paint.fonts import TEXT, TINY
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, one_line, plain_tip, stroke
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.scroll import WIDTH, ThinScrollBar
from librarian.window.words import figures

LINE, PAD, COUNT_GAP, BETWEEN, EDGE = 24, 6, 4, 4, 8
ROWS, OPEN_ROWS, WHEEL_STEP = 3, 10, 120


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


@dataclass(frozen=True)
class _Place:
    """Where a word stands: its left edge, px, and its line."""

    tag: str
    count: int | None
    x: int
    line: int


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
        self._wheel = 0
        self._places: list[_Place] = []
        self._bar = ThinScrollBar(look, parent=self)
        self._bar.hide()
        self._bar.valueChanged.connect(self._fill)
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
        """Show all tags (ten lines at once, the others scroll), or only the rows there is room for."""
        self.opened = opened
        self._bar.setValue(0)
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
        places = self._all_places() if self.opened else self._fitting(self.rows)
        self._places = places
        lines = 1 + max((place.line for place in places), default=-1)
        seen = min(lines, OPEN_ROWS)
        self._bar.setRange(0, lines - seen)
        self._bar.setPageStep(seen)
        self._bar.setVisible(lines > seen)
        first = self._bar.value()
        for place in places:
            if first <= place.line < first + seen:
                corner = QPoint(place.x, (place.line - first) * self._line())
                self._add(TagWord(self.look, place.tag, place.count, self), corner)
        self.setFixedHeight(seen * self._line())
        self._bar.setGeometry(self.width() - WIDTH, 0, WIDTH, self.height())
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

    def _flow(self, entries: Sequence[tuple[str, int | None]]) -> list[_Place]:
        """Words one after the other from line to line."""
        made: list[_Place] = []
        end = self.width() - (WIDTH if self.opened else EDGE)
        x, line = EDGE, 0
        for tag, count in entries:
            wide = min(self._width(tag, count), self.width() - 2 * EDGE)
            if x > EDGE and x + wide > end:
                x, line = EDGE, line + 1
            made.append(_Place(tag, count, x, line))
            x += wide + BETWEEN
        return made

    def _all_places(self) -> list[_Place]:
        return self._flow([("fewer tags", None), *((tag.tag, tag.count) for tag in self._tags)])

    def _fitting(self, most: int) -> list[_Place]:
        """As many tags as fit into so many rows; where some do not, a last word tells how many there are."""
        tags = [(tag.tag, tag.count) for tag in self._tags]
        places = [place for place in self._flow(tags) if place.line < most]
        if len(places) == self._total or not tags:
            return places
        label = f"all {figures(self._total)} tags"
        for kept in range(len(places), -1, -1):
            tried = self._flow([*tags[:kept], (label, None)])
            if tried[-1].line < most:
                return tried
        return []

    def _width(self, tag: str, count: int | None) -> int:
        word = self.fonts.metrics(TEXT).horizontalAdvance(one_line(tag))
        small = COUNT_GAP + self.fonts.metrics(TINY).horizontalAdvance(figures(count)) if count is not None else 0
        return round(word + small + 2 * PAD)

    # -- hands

    def wheelEvent(self, event: QWheelEvent) -> None:
        if not self._bar.isVisible():
            event.ignore()
            return
        self._wheel += event.angleDelta().y()
        while abs(self._wheel) >= WHEEL_STEP:
            step = 1 if self._wheel > 0 else -1
            self._wheel -= step * WHEEL_STEP
            self._bar.setValue(self._bar.value() - step)
        event.accept()

    def _clicked(self) -> None:
        word = self.sender()
        if isinstance(word, TagWord):
            self.toggled.emit(word.tag, word.isChecked())

    def _all_clicked(self) -> None:
        self.set_opened(not self.opened)

    def _step(self, by: int) -> None:
        now = next((word for word in self.words if word.hasFocus()), None)
        if now is None:
            return
        order = [(place.tag, place.count is None) for place in self._places]
        wanted = order.index((now.tag, now.count is None)) + by
        if not 0 <= wanted < len(order):
            return
        line, first = self._places[wanted].line, self._bar.value()
        if line < first:
            self._bar.setValue(line)
        elif line >= first + OPEN_ROWS:
            self._bar.setValue(line - OPEN_ROWS + 1)
        for index, word in enumerate(self.words):
            if (word.tag, word.count is None) == order[wanted]:
                self._focus(index)

    def _focus(self, index: int) -> None:
        for place, word in enumerate(self.words):
            word.setFocusPolicy(Qt.FocusPolicy.StrongFocus if place == index else Qt.FocusPolicy.ClickFocus)
        self.words[index].setFocus(Qt.FocusReason.OtherFocusReason)
