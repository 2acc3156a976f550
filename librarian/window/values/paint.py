"""Painting the table: one delegate for every column, the range strip among them, and the heads above."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QHeaderView, QStyle, QStyledItemDelegate, QStyleOptionViewItem, QWidget

from librarian.window.paint import marks
from librarian.window.paint.fonts import SMALL, TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.strip import paint_strip
from librarian.window.paint.text import LEFT, RIGHT, draw, fit_label, hairline, one_line
from librarian.window.shown.sheet import ValueRow
from librarian.window.values.columns import MARK, RANGE_GAP, RANGE_MOST, RIGHT_EDGE, Column
from librarian.window.values.model import COLUMN_ROLE, ROW_ROLE, ValuesModel

ROW, HEAD, BAR, MARK_AT = 24, 22, 4, 26
NUMBERS = frozenset({"a", "second", "difference"})
NUMBER_AIR, WHY_AIR = 0, 42


class ValuesDelegate(QStyledItemDelegate):
    """Paints `ValueRow`s."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look

    def sizeHint(self, _option: QStyleOptionViewItem, _index: QModelIndex | QPersistentModelIndex) -> QSize:
        return QSize(60, self.look.fonts.room(ROW))

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        row, column = index.data(ROW_ROLE), index.data(COLUMN_ROLE)
        model = index.model()
        if not isinstance(row, ValueRow) or not isinstance(model, ValuesModel):
            return
        colours = self.look.palette
        rect = QRectF(option.rect)
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(rect, colours.select if selected else colours.sheet)
        if column == "mark":
            if selected:
                painter.fillRect(QRectF(rect.left(), rect.top(), BAR, rect.height()), colours.ink)
            self._mark(painter, row, QPointF(rect.left() + MARK_AT, rect.center().y()))
        elif column == "range":
            self._strip(painter, row, rect)
        else:
            self._words(painter, row, column, model, rect)
        if not selected and column != "mark":
            last = index.column() == model.columnCount() - 1
            end = rect.right() - (RIGHT_EDGE if last else 0)
            hairline(painter, colours.line, rect.left(), rect.bottom() - 1, end, rect.bottom() - 1)
        painter.restore()

    def _mark(self, painter: QPainter, row: ValueRow, at: QPointF) -> None:
        if row.mark == "changed":
            marks.diamond(painter, at, 4.8, self.look.palette.live)
        elif row.mark:
            marks.draw_mark(painter, row.mark, at, 6.4, self.look.palette)

    def _strip(self, painter: QPainter, row: ValueRow, rect: QRectF) -> None:
        wide = min(RANGE_MOST, rect.width() - 2 * RANGE_GAP + 9)
        paint_strip(painter, QRectF(rect.left() + RANGE_GAP - 4.5, rect.top(), wide, rect.height() - 1), row.strip,
                    self.look.palette)

    def _words(self, painter: QPainter, row: ValueRow, column: Column, model: ValuesModel, rect: QRectF) -> None:
        fonts = self.look.fonts
        text = model.text(row, column)
        tone, bold, px = self._style(row, column, model)
        painter.setFont(fonts.get(px, bold=bold))
        if column in NUMBERS:
            draw(painter, rect.adjusted(2, 0, -NUMBER_AIR, 0), text, tone, RIGHT)
        else:
            room = rect.adjusted(WHY_AIR if column == "why" else 0, 0, -6, 0)
            fit = fit_label(fonts, text, "", room.width(), px, bold=bold)
            painter.setFont(fonts.get(px, bold=bold, condensed=fit.condensed))
            draw(painter, room, text if fit.shortened else fit.text, tone, LEFT)

    def _style(self, row: ValueRow, column: Column, model: ValuesModel) -> tuple[QColor, bool, int]:
        colours = self.look.palette
        if column == "parameter":
            return colours.ink, row.stands_out, TEXT
        if column == "a":
            return (colours.ink2 if row.a_unknown else colours.ink), row.a_unknown, TEXT
        if column == "second":
            heard = not row.second_unknown
            return (colours.ink if heard else colours.ink2), False, (TEXT if heard else SMALL)
        if column == "difference":
            if row.stands_out:
                return (colours.b if model.mode == "compare" else colours.live), True, TEXT
            return colours.ink2, False, (SMALL if row.weight < 0 else TEXT)
        return colours.ink2, False, (SMALL if column == "binding" else TEXT)


class Heads(QHeaderView):
    """The heads above the columns, with the marks of the sounds they are about."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.look = look
        self.setSectionsClickable(False)
        self.setMinimumSectionSize(20)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def sizeHint(self) -> QSize:
        return QSize(100, self.look.fonts.room(HEAD))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self.viewport())
        painter.fillRect(self.viewport().rect(), self.look.palette.well)
        painter.end()
        super().paintEvent(event)

    def paintSection(self, painter: QPainter, rect: QRect, logical: int) -> None:
        model = self.model()
        if not isinstance(model, ValuesModel) or logical >= len(model.columns):
            return
        fonts, colours = self.look.fonts, self.look.palette
        column = model.columns[logical]
        text = one_line(model.head(column))
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(rect, colours.well)
        painter.setFont(fonts.get(SMALL))
        room = QRectF(rect)
        if column in NUMBERS:
            room = room.adjusted(2, 0, -NUMBER_AIR, 0)
            draw(painter, room, text, colours.ink2, RIGHT)
            at = QPointF(room.right() - fonts.metrics(SMALL).horizontalAdvance(text) - 9, room.center().y() + 0.5)
            self._mark(painter, column, model, at)
        else:
            left = {"range": RANGE_GAP, "why": WHY_AIR, "mark": MARK}.get(column, 0)
            draw(painter, room.adjusted(left, 0, -4, 0), text, colours.ink2, LEFT)
        painter.restore()

    def _mark(self, painter: QPainter, column: Column, model: ValuesModel, at: QPointF) -> None:
        colours = self.look.palette
        if model.mode == "unknown":
            return
        if column == "a":
            marks.disc(painter, at, 4, colours.ink)
        elif column == "second" and model.mode == "compare":
            marks.ring(painter, at, 4.2, colours.b, width=1.9)
        elif column == "second":
            marks.triangle(painter, at, 4.6, colours.live, 90)
