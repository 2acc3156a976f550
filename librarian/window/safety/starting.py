"""What happens in the background when a library is opened: search is made ready, and a backup if something changed."""

from __future__ import annotations

from PySide6.QtCore import QObject

from librarian.collection import BackupRow
from librarian.window.desk.asker import Asker
from librarian.window.desk.desk import Desk


class Starting(QObject):
    """Runs once. A backup that fails is said, and the window works on."""

    def __init__(self, desk: Desk, parent: QObject) -> None:
        super().__init__(parent)
        self._desk = desk
        self._asker = Asker(self)
        self._asker.failed.connect(lambda _number, problem: desk.trouble(problem))
        self._asker.ask(self._begin)

    def _begin(self) -> BackupRow | None:
        self._desk.library.warm()
        return self._desk.library.back_up_if_changed("start")

    def close(self) -> None:
        """End its thread."""
        self._asker.close()
