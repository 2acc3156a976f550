"""The place of the drawers, with its own foot: where a drawer lies over the list, the list's foot cannot be seen."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QStackedWidget, QVBoxLayout, QWidget

from librarian.window.paint.look import Look
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.notice import Foot
from librarian.window.parts.progress import Progress


class DrawerPlace(Lookful):
    """One of several drawers; below it progress and notice, unless the collection shows them beside it."""

    pressed = Signal(str)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.stack = QStackedWidget()
        self.progress = Progress(look)
        self.notice = Foot(look)
        self.notice.pressed.connect(self.pressed)
        self._foot = QWidget()
        foot = QVBoxLayout(self._foot)
        foot.setContentsMargins(0, 0, 0, 0)
        foot.setSpacing(0)
        foot.addWidget(self.progress)
        foot.addWidget(self.notice)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.stack, 1)
        column.addWidget(self._foot)

    def set_foot_shown(self, shown: bool) -> None:
        """Whether the foot stands here."""
        self._foot.setVisible(shown)

    def addWidget(self, drawer: QWidget) -> None:
        """One more drawer."""
        self.stack.addWidget(drawer)

    def setCurrentWidget(self, drawer: QWidget) -> None:
        """This one is shown."""
        self.stack.setCurrentWidget(drawer)
