"""The chain as a widget: the painted line, its sentence, and the buttons that do what the sentence proposes."""

from __future__ import annotations

from PySide6.QtCore import QRect, QRectF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QAccessible, QAccessibleAnnouncementEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractButton, QWidget

from librarian.window.chain.geometry import HEIGHT, Geometry
from librarian.window.chain.state import ChainState
from librarian.window.chain.strands import ChainPainter
from librarian.window.chain.troubles import nothing_connected
from librarian.window.paint.look import Look
from librarian.window.paint.picture import Picture
from librarian.window.paint.text import hairline, one_line, stroke
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec

PANIC = ButtonSpec("panic", "Panic", tip="Every note and sound off, on every channel (Shift+Esc)")
TICK_MS, STEPS = 60, 40
BUTTON_TOP, SENTENCE_TOP, BUTTON_HEIGHT = 65, 63, 26


class _BoxButton(QAbstractButton):
    """The instrument's box as something to press when there are several instruments; the chain paints the box."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(parent)
        self.look = look
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def paintEvent(self, _event: QPaintEvent) -> None:
        if self.hasFocus():
            painter = QPainter(self)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(stroke(self.look.palette.ink, 2))
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), 8, 8)
            painter.end()


class Chain(Lookful):
    """Shows a `ChainState`. `pressed` tells a button's name, `instruments_asked` that another instrument is wanted."""

    pressed = Signal(str)
    instruments_asked = Signal()
    announced = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.state: ChainState = nothing_connected()
        self.sentence = Sentence(look, parent=self)
        self.box = _BoxButton(look, self)
        self.box.clicked.connect(self.instruments_asked)
        self.buttons: dict[str, Button] = {}
        self.panic = Button(look, PANIC, self.pressed.emit, visible_height=BUTTON_HEIGHT, parent=self)
        self._order: list[Button] = [self.panic]
        self._phase = 0.5
        self._timer = QTimer(self)
        self._timer.setInterval(TICK_MS)
        self._timer.timeout.connect(self._tick)
        self._quarter = -1
        self._last_first = ""
        self._picture = Picture()
        # After the sentence, which has the new letters by then: how high it is depends on them.
        look.changed.connect(self._place)
        self.show_state(self.state)

    def show_state(self, state: ChainState) -> None:
        """Show another state; buttons that stay keep their place and the focus."""
        changed = state.sentence != self.sentence.said
        self.state = state
        self.sentence.say(state.first, state.rest)
        self.setAccessibleName(one_line(state.sentence))
        self._show_buttons()
        self.box.setVisible(bool(state.box.place))
        self.box.setAccessibleName(one_line(f"{state.box.name}, {state.box.place}, choose an instrument"))
        moving = (state.out.moving or state.back.moving) and self.look.motion_ms > 0
        if moving and not self._timer.isActive():
            self._timer.start()
        elif not moving:
            self._timer.stop()
            self._phase = 0.5
        self._place()
        self.update()
        if changed:
            self._announce()

    def take_focus(self) -> None:
        """Focus goes to the proposed button, else to the first that works, else to Panic."""
        working = [button for button in self._order if button.isEnabled()]
        chosen = next((button for button in working if button.spec.primary), working[0] if working else None)
        if chosen is not None:
            chosen.setFocus(Qt.FocusReason.OtherFocusReason)

    def _show_buttons(self) -> None:
        had_focus = any(button.hasFocus() for button in self.buttons.values())
        wanted = {spec.name: spec for spec in self.state.buttons}
        for name in [name for name in self.buttons if name not in wanted]:
            gone = self.buttons.pop(name)
            gone.hide()
            gone.deleteLater()
        for name, spec in wanted.items():
            if name in self.buttons:
                self.buttons[name].set_spec(spec)
            else:
                button = Button(self.look, spec, self.pressed.emit, visible_height=BUTTON_HEIGHT, parent=self)
                self.buttons[name] = button
                button.show()
        self.panic.set_spec(ButtonSpec("panic", PANIC.text, reason=self.state.panic_reason, tip=PANIC.tip))
        self._order = [self.buttons[spec.name] for spec in self.state.buttons] + [self.panic]
        before: QWidget = self.box
        for button in self._order:
            QWidget.setTabOrder(before, button)
            before = button
        if had_focus and not any(button.hasFocus() for button in self.buttons.values()):
            self.take_focus()

    @property
    def geometry_now(self) -> Geometry:
        """Where everything stands at the present width."""
        return Geometry(float(self.width()), self.fonts.factor)

    def _place(self) -> None:
        geometry = self.geometry_now
        right = self.width() - 14 + FRAME
        top = round(BUTTON_TOP * geometry.k) - FRAME
        for button in reversed(self._order):
            size = button.sizeHint()
            button.setGeometry(QRect(right - size.width(), top, size.width(), size.height()))
            right -= size.width()
        buttons_left = right + FRAME
        left = geometry.sentence_left(self.state, buttons_left)
        width = max(120, round(buttons_left - 20 - left))
        high = max(self.sentence.heightForWidth(width), 0)
        self.sentence.setGeometry(QRect(round(left), round(SENTENCE_TOP * geometry.k), width, high))
        self.box.setGeometry(geometry.box.adjusted(-3, -3, 3, 3).toRect())
        wanted = max(round(geometry.height), self.sentence.geometry().bottom() + 6)
        if wanted != self.minimumHeight():
            # A third line pushes the areas below down; it is never cut.
            self.setFixedHeight(wanted)

    def sizeHint(self) -> QSize:
        return QSize(1024, round(HEIGHT * self.fonts.factor))

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._place()

    def _tick(self) -> None:
        self._phase = (self._phase + 1 / STEPS) % 1.0
        geometry = self.geometry_now
        self.update(0, round(geometry.out_y) - 8, self.width(), round(geometry.back_y - geometry.out_y) + 16)

    def paintEvent(self, _event: QPaintEvent) -> None:
        sentence = self.sentence.geometry()
        painter = QPainter(self)
        drawn = (self.state, sentence, self.colours, self.fonts)
        self._picture.show(painter, self.colours.ground, drawn, self._paint_still)
        self._drawing(painter).paint_bytes()
        painter.end()

    def _paint_still(self, painter: QPainter) -> None:
        painter.fillRect(self.rect(), self.colours.ground)
        hairline(painter, self.colours.line, 0, self.height() - 1, self.width(), self.height() - 1)
        self._drawing(painter).paint()

    def _drawing(self, painter: QPainter) -> ChainPainter:
        drawing = ChainPainter(painter, self.geometry_now, self.state, self.colours, self.fonts, self._phase)
        if self.state.leader != "none":
            drawing.sentence_left = self.sentence.x()
            drawing.sentence_bottom = max(93 * self.fonts.factor, self.sentence.geometry().bottom())
        return drawing

    def _announce(self) -> None:
        """Tell a screen reader; of a running transfer only every quarter."""
        share = self.state.plate.share if self.state.plate is not None else None
        if share is not None:
            quarter = int(share * 4)
            if quarter == self._quarter and self.state.first == self._last_first:
                return
            self._quarter = quarter
        else:
            self._quarter = -1
        self._last_first = self.state.first
        QAccessible.updateAccessibility(QAccessibleAnnouncementEvent(self, one_line(self.state.sentence)))
        self.announced.emit(self.state.sentence)


