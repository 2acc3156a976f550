"""The buttons: outlined, filled when primary, dashed with a reason when they cannot work, key hint beside the words."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QPushButton, QSizePolicy, QWidget

from librarian.window.paint.fonts import TEXT, TINY
from librarian.window.paint.look import Look
from librarian.window.paint.palette import mix
from librarian.window.paint.text import dashed, draw, one_line, plain_tip, stroke
from librarian.window.parts.spec import ButtonSpec

FRAME = 4
"""Room for the focus frame around the visible shape: 2 px free, 2 px ink. Neighbours thus stand 8 px apart."""
PADDING, HINT_GAP, RADIUS = 10, 8, 4


class Button(QPushButton):
    """One button of the window. `visible_height` is the shape's height at the usual text size."""

    def __init__(
        self, look: Look, spec: ButtonSpec, pressed: Callable[[str], object] | None = None, *,
        visible_height: int = 28, parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.look = look
        self.visible_height = visible_height
        self.show_hint = True
        self.spec = spec
        self.setAutoDefault(False)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        self.set_spec(spec)
        if pressed is not None:
            self.clicked.connect(lambda: pressed(self.spec.name))
        look.changed.connect(self._look_has_changed)

    def set_spec(self, spec: ButtonSpec) -> None:
        """Another state of the same button."""
        self.spec = spec
        # A single ampersand would be taken as a mnemonic; outside names may have one.
        self.setText(one_line(spec.text).replace("&", "&&"))
        self.setEnabled(spec.enabled)
        self.setAccessibleName(one_line(spec.text))
        about = spec.reason or spec.tip
        self.setToolTip(plain_tip(about or (f"{spec.text} ({spec.key})" if spec.key else "")))
        self.setAccessibleDescription(one_line(about or spec.key))
        self.updateGeometry()
        self.update()

    def set_hint_shown(self, shown: bool) -> None:
        """Whether the key hint stands beside the words; hints are the first to go where room is short."""
        if shown != self.show_hint:
            self.show_hint = shown
            self.updateGeometry()
            self.update()

    def _look_has_changed(self) -> None:
        self.updateGeometry()
        self.update()

    def _widths(self) -> tuple[float, float]:
        fonts = self.look.fonts
        words = fonts.metrics(TEXT, bold=self.spec.primary).horizontalAdvance(one_line(self.spec.text))
        hint = fonts.metrics(TINY).horizontalAdvance(self.spec.key) if self.spec.key and self.show_hint else 0.0
        return words, hint

    def sizeHint(self) -> QSize:
        words, hint = self._widths()
        wide = words + (hint + HINT_GAP if hint else 0) + 2 * PADDING + 2 * FRAME + 1
        return QSize(round(wide), self.look.fonts.room(self.visible_height) + 2 * FRAME)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours = self.look.palette
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        shape = QRectF(self.rect()).adjusted(FRAME, FRAME, -FRAME, -FRAME)
        edge = shape.adjusted(0.5, 0.5, -0.5, -0.5)
        filled = self.spec.primary and self.isEnabled()
        if not self.isEnabled():
            painter.setPen(dashed(colours.ring, 1, 3, 2.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
        else:
            painter.setPen(stroke(colours.ink if filled else colours.ring, 1))
            painter.setBrush(self._fill(filled))
        painter.drawRoundedRect(edge, RADIUS, RADIUS)
        if self.hasFocus():
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), RADIUS + 2, RADIUS + 2)
        self._words(painter, shape, colours.sheet if filled else colours.ink if self.isEnabled() else colours.ink2)
        painter.end()

    def _fill(self, filled: bool) -> QColor:
        colours = self.look.palette
        if filled:
            return mix(colours.ink, colours.sheet, 0.25) if self.isDown() else (
                mix(colours.ink, colours.sheet, 0.12) if self.underMouse() else colours.ink)
        return colours.select if self.isDown() else colours.well if self.underMouse() else colours.sheet

    def _words(self, painter: QPainter, shape: QRectF, colour: QColor) -> None:
        fonts, colours = self.look.fonts, self.look.palette
        words, hint = self._widths()
        total = words + (hint + HINT_GAP if hint else 0)
        x = shape.left() + max(PADDING / 2, (shape.width() - total) / 2)
        painter.setFont(fonts.get(TEXT, bold=self.spec.primary))
        room = QRectF(x, shape.top(), shape.right() - x - PADDING / 2, shape.height())
        draw(painter, room, one_line(self.spec.text), colour)
        if hint:
            faint = mix(colour, colours.ink, 0.12) if self.spec.primary and self.isEnabled() else colours.ink2
            painter.setFont(fonts.get(TINY))
            draw(painter, QRectF(x + words + HINT_GAP, shape.top(), hint + 2, shape.height()), self.spec.key, faint,
                 elide=None)
