"""One control as a small widget: painted control, label, value, plate and frame; it knows its spoken name."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from librarian.window.paint.controls import ControlState, paint_control
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.picture import Picture
from librarian.window.paint.text import CENTRE, draw, fit_label, fit_value, one_line, plain_tip, stroke
from librarian.window.panel.grid import Texts
from librarian.window.parts.lookful import Lookful
from librarian.window.shown.cells import Cell

ABOVE, AIR = 3, 1
PLATE_RADIUS, FRAME_RADIUS = 5, 6
ARROWS = {
    Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, -1), Qt.Key.Key_Down: (0, 1),
}


def _between(before: float | None, after: float | None, share: float) -> float | None:
    if before is None or after is None:
        return after
    return before + (after - before) * share


class ControlCell(Lookful):
    """Shows a `Cell`. `chosen` when pressed or focused, `arrow` when an arrow key asks for a neighbour."""

    chosen = Signal(str)
    opened = Signal(str)
    arrow = Signal(str, int, int)
    edge = Signal(bool)

    def __init__(self, look: Look, parameter: str, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.parameter = parameter
        self.cell: Cell | None = None
        self.diameter = 36.0
        self.texts = Texts()
        self.is_selected = False
        self._before: ControlState | None = None
        self._moved = 1.0
        self._tip = ""
        # Painting takes a while, and most of what happens to a sound changes few controls: what is painted stays.
        # Twice, because a control that moves is painted on words that do not.
        self._words_picture = Picture()
        self._whole_picture = Picture()
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)

    def show_cell(self, cell: Cell, binding: str) -> None:
        """Show another state of the control."""
        self._before = self.cell.control if self.cell is not None else None
        tip = f"{cell.section}, {cell.label}{f': {cell.value}' if cell.value else ''} · {binding}"
        if cell == self.cell and tip == self._tip:
            return
        self.cell, self._tip = cell, tip
        self.setAccessibleName(one_line(cell.spoken_name))
        self.setToolTip(plain_tip(tip))
        self.update()

    def set_moved(self, share: float) -> None:
        """How far the marks are on their way from the previous state, 0 to 1."""
        moves = self._moves
        self._moved = share
        if moves or self._moves:
            self.update()

    def set_selected(self, selected: bool) -> None:
        """One cell of the panel is selected; it carries a frame."""
        if selected != self.is_selected:
            self.is_selected = selected
            self.update()

    @property
    def _moves(self) -> bool:
        """True while the marks are on their way."""
        now, before = self.cell.control if self.cell is not None else None, self._before
        if now is None or before is None or self._moved >= 1.0 or before.kind != now.kind:
            return False
        return (before.a, before.b, before.now) != (now.a, now.b, now.now)

    def _control(self) -> ControlState:
        assert self.cell is not None
        now, before = self.cell.control, self._before
        if before is None or not self._moves:
            return now
        return replace(
            now, a=_between(before.a, now.a, self._moved), b=_between(before.b, now.b, self._moved),
            now=_between(before.now, now.now, self._moved),
        )

    def paintEvent(self, _event: QPaintEvent) -> None:
        if self.cell is None:
            return
        painter = QPainter(self)
        # A new palette and new fonts are new objects, so that a changed look is another picture.
        drawn = (
            self.cell, self.size(), self.diameter, self.texts, self.hasFocus(), self.is_selected,
            self.colours, self.fonts,
        )
        if self._moves:
            self._words_picture.show(painter, self.colours.sheet, drawn, self._paint_words)
            self._paint_control(painter)
        else:
            self._whole_picture.show(painter, self.colours.sheet, drawn, self._paint_whole)
        painter.end()

    def _paint_whole(self, painter: QPainter) -> None:
        self._paint_words(painter)
        self._paint_control(painter)

    def _paint_control(self, painter: QPainter) -> None:
        left = self.rect().toRectF().center().x() - self.diameter / 2
        paint_control(painter, QRectF(left, ABOVE, self.diameter, self.diameter), self._control(), self.colours)

    def _paint_words(self, painter: QPainter) -> None:
        """Everything but the control: plate, label, value, frame."""
        assert self.cell is not None
        cell, colours = self.cell, self.colours
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        whole = QRectF(self.rect())
        painter.fillRect(whole, colours.sheet)
        if cell.plate and colours.tints:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(colours.b_tint if cell.plate == "differs" else colours.live_tint)
            painter.drawRoundedRect(whole.adjusted(1, 0, -1, 0), PLATE_RADIUS, PLATE_RADIUS)
        self._words(painter, ABOVE + self.diameter + 1)
        if self.hasFocus():
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(whole.adjusted(1, 1, -1, -1), FRAME_RADIUS, FRAME_RADIUS)
        elif self.is_selected:
            painter.setPen(stroke(colours.ink, 1))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(whole.adjusted(0.5, 0.5, -0.5, -0.5), FRAME_RADIUS, FRAME_RADIUS)

    def _words(self, painter: QPainter, top: float) -> None:
        assert self.cell is not None
        cell, colours, fonts = self.cell, self.colours, self.fonts
        room = self.width() - 2 * AIR
        tones = {"ink2": colours.ink2, "b": colours.b, "live": colours.live}
        label = fit_label(fonts, one_line(cell.label), one_line(cell.short), room, SMALL, bold=cell.label_bold)
        painter.setFont(fonts.get(SMALL, bold=cell.label_bold, condensed=label.condensed))
        faint = cell.control.quiet and not cell.label_bold
        draw(painter, QRectF(AIR, top, room, self.texts.label), label.text, colours.ink2 if faint else colours.ink,
             CENTRE, elide=None)
        value = fit_value(fonts, one_line(cell.value), cell.value_short, room, bold=cell.value_bold)
        painter.setFont(fonts.get(value.px, bold=cell.value_bold, condensed=value.condensed))
        draw(painter, QRectF(AIR, top + self.texts.label - 1, room, self.texts.value), value.text, tones[cell.tone],
             CENTRE, elide=None)

    # -- hands

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self.setFocus(Qt.FocusReason.MouseFocusReason)
            self.chosen.emit(self.parameter)
        else:
            super().mousePressEvent(event)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self.opened.emit(self.parameter)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.chosen.emit(self.parameter)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = Qt.Key(event.key())
        plain = event.modifiers() in {Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier}
        if key in ARROWS and plain:
            self.arrow.emit(self.parameter, *ARROWS[key])
        elif key in {Qt.Key.Key_Home, Qt.Key.Key_End} and plain:
            self.edge.emit(key == Qt.Key.Key_End)
        elif key in {Qt.Key.Key_Return, Qt.Key.Key_Enter} and plain:
            self.opened.emit(self.parameter)
        else:
            super().keyPressEvent(event)
