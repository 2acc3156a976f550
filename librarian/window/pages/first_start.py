"""The first start: two ways to begin, nothing else."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from librarian.window.paint import marks
from librarian.window.paint.controls import ControlState, paint_control
from librarian.window.paint.fonts import BODY, HEADLINE
from librarian.window.paint.look import Look
from librarian.window.paint.palette import Palette
from librarian.window.paint.text import CENTRE, dashed, draw, polar, stroke
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec

CARD_WIDTH, CARD_HEIGHT, CARD_GAP, PICTURE_HEIGHT, CARD_TITLE = 380, 330, 40, 116, 19
CAUTION = "Sounds can be loud. Turn the monitors down before the first recall: hearing damage is permanent."
CONNECT = ButtonSpec("connect", "Connect…", primary=True, key="Ctrl+I")
STAND_IN = ButtonSpec("standin", "Start the stand-in", key="Ctrl+Shift+I")
CONNECT_TEXT = (
    "Plug its MIDI OUT into the interface’s IN and its MIDI IN into the interface’s OUT, switch it on, and choose its "
    "chart. Nothing is sent to it but the question who it is."
)
STAND_IN_TEXT = (
    "A simulated Lanternfish with a hundred sounds made for it. Capture, compare and recall work as with a real one. "
    "Nothing leaves this computer."
)
Picture = Callable[[QPainter, QRectF, Palette], None]


def cable_picture(painter: QPainter, box: QRectF, palette: Palette) -> None:
    """Computer, two strands with a byte each way, an instrument."""
    left, y = box.center().x() - 150, box.center().y()
    painter.setPen(stroke(palette.ink, 2))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRoundedRect(QRectF(left, y - 16, 34, 24), 2, 2)
    painter.drawLine(QPointF(left + 17, y + 9), QPointF(left + 17, y + 14))
    painter.drawLine(QPointF(left + 11, y + 14), QPointF(left + 23, y + 14))
    plug, end = left + 52, left + 218
    painter.setBrush(palette.sheet)
    painter.drawRoundedRect(QRectF(end, y - 28, 88, 56), 5, 5)
    for height in (-12, 12):
        painter.setPen(stroke(palette.ink, 2))
        painter.drawLine(QPointF(plug, y + height), QPointF(end, y + height))
        for x in (plug, end):
            _plug(painter, QPointF(x, y + height), palette)
    marks.triangle(painter, QPointF(plug + 60, y - 12), 7, palette.live, 0)
    marks.triangle(painter, QPointF(plug + 36, y + 12), 7, palette.live, 180)
    for place, share in enumerate((0.2, 0.6, 0.8)):
        knob = QRectF(end + 11 + 23 * place, y - 14, 28, 28)
        paint_control(painter, knob, ControlState(a=share), palette)


def _plug(painter: QPainter, at: QPointF, palette: Palette) -> None:
    painter.setPen(stroke(palette.ink, 1.6))
    painter.setBrush(palette.sheet)
    painter.drawEllipse(at, 7.6, 7.6)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(palette.ink)
    for pin in (180, 225, 270, 315, 360):
        painter.drawEllipse(polar(at, 4.6, pin), 0.9, 0.9)


def stand_in_picture(painter: QPainter, box: QRectF, palette: Palette) -> None:
    """An instrument that is only drawn: a dashed box with controls."""
    frame = QRectF(box.center().x() - 110, box.center().y() - 38, 220, 76)
    painter.setPen(dashed(palette.ring, 2, 8, 5))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRoundedRect(frame, 6, 6)
    controls = (
        ControlState(a=0.2), ControlState(a=0.6), ControlState("bipolar", a=0.71), ControlState("stepped", 5, a=0.5),
        ControlState(a=0.8), ControlState("switch", 2, a=1.0),
    )
    for place, control in enumerate(controls):
        middle = QPointF(frame.left() + 30 + 32 * place, frame.center().y())
        paint_control(painter, QRectF(middle.x() - 14, middle.y() - 14, 28, 28), control, palette)


class _Card(Lookful):
    """One way to begin: picture, title, what it means, button."""

    def __init__(self, look: Look, title: str, text: str, button: Button, picture: Picture, *, first: bool) -> None:
        super().__init__(look)
        self._picture, self._first = picture, first
        self.title = Sentence(look, px=CARD_TITLE)
        self.title.say(title)
        self.text = Sentence(look, px=BODY, second=True)
        self.text.say_plainly(text)
        self.button = button
        column = QVBoxLayout(self)
        column.setContentsMargins(28 - FRAME, PICTURE_HEIGHT + 18, 28, 20)
        for words in (self.title, self.text):
            words.setContentsMargins(FRAME, 0, 0, 0)
        column.setSpacing(4)
        column.addWidget(self.title)
        column.addWidget(self.text)
        column.addStretch(1)
        holder = QHBoxLayout()
        holder.setContentsMargins(0, 8, 0, 0)
        holder.addWidget(button)
        holder.addStretch(1)
        column.addLayout(holder)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
        self.setMaximumWidth(round(CARD_WIDTH * max(1.0, look.fonts.factor)))

    def sizeHint(self) -> QSize:
        return QSize(CARD_WIDTH, self.fonts.room(CARD_HEIGHT))

    def minimumSizeHint(self) -> QSize:
        return QSize(260, max(self.fonts.room(250), super().minimumSizeHint().height()))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setBrush(self.colours.sheet)
        width = 2.0 if self._first else 1.0
        painter.setPen(stroke(self.colours.ink if self._first else self.colours.ring, width))
        inset = width / 2
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(inset, inset, -inset, -inset), 7, 7)
        self._picture(painter, QRectF(0, 8, self.width(), PICTURE_HEIGHT), self.colours)
        painter.end()


class _Headline(Lookful):
    """One painted line in the middle."""

    def __init__(self, look: Look, text: str, px: float, *, bold: bool) -> None:
        super().__init__(look)
        self._text, self._px, self._bold = text, px, bold
        self.setAccessibleName(text)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(200, round(self.fonts.room(self._px) * 1.6))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setFont(self.fonts.get(self._px, bold=self._bold))
        draw(painter, QRectF(self.rect()), self._text, self.colours.ink, CENTRE)
        painter.end()


class FirstStart(Lookful):
    """`pressed` tells "connect" or "standin"."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.connect_button = Button(look, CONNECT, self.pressed.emit, visible_height=34)
        self.stand_in_button = Button(look, STAND_IN, self.pressed.emit, visible_height=34)
        self.cards = (
            _Card(look, "Connect an instrument", CONNECT_TEXT, self.connect_button, cable_picture, first=True),
            _Card(look, "Try the stand-in", STAND_IN_TEXT, self.stand_in_button, stand_in_picture, first=False),
        )
        self._row: QBoxLayout = QHBoxLayout()
        self._row.setSpacing(CARD_GAP)
        self._row.addStretch(1)
        for card in self.cards:
            self._row.addWidget(card, 1000)
        self._row.addStretch(1)
        caution = Sentence(look)
        caution.say_plainly(CAUTION)
        caution.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        column = QVBoxLayout(self)
        column.setContentsMargins(24, 0, 24, 0)
        column.setSpacing(0)
        column.addStretch(61)
        column.addWidget(_Headline(look, "Two ways to begin", HEADLINE, bold=True))
        column.addSpacing(25)
        column.addLayout(self._row)
        column.addStretch(84)
        column.addWidget(caution)
        column.addStretch(44)

    def take_focus(self) -> None:
        """Focus goes to the first way."""
        self.connect_button.setFocus(Qt.FocusReason.OtherFocusReason)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.colours.sheet)
        painter.end()
