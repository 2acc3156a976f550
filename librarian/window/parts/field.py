"""A text field with the window's own border: 1 px in ring, 2 px in ink while it has the focus."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFocusEvent, QKeyEvent, QPainter, QPaintEvent, QPalette, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import QLineEdit, QSizePolicy, QWidget

from librarian.window.paint.fonts import TEXT
from librarian.window.paint.look import Look
from librarian.window.paint.text import stroke
from librarian.window.parts.lookful import Lookful

HEIGHT, INSIDE = 32, 11
WAVE, WAVE_HEIGHT = 3.0, 2.4


class _Edit(QLineEdit):
    """The line itself; draws a zigzag under the characters that are wrong."""

    focus_changed = Signal(bool)
    key = Signal(QKeyEvent)

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(parent)
        self.look = look
        self.wrong: tuple[int, int] | None = None
        self.setFrame(False)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.focus_changed.emit(True)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.focus_changed.emit(False)

    def event(self, event: QEvent) -> bool:
        # Tab is taken by Qt before keyPressEvent: whoever listens may accept it here.
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            event.ignore()
            self.key.emit(event)
            if event.isAccepted():
                return True
        return super().event(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if self.wrong is None:
            return
        start, length = self.wrong
        text, metrics = self.text(), self.fontMetrics()
        # The cursor's rectangle tells how far a long text is scrolled.
        origin = self.cursorRect().center().x() - metrics.horizontalAdvance(text[: self.cursorPosition()])
        left = origin + metrics.horizontalAdvance(text[:start])
        right = origin + metrics.horizontalAdvance(text[: start + length])
        y = self.rect().center().y() + metrics.ascent() / 2 + 2.5
        points = QPolygonF()
        x, up = float(left), False
        while x <= right:
            points.append(QPointF(x, y - (WAVE_HEIGHT if up else 0)))
            x, up = x + WAVE, not up
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen: QPen = stroke(self.look.palette.broken, 1.6)
        painter.setPen(pen)
        painter.drawPolyline(points)
        painter.end()


class Field(Lookful):
    """A one-line field. `edit` is the QLineEdit; `key` lets a listener take a key press by accepting it."""

    key = Signal(QKeyEvent)

    def __init__(self, look: Look, placeholder: str, name: str, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.edit = _Edit(look, self)
        self.edit.setPlaceholderText(placeholder)
        self.edit.setAccessibleName(name)
        self.edit.focus_changed.connect(self.update)
        self.edit.key.connect(self.key)
        self.setFocusProxy(self.edit)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.look_changed()

    def mark_wrong(self, start: int, length: int) -> None:
        """A zigzag under these characters; length 0 takes it away."""
        self.edit.wrong = (start, length) if length > 0 else None
        self.edit.update()

    def look_changed(self) -> None:
        colours = self.colours
        palette = QPalette(self.edit.palette())
        palette.setColor(QPalette.ColorRole.Base, QColor(0, 0, 0, 0))
        palette.setColor(QPalette.ColorRole.Text, colours.ink)
        palette.setColor(QPalette.ColorRole.PlaceholderText, colours.ink2)
        palette.setColor(QPalette.ColorRole.Highlight, colours.ink)
        palette.setColor(QPalette.ColorRole.HighlightedText, colours.sheet)
        self.edit.setPalette(palette)
        self.edit.setFont(self.fonts.get(TEXT))
        self._place()

    def sizeHint(self) -> QSize:
        return QSize(200, self.fonts.room(HEIGHT))

    def minimumSizeHint(self) -> QSize:
        return QSize(120, self.fonts.room(HEIGHT))

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._place()

    def _place(self) -> None:
        self.edit.setGeometry(INSIDE, 3, max(0, self.width() - 2 * INSIDE), max(0, self.height() - 6))

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        focused = self.edit.hasFocus()
        width = 2.0 if focused else 1.0
        painter.setPen(stroke(self.colours.ink if focused else self.colours.ring, width))
        painter.setBrush(self.colours.sheet)
        inset = width / 2
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(inset, inset, -inset, -inset), 4, 4)
        painter.end()

    def take_focus(self) -> None:
        """Focus goes to the field, its text selected."""
        self.edit.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.edit.selectAll()
