"""A switch of a few words of which one is on ("Differences 10 | All 52")."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QHBoxLayout, QSizePolicy, QWidget

from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import draw, one_line, stroke
from librarian.window.parts.lookful import Lookful

HEIGHT, PAD, FRAME, RADIUS = 24, 10, 2, 3


class _Segment(QAbstractButton):
    arrow = Signal(int)

    def __init__(self, look: Look, name: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.look, self.name = look, name
        self.setCheckable(True)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        # Qt's button would move the focus alone.
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(event.key()))
        if step is not None:
            self.arrow.emit(step)
        else:
            super().keyPressEvent(event)

    def sizeHint(self) -> QSize:
        # As wide as its bold form, so that nothing moves when the switch is thrown.
        wide = self.look.fonts.metrics(SMALL, bold=True).horizontalAdvance(self.text())
        return QSize(round(wide) + 2 * PAD + 2 * FRAME, self.look.fonts.room(HEIGHT) + 2 * FRAME)

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours = self.look.palette
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        shape = QRectF(self.rect()).adjusted(FRAME + 0.5, FRAME + 0.5, -FRAME - 0.5, -FRAME - 0.5)
        painter.setPen(stroke(colours.ink if self.isChecked() else colours.ring, 1))
        painter.setBrush(colours.ink if self.isChecked() else colours.well if self.underMouse() else colours.sheet)
        painter.drawRoundedRect(shape, RADIUS, RADIUS)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(stroke(colours.sheet if self.isChecked() else colours.ink, 2))
            painter.drawRoundedRect(shape.adjusted(2, 2, -2, -2), RADIUS, RADIUS)
        painter.setFont(self.look.fonts.get(SMALL, bold=self.isChecked()))
        draw(painter, shape, self.text(), colours.sheet if self.isChecked() else colours.ink,
             Qt.AlignmentFlag.AlignHCenter, elide=None)
        painter.end()


class Segments(Lookful):
    """Buttons of which one is on; Left and Right throw the switch. `chosen` (name) when a person does."""

    chosen = Signal(str)

    def __init__(self, look: Look, name: str, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.setAccessibleName(name)
        self.buttons: dict[str, _Segment] = {}
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.setSpacing(0)
        self.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)

    def show_segments(self, segments: Sequence[tuple[str, str]], on: str) -> None:
        """Other segments as (name, words), and which one is on."""
        if tuple(name for name, _ in segments) != tuple(self.buttons):
            for button in self.buttons.values():
                self._row.removeWidget(button)
                button.hide()
                button.deleteLater()
            self.buttons = {}
            for name, _ in segments:
                made = _Segment(self.look, name, self)
                made.clicked.connect(self._clicked)
                made.arrow.connect(self._step)
                self._row.addWidget(made)
                self.buttons[name] = made
        for name, words in segments:
            button = self.buttons[name]
            button.setText(one_line(words))
            button.setChecked(name == on)
            # One Tab stop: the segment that is on.
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus if name == on else Qt.FocusPolicy.NoFocus)
            button.updateGeometry()

    def _clicked(self) -> None:
        button = self.sender()
        if isinstance(button, _Segment):
            # Pressing the one that is on leaves it on.
            button.setChecked(True)
            self.chosen.emit(button.name)

    def _step(self, by: int) -> None:
        names = list(self.buttons)
        on = next((place for place, name in enumerate(names) if self.buttons[name].isChecked()), None)
        if on is None or not 0 <= on + by < len(names):
            return
        wanted = names[on + by]
        self.chosen.emit(wanted)
        if wanted in self.buttons:
            self.buttons[wanted].setFocus(Qt.FocusReason.OtherFocusReason)
