"""What the desk says, at the foot of list and drawers; it stays until the next word, or until its undo is outdated."""

from __future__ import annotations

from PySide6.QtCore import QObject
from PySide6.QtGui import QKeySequence

from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.parts.notice import NoticeState
from librarian.window.parts.spec import ButtonSpec


class Telling(QObject):
    """Shows `Told`s. A notice whose undo would take something else back by now is taken away."""

    def __init__(self, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(parent)
        self._areas, self._desk = areas, desk
        self.last: Told | None = None
        desk.told.connect(self.show)
        desk.edited.connect(self._library_changed)

    def show(self, told: Told) -> None:
        """Say this."""
        self.last = told
        key = QKeySequence(QKeySequence.StandardKey.Undo).toString(QKeySequence.SequenceFormat.NativeText)
        buttons = (*told.also, *((ButtonSpec("undo", "Undo", key=key),) if told.undo else ()))
        text = f"{told.sentence} {told.hint}".strip()
        self._areas.show_notice(NoticeState("", text, buttons, bar="broken" if told.trouble else ""))

    def _library_changed(self) -> None:
        told = self.last
        if told is not None and told.undo and self._desk.past.undo != told.undo:
            self.last = None
            self._areas.show_notice(None)
