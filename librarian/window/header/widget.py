"""The patch header as a widget: titles, buttons that wrap before they shrink, summary and legend."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from librarian.window.header.state import LEGEND_WORDS, HeaderState, Title
from librarian.window.paint import marks
from librarian.window.paint.fonts import NAME, SMALL, TEXT, TITLE
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, fit_label, hairline, one_line, plain_tip
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.field import Field
from librarian.window.parts.legend import Legend
from librarian.window.parts.lookful import Lookful

EDGE, TITLE_BLOCK, LEGEND_LINE, BUTTON_TOP = 14, 50, 26, 11
NAME_LEAST, BUTTON_ROW = 210, 36
MARK_ROOM = 22
MARK_WORDS = {"A": "A", "B": "B"}


class PatchHeader(Lookful):
    """Shows a `HeaderState`. `pressed` tells a button's name, `renamed` the new name of sound A."""

    pressed = Signal(str)
    renamed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.state = HeaderState()
        self.buttons: dict[str, Button] = {}
        self.legend = Legend(look, self)
        self.editor = Field(look, "Name", "Name of the patch", self)
        self.editor.hide()
        self.editor.edit.returnPressed.connect(self._edited)
        self.editor.key.connect(self._editor_key)
        self._air = 0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.show_state(self.state)

    # -- what is shown

    def show_state(self, state: HeaderState) -> None:
        """Show another sound, or other buttons; those that stay keep their place and the focus."""
        if self.editor.isVisible() and (state.a is None or self.state.a is None or state.a.name != self.state.a.name):
            self.end_rename()
        self.state = state
        wanted = {spec.name: spec for spec in state.buttons}
        had_focus = any(button.hasFocus() for button in self.buttons.values())
        for name in [name for name in self.buttons if name not in wanted]:
            gone = self.buttons.pop(name)
            gone.hide()
            gone.deleteLater()
        for name, spec in wanted.items():
            if name in self.buttons:
                self.buttons[name].set_spec(spec)
            else:
                self.buttons[name] = Button(self.look, spec, self.pressed.emit, parent=self)
                self.buttons[name].show()
        self.buttons = {name: self.buttons[name] for name in wanted}
        before: QWidget | None = None
        for button in self.buttons.values():
            if before is not None:
                QWidget.setTabOrder(before, button)
            before = button
        if had_focus and not any(button.hasFocus() for button in self.buttons.values()):
            self.take_focus()
        comparing = state.b is not None
        self.legend.show_entries([
            (mark, MARK_WORDS[mark] if comparing and mark in MARK_WORDS else LEGEND_WORDS[mark])
            for mark in state.legend if mark in LEGEND_WORDS
        ])
        self._name()
        self._place()
        self.update()

    def _name(self) -> None:
        state = self.state
        if state.a is None:
            told = state.nothing
        elif state.b is None:
            told = f"{state.a.name}, {state.a.detail}"
        else:
            told = f"A {state.a.name}, {state.a.detail}; B {state.b.name}, {state.b.detail}"
        self.setAccessibleName(one_line(told))
        self.setAccessibleDescription(one_line(state.summary))
        self.setToolTip(plain_tip(told))

    def take_focus(self) -> None:
        """Focus goes to the proposed button, else to the first that works."""
        working = [button for button in self.buttons.values() if button.isEnabled()]
        chosen = next((button for button in working if button.spec.primary), working[0] if working else None)
        if chosen is not None:
            chosen.setFocus(Qt.FocusReason.OtherFocusReason)

    # -- renaming in place

    def begin_rename(self) -> None:
        """A field in the name's place; Return takes the new name, Esc leaves it."""
        if self.state.a is None or not self.state.editable:
            return
        self.editor.edit.setText(self.state.a.name)
        self.editor.show()
        self.editor.raise_()
        self.editor.take_focus()
        self.update()

    def end_rename(self) -> None:
        """Away with the field; nothing is changed."""
        self.editor.hide()
        self.update()

    def _edited(self) -> None:
        name = self.editor.edit.text().strip()
        self.end_rename()
        if name and self.state.a is not None and name != self.state.a.name:
            self.renamed.emit(name)

    def _editor_key(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            event.accept()
            self.end_rename()
            self.take_focus()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        if self._titles_rect().contains(event.position()):
            self.begin_rename()

    # -- where it stands

    def _wide(self, hints: bool) -> int:
        for button in self.buttons.values():
            button.set_hint_shown(hints)
        return sum(button.sizeHint().width() for button in self.buttons.values())

    def _titles_width(self) -> float:
        name, small = self.fonts.metrics(NAME, bold=True), self.fonts.metrics(SMALL)
        state = self.state
        if state.a is None:
            return self.fonts.metrics(TEXT).horizontalAdvance(state.nothing)
        if state.b is None:
            return max(name.horizontalAdvance(state.a.name), small.horizontalAdvance(state.a.detail))
        two = self.fonts.metrics(TITLE, bold=True)
        return max(two.horizontalAdvance(title.name) + small.horizontalAdvance(title.detail) + MARK_ROOM + 10
                   for title in (state.a, state.b))

    def _rows(self) -> list[list[Button]]:
        """Key hints go before the titles are cut; the buttons wrap before the name gets too little room."""
        room = self.width() - 2 * EDGE - self.fonts.room(NAME_LEAST)
        wide = self._wide(hints=True)
        if wide > self.width() - 2 * EDGE - self._titles_width() - 12:
            wide = self._wide(hints=False)
        rows: list[list[Button]] = [[]]
        used = 0
        for button in self.buttons.values():
            size = button.sizeHint().width()
            if rows[-1] and used + size > room and wide > room:
                rows.append([])
                used = 0
            rows[-1].append(button)
            used += size
        return rows

    def _place(self) -> None:
        k = self.fonts.factor
        rows = self._rows()
        self._button_left = float(self.width() - EDGE)
        top = round(BUTTON_TOP * k) - FRAME
        for row in rows:
            right = self.width() - EDGE + FRAME
            for button in reversed(row):
                size = button.sizeHint()
                button.setGeometry(QRect(right - size.width(), top, size.width(), size.height()))
                right -= size.width()
            self._button_left = min(self._button_left, float(right + FRAME))
            top += round(BUTTON_ROW * k)
        self._block = round(TITLE_BLOCK * k) + (len(rows) - 1) * round(BUTTON_ROW * k)
        wanted = self.bare_height + self._air
        if self.minimumHeight() != wanted:
            self.setFixedHeight(wanted)
        hint = self.legend.sizeHint()
        summary = self.fonts.metrics(SMALL, bold=True).horizontalAdvance(self.state.summary)
        left = max(EDGE + summary + 16, self.width() - EDGE - hint.width())
        middle = self._block + LEGEND_LINE * k / 2
        self.legend.setGeometry(QRect(round(left), round(middle - hint.height() / 2),
                                      max(0, round(self.width() - EDGE - left)), hint.height()))
        self.editor.setGeometry(EDGE - 11, 3, max(120, round(self._button_left - EDGE)), self.fonts.room(30))

    @property
    def bare_height(self) -> int:
        """Its height without the air that large windows give it, px."""
        return self._block + round(LEGEND_LINE * self.fonts.factor)

    def set_air(self, air: int) -> None:
        """Air below the legend line, px."""
        if air != self._air:
            self._air = air
            self._place()

    def _titles_rect(self) -> QRectF:
        return QRectF(EDGE, 0, self._button_left - EDGE - 12, self._block)

    def sizeHint(self) -> QSize:
        return QSize(900, self.minimumHeight())

    def look_changed(self) -> None:
        self._place()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._place()

    # -- painting

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), self.colours.sheet)
        k, state = self.fonts.factor, self.state
        room = self._titles_rect()
        if state.a is None:
            painter.setFont(self.fonts.get(TEXT))
            draw(painter, QRectF(room.left(), 8 * k, room.width(), 34 * k), state.nothing, self.colours.ink2)
        elif state.b is None:
            self._one(painter, state.a, room, k)
        else:
            self._two(painter, state.a, state.b, room, k)
        hairline(painter, self.colours.line, EDGE, self._block, self.width() - EDGE, self._block)
        painter.setFont(self.fonts.get(SMALL, bold=True))
        draw(painter, QRectF(EDGE, self._block, self.width() - 2 * EDGE, LEGEND_LINE * k), one_line(state.summary),
             self.colours.ink)
        painter.end()

    def _one(self, painter: QPainter, title: Title, room: QRectF, k: float) -> None:
        if not self.editor.isVisible():
            painter.setFont(self.fonts.get(NAME, bold=True))
            draw(painter, QRectF(room.left(), 4 * k, room.width(), 25 * k), one_line(title.name), self.colours.ink)
        text = one_line(title.detail)
        fit = fit_label(self.fonts, text, "", room.width(), SMALL, bold=False)
        painter.setFont(self.fonts.get(SMALL, condensed=fit.condensed))
        draw(painter, QRectF(room.left(), 29 * k, room.width(), 17 * k), text, self.colours.ink2)

    def _two(self, painter: QPainter, a: Title, b: Title, room: QRectF, k: float) -> None:
        for title, middle, colour in ((a, 15 * k, self.colours.ink), (b, 37 * k, self.colours.b)):
            at = QPointF(room.left() + 8, middle)
            if title is a:
                marks.disc(painter, at, 6, colour)
            else:
                marks.ring(painter, at, 6.4, colour, width=2.2)
            left = room.left() + MARK_ROOM
            metrics = self.fonts.metrics(TITLE, bold=True)
            detail = self.fonts.metrics(SMALL).horizontalAdvance(title.detail)
            most = max(80.0, room.right() - left - detail - 12)
            name = metrics.elidedText(one_line(title.name), Qt.TextElideMode.ElideRight, most)
            painter.setFont(self.fonts.get(TITLE, bold=True))
            draw(painter, QRectF(left, middle - 11 * k, most + 4, 22 * k), name, colour, elide=None)
            x = left + metrics.horizontalAdvance(name) + 10
            painter.setFont(self.fonts.get(SMALL))
            draw(painter, QRectF(x, middle - 9 * k, max(0.0, room.right() - x), 19 * k), one_line(title.detail),
                 self.colours.ink2)


