"""What happens in the background: search is made ready at the start, and backups are made when something changed."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer

from librarian.collection import BackupRow
from librarian.window.desk.asker import Asker
from librarian.window.desk.desk import Desk
from librarian.window.only_to_read import opened

#: How often a window that stays open asks whether a backup is due.
_LOOK_MS = 1_800_000


class Starting(QObject):
    """One backup at the start, then one every some hours of work. One that fails is said, and the window works on."""

    def __init__(self, desk: Desk, parent: QObject) -> None:
        super().__init__(parent)
        self._desk = desk
        self._asker = Asker(self)
        self._asker.failed.connect(lambda _number, problem: desk.trouble(problem))
        self._asker.ask(self._begin)
        if desk.library.only_to_read:
            desk.told.emit(opened(desk.library.path))
            return  # no copy can be made beside it
        timer = QTimer(self)
        timer.setInterval(_LOOK_MS)
        timer.timeout.connect(lambda: self._asker.ask(lambda: desk.library.back_up_if_due("at-work")))
        timer.start()

    def _begin(self) -> BackupRow | None:
        self._desk.library.warm()
        if self._desk.library.only_to_read:
            return None
        return self._desk.library.back_up_if_changed("start")

    def close(self) -> None:
        """End its thread."""
        self._asker.close()
