"""A word with a drawn triangle that offers a choice in a menu ("by act, then name")."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QAction, QActionGroup, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QMenu, QSizePolicy, QWidget

from librarian.window.paint import marks
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.paint.text import RIGHT, draw, one_line, stroke

PAD, TRIANGLE_ROOM = 4, 12


class Choice(QAbstractButton):
    """Shows the label of the choice in force. `chosen` (id) when a person takes another."""

    chosen = Signal(str)

    def __init__(self, look: Look, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        self._name = name
        self._options: tuple[tuple[str, str], ...] = ()
        self.current = ""
        self.menu = QMenu(self)
        self._group = QActionGroup(self)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)
        self.clicked.connect(self._open)
        look.changed.connect(self.updateGeometry)

    def show_options(self, options: Sequence[tuple[str, str]], current: str) -> None:
        """Other options, as (id, label)."""
        if tuple(options) != self._options:
            self._options = tuple(options)
            self.menu.clear()
            for choice, label in self._options:
                action = QAction(one_line(label).replace("&", "&&"), self.menu)
                action.setCheckable(True)
                action.setData(choice)
                self._group.addAction(action)
                action.triggered.connect(self._taken)
                self.menu.addAction(action)
        self.current = current
        for action in self.menu.actions():
            action.setChecked(action.data() == current)
        self.setAccessibleName(one_line(f"{self._name}: {self.label}"))
        self.updateGeometry()
        self.update()

    @property
    def label(self) -> str:
        """The words of the choice in force."""
        return dict(self._options).get(self.current, "")

    def _taken(self) -> None:
        action = self.sender()
        if isinstance(action, QAction):
            self.chosen.emit(str(action.data()))

    def _open(self) -> None:
        self.menu.popup(self.mapToGlobal(self.rect().bottomLeft()))

    def sizeHint(self) -> QSize:
        wide = self.look.fonts.metrics(SMALL).horizontalAdvance(one_line(self.label))
        return QSize(round(wide) + TRIANGLE_ROOM + 2 * PAD, self.look.fonts.room(22))

    def minimumSizeHint(self) -> QSize:
        return QSize(40, self.sizeHint().height())

    def paintEvent(self, _event: QPaintEvent) -> None:
        colours = self.look.palette
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colour = colours.ink if self.underMouse() else colours.ink2
        painter.setFont(self.look.fonts.get(SMALL))
        draw(painter, QRectF(PAD, 0, self.width() - 2 * PAD - TRIANGLE_ROOM, self.height()), one_line(self.label),
             colour, RIGHT)
        at = QPointF(self.width() - PAD - 4, self.height() / 2 + 0.5)
        marks.triangle(painter, at, 3.8, colour, 270)
        if self.hasFocus():
            painter.setPen(stroke(colours.ink, 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), 4, 4)
        painter.end()
