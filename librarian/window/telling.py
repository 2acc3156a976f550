"""What the desk says, at the foot of list and drawers; it stays until the next word, or until its undo is outdated."""

from __future__ import annotations

from PySide6.QtCore import QObject
from PySide6.QtGui import QKeySequence

from librarian.window.areas import Areas
from librarian.window.desk.captures import KEEP_AGAIN, SAVE_ALONE
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
        desk.captures.changed.connect(self._say)

    def show(self, told: Told | None) -> None:
        """Say this; and, as long as a captured sound is not kept, that it is not, with what can be done."""
        self.last = told
        self._say()

    def _say(self) -> None:
        reminder = self._desk.captures.reminder
        told = self.last if self.last is not None else Told("", trouble=True)
        if self.last is None and not reminder:
            self._areas.show_notice(None)
            return
        key = QKeySequence(QKeySequence.StandardKey.Undo).toString(QKeySequence.SequenceFormat.NativeText)
        held = (KEEP_AGAIN, SAVE_ALONE) if reminder else ()
        buttons = (*held, *told.also, *((ButtonSpec("undo", "Undo", key=key),) if told.undo else ()))
        text = " ".join(part for part in (told.sentence, told.hint, reminder) if part)
        self._areas.show_notice(NoticeState("", text, buttons, bar="broken" if told.trouble else ""))

    def _library_changed(self) -> None:
        told = self.last
        if told is not None and told.undo and self._desk.past.undo != told.undo:
            self.show(None)
