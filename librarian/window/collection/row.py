"""Painting one row of the list: two lines of 44 px or one of 26, marks, and why it was found."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import QStyle, QStyledItemDelegate, QStyleOptionViewItem

from librarian.window.collection.model import LINE_ROLE, PatchModel
from librarian.window.collection.state import PatchLine, RowHeight
from librarian.window.paint import marks
from librarian.window.paint.fonts import BODY, SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import RIGHT, Run, draw, draw_runs, hairline, one_line, runs_of, stroke, width_of

GUTTER, EDGE, BAR = 30, 12, 4
TWO_LINES, ONE_LINE = 44, 26
DOT = " · "
MARK_AT = 16


class RowDelegate(QStyledItemDelegate):
    """Paints `PatchLine`s. `height`: two lines or one."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.height: RowHeight = "two lines"

    def sizeHint(self, _option: QStyleOptionViewItem, _index: QModelIndex | QPersistentModelIndex) -> QSize:
        return QSize(200, self.look.fonts.room(TWO_LINES if self.height == "two lines" else ONE_LINE))

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        model = index.model()
        line = index.data(LINE_ROLE)
        if not isinstance(model, PatchModel) or not isinstance(line, PatchLine):
            return
        colours = self.look.palette
        rect = QRectF(option.rect)
        state = option.state
        selected = bool(state & QStyle.StateFlag.State_Selected)
        focused = bool(state & QStyle.StateFlag.State_HasFocus)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if line.heading:
            self._heading(painter, rect, line)
            painter.restore()
            return
        painter.fillRect(rect, colours.select if selected else colours.sheet)
        if selected:
            painter.fillRect(QRectF(rect.left(), rect.top(), BAR, rect.height()), colours.ink)
        else:
            bottom = rect.bottom() - 1
            hairline(painter, colours.line, rect.left() + GUTTER, bottom, rect.right() - EDGE, bottom)
        if self.height == "two lines":
            self._two_lines(painter, rect, line, model, selected=selected)
        else:
            self._one_line(painter, rect, line, model, selected=selected)
        if focused:
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(rect.adjusted(1, 1, -1, -1), 2, 2)
        painter.restore()

    def _heading(self, painter: QPainter, rect: QRectF, line: PatchLine) -> None:
        painter.fillRect(rect, self.look.palette.well)
        painter.setFont(self.look.fonts.get(BODY, bold=True))
        room = rect.adjusted(EDGE, 0, -EDGE, 0)
        draw(painter, room, one_line(line.name), self.look.palette.ink)

    def _is_bold(self, line: PatchLine, model: PatchModel, *, selected: bool) -> bool:
        return selected or line.id in {model.marks.a, model.marks.b}

    def _gutter_mark(self, painter: QPainter, rect: QRectF, y: float, line: PatchLine, model: PatchModel) -> bool:
        at = QPointF(rect.left() + MARK_AT, y)
        if line.id == model.marks.a:
            marks.disc(painter, at, 5, self.look.palette.ink)
        elif line.id == model.marks.b:
            marks.ring(painter, at, 5, self.look.palette.b)
        else:
            return False
        return True

    def _two_lines(
        self, painter: QPainter, rect: QRectF, line: PatchLine, model: PatchModel, *, selected: bool
    ) -> None:
        fonts, colours = self.look.fonts, self.look.palette
        k = fonts.factor
        first = rect.top() + 15 * k
        self._gutter_mark(painter, rect, first, line, model)
        left = rect.left() + GUTTER
        right = self._right_marks(painter, rect, first, line, model)
        bold = self._is_bold(line, model, selected=selected)
        name = runs_of(one_line(line.name), line.name_hits, bold=bold)
        draw_runs(painter, QRectF(left, first - 10 * k, right - left, 20 * k), fonts, name, BODY, colours.ink)
        room = QRectF(left, rect.top() + 24 * k, rect.right() - EDGE - left, 17 * k)
        draw_runs(painter, room, fonts, self.second_line(line, room.width()), SMALL, self._second_ink(selected))

    def _second_ink(self, selected: bool) -> QColor:
        # Dimmed, the second line of a selected row would fall under 4.5: it takes ink there.
        return self.look.palette.ink if selected and self.look.dimmer else self.look.palette.ink2

    def _right_marks(
        self, painter: QPainter, rect: QRectF, y: float, line: PatchLine, model: PatchModel
    ) -> float:
        """Counts with their marks at the right; returns where the name has to end."""
        fonts, colours = self.look.fonts, self.look.palette
        x = rect.right() - EDGE
        painter.setFont(fonts.get(SMALL))
        for count, mark in ((model.marks.changed.get(line.id, 0), "changed"), (line.unknown, "unknown")):
            if not count:
                continue
            wide = fonts.metrics(SMALL).horizontalAdvance(str(count))
            draw(painter, QRectF(x - wide - 1, y - 8, wide + 1, 16), str(count), colours.ink2, RIGHT, elide=None)
            x -= wide + 9
            at = QPointF(x - 1, y)
            if mark == "changed":
                marks.diamond(painter, at, 4.6, colours.live)
            else:
                marks.unknown(painter, at, 6.4, colours.ink2)
            x -= 16
        return x - 4 if x < rect.right() - EDGE else x

    def second_line(self, line: PatchLine, room: float) -> list[Run]:
        """Instrument, then the reason it was found or its tags, whole tags only; a tag that matched is never cut."""
        runs = [Run(one_line(line.instrument))] if line.instrument else []
        if line.reason is not None:
            text = one_line(line.reason.text)
            hits = ((0, len(text)),) if line.reason.whole else line.reason.hits
            return [*runs, *([Run(DOT)] if runs else []), *runs_of(text, hits, bold_hits=True)]
        tags = list(line.tags)
        fonts = self.look.fonts

        def joined(chosen: list[str]) -> list[Run]:
            made = list(runs)
            for tag in chosen:
                if made:
                    made.append(Run(DOT))
                hit = tag in line.tag_hits
                made.append(Run(one_line(tag), bold=hit, underline=hit))
            return made

        if width_of(fonts, joined(tags), SMALL) <= room:
            return joined(tags)
        tags.sort(key=lambda tag: tag not in line.tag_hits)
        while tags and width_of(fonts, [*joined(tags), Run(" …")], SMALL) > room:
            tags.pop()
        return [*joined(tags), Run(" …")]

    def _one_line(
        self, painter: QPainter, rect: QRectF, line: PatchLine, model: PatchModel, *, selected: bool
    ) -> None:
        fonts, colours = self.look.fonts, self.look.palette
        y = rect.center().y()
        if not self._gutter_mark(painter, rect, y, line, model) and line.unknown:
            marks.unknown(painter, QPointF(rect.left() + MARK_AT, y), 6.4, colours.ink2)
        left, right = rect.left() + GUTTER, rect.right() - EDGE
        who = one_line(line.instrument)
        wide = min(fonts.metrics(SMALL).horizontalAdvance(who), (right - left) * 0.4)
        painter.setFont(fonts.get(SMALL))
        draw(painter, QRectF(right - wide - 1, rect.top(), wide + 1, rect.height()), who, colours.ink2, RIGHT)
        name = runs_of(one_line(line.name), line.name_hits, bold=self._is_bold(line, model, selected=selected))
        draw_runs(painter, QRectF(left, rect.top(), right - wide - 12 - left, rect.height()), fonts, name, BODY,
                  colours.ink)
