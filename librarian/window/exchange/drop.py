"""Files dropped anywhere on the window: sounds are looked through, a chart opens the page where one connects."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QEvent, QMimeData, QObject, Qt
from PySide6.QtGui import QDragEnterEvent, QDragMoveEvent, QDropEvent
from PySide6.QtWidgets import QWidget


def dropped_files(data: QMimeData) -> list[Path]:
    """The local files of a drop; what is no file of this computer is left out."""
    return [Path(url.toLocalFile()) for url in data.urls() if url.isLocalFile() and url.toLocalFile()]


class FileDrop(QObject):
    """Watches a window for files. `take` gets sounds, `take_chart` a chart."""

    def __init__(
        self, window: QWidget, take: Callable[[list[Path]], object], take_chart: Callable[[Path], object]
    ) -> None:
        super().__init__(window)
        self._take, self._take_chart = take, take_chart
        window.setAcceptDrops(True)
        window.installEventFilter(self)

    def eventFilter(self, _watched: QObject, event: QEvent) -> bool:
        if isinstance(event, QDropEvent) and event.type() in {
            QEvent.Type.DragEnter, QEvent.Type.DragMove, QEvent.Type.Drop,
        }:
            files = dropped_files(event.mimeData())
            if not files:
                return False
            # A copy: nothing is taken away from where it lies.
            event.setDropAction(Qt.DropAction.CopyAction)
            event.accept()
            if not isinstance(event, QDragEnterEvent | QDragMoveEvent):
                self.taken(files)
            return True
        return False

    def taken(self, files: list[Path]) -> None:
        """These files were dropped."""
        if len(files) == 1 and files[0].suffix.lower() == ".toml":
            self._take_chart(files[0])
        else:
            self._take(files)
