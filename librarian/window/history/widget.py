"""The history as a widget: a painted line, one small focusable child for each version that is seen."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from librarian.window.history.state import HistoryState, Spacing, VersionMark, space
from librarian.window.paint import marks
from librarian.window.paint.fonts import BODY, SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import CENTRE, RIGHT, dashed, draw, hairline, one_line, plain_tip, stroke
from librarian.window.parts.lookful import Lookful

HEIGHT, LOW_HEIGHT, LINE_AT, LEAST = 72, 56, 26, 128
NOTHING_YET = "starts with the first capture"
OVERHANG, TITLE_X, TITLE_ROOM = 20, 16, 210


class _Version(Lookful):
    """One version on the line: its mark, number, day and how it came."""

    chosen = Signal(int)
    step = Signal(int)
    edge = Signal(bool)

    def __init__(self, look: Look, version: VersionMark, *, latest: bool, total: int, low: bool,
                 parent: QWidget) -> None:
        super().__init__(look, parent)
        self.version, self.latest, self.low = version, latest, low
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        role = {"": "", "A": ", is A", "B": ", is B"}[version.role]
        newest = ", latest" if latest else ""
        self.setAccessibleName(one_line(
            f"version {version.number} of {total}{newest}, {version.when}, {version.how}{role}"
        ))
        self.setToolTip(plain_tip(f"Version {version.number}, {version.when}, {version.how}"))

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours, fonts, version = self.colours, self.fonts, self.version
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        at = QPointF(self.width() / 2, LINE_AT - self.y())
        if version.role == "B":
            marks.ring(painter, at, 7, colours.b, colours.ground, 2.4)
        elif version.role == "A" or self.latest:
            marks.disc(painter, at, 7 if self.latest else 5.5, colours.ink)
        else:
            painter.fillRect(QRectF(at.x() - 1.5, at.y() - 7, 3, 14), colours.ink2)
        bold = self.latest or bool(version.role)
        number = f"{version.number} latest" if self.latest else str(version.number)
        top = at.y() + 11
        high = 15 * fonts.factor
        if self.low:
            painter.setFont(fonts.get(SMALL, bold=bold))
            draw(painter, QRectF(0, top, self.width(), high), f"{number} · {version.when}", colours.ink, CENTRE)
        else:
            painter.setFont(fonts.get(SMALL, bold=bold))
            draw(painter, QRectF(0, top, self.width(), high), number, colours.ink, CENTRE)
            painter.setFont(fonts.get(SMALL))
            draw(painter, QRectF(0, top + 14 * fonts.factor, self.width(), high),
                 one_line(f"{version.when} · {version.how}"), colours.ink2, CENTRE)
        if self.hasFocus():
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), 5, 5)
        painter.end()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self.setFocus(Qt.FocusReason.MouseFocusReason)
            self.chosen.emit(self.version.id)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = event.key()
        if event.modifiers() not in {Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier}:
            super().keyPressEvent(event)
        elif key in {Qt.Key.Key_Left, Qt.Key.Key_Right}:
            self.step.emit(-1 if key == Qt.Key.Key_Left else 1)
        elif key in {Qt.Key.Key_Home, Qt.Key.Key_End}:
            self.edge.emit(key == Qt.Key.Key_End)
        elif key in {Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space}:
            self.chosen.emit(self.version.id)
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.update()


class HistoryLine(Lookful):
    """Shows a `HistoryState`. `chosen`: the id of the version that is to be compared with the latest."""

    chosen = Signal(int)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.state = HistoryState()
        self.versions: list[_Version] = []
        self._shift = 0
        self._spacing: Spacing = space(0, 1000, LEAST, panel=False)
        self._usual_height = HEIGHT
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("History")
        self.set_height(HEIGHT)

    def show_state(self, state: HistoryState) -> None:
        """Show another patch, or another version chosen; the latest is in view at first."""
        if state.name != self.state.name or len(state.versions) != len(self.state.versions):
            self._shift = 0
        self.state = state
        told = f"History of {state.name}, {state.remark}" if state.versions else f"History, {NOTHING_YET}"
        self.setAccessibleName(one_line(told))
        self._fill()

    def set_height(self, height: int) -> None:
        """72 px or more with two lines of text under a version, 56 with one (small windows)."""
        self._usual_height = height
        self.setFixedHeight(self.fonts.room(height))
        self._fill()

    def take_focus(self) -> None:
        """Focus goes to the version shown as B or A, else to the latest."""
        if self.versions:
            self._current().setFocus(Qt.FocusReason.OtherFocusReason)

    # -- placing

    @property
    def _low(self) -> bool:
        return self._usual_height < HEIGHT

    def _current(self) -> _Version:
        for role in ("B", "A"):
            for version in self.versions:
                if version.version.role == role:
                    return version
        return self.versions[-1]

    def _fill(self) -> None:
        focused = next((version.version.id for version in self.versions if version.hasFocus()), None)
        for version in self.versions:
            version.hide()
            version.deleteLater()
        self.versions = []
        total = len(self.state.versions)
        self._spacing = space(total, self.width(), LEAST * self.fonts.factor, panel=bool(self.state.panel),
                              shift=self._shift, factor=self.fonts.factor)
        places = self._spacing.places
        step = places[1] - places[0] if len(places) > 1 else LEAST
        wide = min(190.0, step, LEAST * 1.4) * self.fonts.factor if len(places) > 1 else 180 * self.fonts.factor
        top = LINE_AT - 12
        for place, x in enumerate(places):
            index = self._spacing.first + place
            made = _Version(self.look, self.state.versions[index], latest=index == total - 1, total=total,
                            low=self._low, parent=self)
            made.setGeometry(QRect(round(x - wide / 2), top, round(wide), self.height() - top - 2))
            made.chosen.connect(self.chosen)
            made.step.connect(self._step)
            made.edge.connect(self._edge)
            made.show()
            self.versions.append(made)
        if self.versions:
            self._current().setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        for version in self.versions:
            if version.version.id == focused:
                version.setFocus(Qt.FocusReason.OtherFocusReason)
        self.update()

    def look_changed(self) -> None:
        self.set_height(self._usual_height)

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._fill()

    def sizeHint(self) -> QSize:
        return QSize(1024, self.fonts.room(self._usual_height))

    # -- painting

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours, state = self.colours, self.state
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), colours.ground)
        hairline(painter, colours.line, 0, 0, self.width(), 0)
        self._titles(painter)
        places = self._spacing.places
        if not places:
            painter.setPen(dashed(colours.ring, 2, 6, 5))
            painter.drawLine(QPointF(280, LINE_AT), QPointF(self.width() - 120, LINE_AT))
        else:
            painter.setPen(stroke(colours.ring, 2))
            painter.drawLine(QPointF(places[0] - OVERHANG, LINE_AT), QPointF(places[-1] + OVERHANG, LINE_AT))
            self._earlier(painter, places[0])
            if self._spacing.panel_at is not None:
                self._panel(painter, places[-1] + OVERHANG, self._spacing.panel_at, state.panel)
        painter.end()

    def _titles(self, painter: QPainter) -> None:
        colours, k = self.colours, self.fonts.factor
        room = self._title_room()
        painter.setFont(self.fonts.get(BODY, bold=True))
        draw(painter, QRectF(TITLE_X, 11 * k, room, 18 * k), "History", colours.ink)
        painter.setFont(self.fonts.get(SMALL))
        lines = [self.state.name, self.state.remark] if self.state.versions else [NOTHING_YET]
        if self._low:
            lines = lines[-1:]
        for place, text in enumerate(lines):
            draw(painter, QRectF(TITLE_X, (30 + 16 * place) * k, room, 16 * k), one_line(text), colours.ink2)

    def _title_room(self) -> float:
        """Up to the first version's words, or to the count of earlier ones."""
        if not self.versions:
            return TITLE_ROOM * self.fonts.factor
        first, version = self._spacing.places[0], self.versions[0].version
        words = f"{version.number} · {version.when}" if self._low else f"{version.when} · {version.how}"
        left = first - max(OVERHANG, self.fonts.metrics(SMALL).horizontalAdvance(words) / 2)
        if self._spacing.first:
            left = min(left, first - OVERHANG - 90 * self.fonts.factor)
        return max(80.0, left - TITLE_X - 8)

    def _earlier(self, painter: QPainter, x: float) -> None:
        """How many older versions are out of sight at the left."""
        hidden = self._spacing.first
        if not hidden:
            return
        marks.triangle(painter, QPointF(x - OVERHANG - 8, LINE_AT), 4.5, self.colours.ink2, 180)
        painter.setFont(self.fonts.get(SMALL))
        k = self.fonts.factor
        draw(painter, QRectF(x - OVERHANG - 14 - 80, LINE_AT - 8 * k, 80, 16 * k), f"{hidden} earlier",
             self.colours.ink2, RIGHT)

    def _panel(self, painter: QPainter, start: float, at: float, words: str) -> None:
        colours, k = self.colours, self.fonts.factor
        painter.setPen(dashed(colours.ring, 2, 6, 4))
        painter.drawLine(QPointF(start, LINE_AT), QPointF(at - 8, LINE_AT))
        marks.triangle(painter, QPointF(at, LINE_AT - 1), 7.8, colours.live, 90)
        top = LINE_AT + 11
        painter.setFont(self.fonts.get(SMALL, bold=True))
        draw(painter, QRectF(at - 70, top, 140, 15 * k), "panel now", colours.ink, CENTRE)
        if not self._low:
            painter.setFont(self.fonts.get(SMALL))
            draw(painter, QRectF(at - 90, top + 14 * k, 180, 15 * k), one_line(words), colours.ink2, CENTRE)

    # -- hands

    def _hidden_newer(self) -> int:
        return len(self.state.versions) - self._spacing.first - len(self._spacing.places)

    def _scroll(self, by: int) -> None:
        """Positive: further back."""
        most = max(0, len(self.state.versions) - len(self._spacing.places))
        self._shift = min(most, max(0, self._shift + by))
        self._fill()

    def _step(self, by: int) -> None:
        now = next((place for place, version in enumerate(self.versions) if version.hasFocus()), None)
        if now is None:
            return
        wanted = now + by
        if wanted < 0 and self._spacing.first > 0:
            self._scroll(1)
            wanted = 0
        elif wanted >= len(self.versions) and self._hidden_newer() > 0:
            self._scroll(-1)
            wanted = len(self.versions) - 1
        if 0 <= wanted < len(self.versions):
            self.versions[wanted].setFocus(Qt.FocusReason.OtherFocusReason)

    def _edge(self, last: bool) -> None:
        self._shift = 0 if last else len(self.state.versions)
        self._scroll(0)
        self.versions[-1 if last else 0].setFocus(Qt.FocusReason.OtherFocusReason)

    def wheelEvent(self, event: QWheelEvent) -> None:
        if event.angleDelta().y():
            self._scroll(1 if event.angleDelta().y() > 0 else -1)
