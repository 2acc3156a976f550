"""What the worker is at, shown at the foot of list and drawers, with the cancel that ends it."""

from __future__ import annotations

from PySide6.QtCore import QObject

from librarian.window.areas import Areas
from librarian.window.desk.work import Far, Job, Work
from librarian.window.parts.progress import ProgressState


class Working(QObject):
    """Shows the long job of the moment; short edits only when they have to wait for another program."""

    def __init__(self, areas: Areas, work: Work, parent: QObject) -> None:
        super().__init__(parent)
        self._areas, self._work = areas, work
        work.began.connect(self._began)
        work.advanced.connect(self._advanced)
        work.ended.connect(self._ended)
        for place in (areas.collection, areas.drawers):
            place.progress.cancelled.connect(work.cancel)

    def _began(self, job: Job) -> None:
        # Shown half a second later: by then a short edit is over, unless another program is writing.
        title = job.title or "Waiting until the library can be written"
        self._areas.show_progress(ProgressState(title, 0, 0, kept=job.kept))

    def _advanced(self, job: Job, far: Far) -> None:
        if job is self._work.current:
            said = ProgressState(job.title, far.done, far.total, far.seconds_left, job.kept, far.what)
            self._areas.show_progress(said)

    def _ended(self, _job: Job) -> None:
        if not self._work.busy:
            self._areas.show_progress(None)
