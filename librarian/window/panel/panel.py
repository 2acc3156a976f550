"""The front panel as a widget: section titles on hairlines, one small widget for each control, rows that scroll."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, QSize, Qt, QVariantAnimation, Signal
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QWidget

from librarian.window.paint.controls import SMALLEST
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import CENTRE, RIGHT, draw, hairline, one_line
from librarian.window.panel.cell import ControlCell
from librarian.window.panel.grid import EDGE, Arrangement, Texts, arrange, height_for
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.scroll import WIDTH, ThinScrollBar
from librarian.window.shown.sheet import Sheet

NO_SOUND = "The controls of the instrument will stand here, once a sound is chosen."
UNDER_TITLE, FOOT = 1, 6
WHEEL_STEP = 120


class FrontPanel(Lookful):
    """Shows a `Sheet`. `selected` tells the parameter that is looked at, `opened` a double click or Enter on it."""

    selected = Signal(str)
    opened = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.sheet: Sheet | None = None
        self.cells: dict[str, ControlCell] = {}
        self.current = ""
        self.guide = False
        self._arranged: Arrangement | None = None
        self._wheel = 0
        self._bar = ThinScrollBar(look, parent=self)
        self._bar.setPageStep(1)
        self._bar.valueChanged.connect(self._place)
        self._bar.hide()
        self._motion = QVariantAnimation(self)
        self._motion.setStartValue(0.0)
        self._motion.setEndValue(1.0)
        self._motion.valueChanged.connect(self._moved)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setMinimumSize(300, round(height_for(1, SMALLEST)) + FOOT)

    # -- what is shown

    def show_sheet(self, sheet: Sheet | None) -> None:
        """Show another sound, or the same one with other facts; None when there is no chart."""
        same_chart = self.sheet is not None and sheet is not None and self.sheet.chart is sheet.chart
        self.sheet = sheet
        self.guide = sheet is not None and sheet.shown.turning
        if not same_chart:
            self._build()
        if sheet is not None:
            for name, cell in sheet.cells.items():
                self.cells[name].show_cell(cell, sheet.chart.parameters[name].binding_text)
        self._motion.stop()
        if same_chart and self.look.motion_ms and self.isVisible():
            self._moved(0.0)
            self._motion.setDuration(self.look.motion_ms)
            self._motion.start()
        else:
            self._moved(1.0)
        self._lay_out()

    def select(self, parameter: str) -> None:
        """Select a control from outside (the table's row); does not take the focus and tells nobody."""
        if parameter in self.cells and parameter != self.current:
            self._make_current(parameter)

    def take_focus(self) -> None:
        """Focus goes to the selected control, else to the first."""
        if self.cells:
            self.cells[self.current or next(iter(self.cells))].setFocus(Qt.FocusReason.OtherFocusReason)

    @property
    def arrangement(self) -> Arrangement | None:
        """Where everything stands at the present size."""
        return self._arranged

    @property
    def row_count(self) -> int:
        """Rows of sections, after breaking those that are too long."""
        return len(self._arranged.rows) if self._arranged else 0

    @property
    def texts(self) -> Texts:
        """Heights of the text lines at the present text size."""
        room = self.fonts.room
        return Texts(room(16), room(14), room(15))

    def _build(self) -> None:
        for cell in self.cells.values():
            cell.hide()
            cell.deleteLater()
        self.cells = {}
        self.current = ""
        self._bar.setValue(0)
        if self.sheet is None:
            return
        for name in self.sheet.cells:
            cell = ControlCell(self.look, name, self)
            cell.chosen.connect(self._chosen)
            cell.opened.connect(self.opened)
            cell.arrow.connect(self._arrow)
            cell.edge.connect(self._to_edge)
            self.cells[name] = cell
        first = next(iter(self.cells.values()), None)
        if first is not None:
            first.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def _moved(self, share: float) -> None:
        for cell in self.cells.values():
            cell.set_moved(share)

    # -- where it stands

    def look_changed(self) -> None:
        self._lay_out()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._lay_out()

    def sizeHint(self) -> QSize:
        return QSize(960, 354)

    def _lay_out(self) -> None:
        if self.sheet is None:
            self._arranged = None
            self._bar.hide()
            self.update()
            return
        groups = [(section.row, section.id, [parameter.id for parameter in section.parameters])
                  for section in self.sheet.chart.sections]
        height = max(1, self.height() - FOOT)
        made = arrange(groups, self.width(), height, self.texts, guide=self.guide)
        if made.scrolls:
            made = arrange(groups, self.width() - WIDTH, height, self.texts, guide=self.guide)
        self._arranged = made
        self._bar.setVisible(made.scrolls)
        self._bar.setRange(0, max(0, len(made.rows) - made.visible_rows))
        self._bar.setGeometry(self.width() - WIDTH, 0, WIDTH, self.height())
        for cell in self.cells.values():
            cell.diameter, cell.texts = made.diameter, made.texts
        self._place()

    def _row_top(self, row: int) -> float:
        assert self._arranged is not None
        return (row - (self._bar.value() if self._arranged.scrolls else 0)) * self._arranged.row_height

    def _place(self) -> None:
        made = self._arranged
        if made is None:
            return
        first = self._bar.value() if made.scrolls else 0
        for index, row in enumerate(made.rows):
            seen = first <= index < first + made.visible_rows
            top = self._row_top(index) + made.texts.title + UNDER_TITLE
            for piece in row:
                for place, name in enumerate(piece.parameters):
                    left = piece.left + place * made.cell_width
                    cell = self.cells[name]
                    right = round(left + made.cell_width)
                    cell.setGeometry(QRect(round(left), round(top), right - round(left), round(made.cell_height)))
                    cell.setVisible(seen)
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        if self.sheet is None or self._arranged is None:
            painter.setFont(self.fonts.get())
            draw(painter, QRectF(EDGE, 0, self.width() - 2 * EDGE, self.height()), NO_SOUND, self.colours.ink2, CENTRE)
        else:
            first = self._bar.value() if self._arranged.scrolls else 0
            for index in range(first, min(len(self._arranged.rows), first + self._arranged.visible_rows)):
                self._titles(painter, index)
        painter.end()

    def _titles(self, painter: QPainter, row: int) -> None:
        assert self._arranged is not None
        assert self.sheet is not None
        labels = {section.id: section.label for section in self.sheet.chart.sections}
        differ = dict(self.sheet.counts.differ_by_section)
        metrics = self.fonts.metrics(SMALL, bold=True)
        painter.setFont(self.fonts.get(SMALL, bold=True))
        top, high = self._row_top(row), self._arranged.texts.title
        for piece in self._arranged.rows[row]:
            left, right = piece.left + 4, piece.right - 2
            title = one_line(labels[piece.section]) + ("" if piece.first else ", continued")
            count = differ.get(piece.section, 0) if self.sheet.shown.comparing and piece.first else 0
            told = f"{count} {'differs' if count == 1 else 'differ'}" if count else ""
            end = right
            if told:
                wide = metrics.horizontalAdvance(told)
                draw(painter, QRectF(right - wide - 2, top, wide + 2, high), told, self.colours.b, RIGHT, elide=None)
                end = right - wide - 8
            room = end - left
            shown = metrics.elidedText(title, Qt.TextElideMode.ElideRight, room)
            draw(painter, QRectF(left, top, room, high), shown, self.colours.ink, elide=None)
            start = left + metrics.horizontalAdvance(shown) + 9
            if start < end:
                hairline(painter, self.colours.line, start, top + high / 2, end, top + high / 2)

    # -- hands

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self._arranged is None or not self._arranged.scrolls:
            event.ignore()
            return
        self._wheel += event.angleDelta().y()
        while abs(self._wheel) >= WHEEL_STEP:
            step = 1 if self._wheel > 0 else -1
            self._wheel -= step * WHEEL_STEP
            self._bar.setValue(self._bar.value() - step)
        event.accept()

    def _chosen(self, parameter: str) -> None:
        if parameter != self.current:
            self._make_current(parameter)
            self.selected.emit(parameter)

    def _make_current(self, parameter: str) -> None:
        for name, cell in self.cells.items():
            cell.set_selected(name == parameter)
            # One Tab stop for the whole panel: the selected control.
            cell.setFocusPolicy(Qt.FocusPolicy.StrongFocus if name == parameter else Qt.FocusPolicy.ClickFocus)
        self.current = parameter
        self._reveal(parameter)

    def _reveal(self, parameter: str) -> None:
        made = self._arranged
        if made is None or not made.scrolls:
            return
        for index, row in enumerate(made.rows):
            if any(parameter in piece.parameters for piece in row):
                first = self._bar.value()
                if index < first:
                    self._bar.setValue(index)
                elif index >= first + made.visible_rows:
                    self._bar.setValue(index - made.visible_rows + 1)

    def _places(self) -> dict[str, tuple[int, float]]:
        """Row and middle x of every control."""
        assert self._arranged is not None
        return {
            name: (index, piece.left + (place + 0.5) * self._arranged.cell_width)
            for index, row in enumerate(self._arranged.rows)
            for piece in row
            for place, name in enumerate(piece.parameters)
        }

    def _arrow(self, parameter: str, dx: int, dy: int) -> None:
        if self._arranged is None:
            return
        places = self._places()
        row, x = places[parameter]
        if dx:
            beside = [(abs(other_x - x), name) for name, (other_row, other_x) in places.items()
                      if other_row == row and (other_x - x) * dx > 1]
        else:
            rows = [other for other, _ in places.values() if (other - row) * dy > 0]
            wanted = (min(rows) if dy > 0 else max(rows)) if rows else None
            beside = [(abs(other_x - x), name) for name, (other_row, other_x) in places.items()
                      if other_row == wanted]
        if beside:
            self._go(min(beside)[1])

    def _to_edge(self, last: bool) -> None:
        self._go(list(self.cells)[-1 if last else 0])

    def _go(self, parameter: str) -> None:
        self._reveal(parameter)
        self.cells[parameter].setFocus(Qt.FocusReason.OtherFocusReason)
