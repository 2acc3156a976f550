"""Whatever may take long or writes the library: one job after the other on one thread, with progress and cancel.

The window never waits for the disk, for another program that is writing, or for a large import; it hands jobs over and
hears how they ended on its own thread.
"""

from __future__ import annotations

import gc
import logging
import queue
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from PySide6.QtCore import QObject, Signal

from librarian.errors import Cancelled, LibrarianError
from librarian.transfer import Cancel

_LOG = logging.getLogger(__name__)
_TELL_S = 0.05
_TURN_S = 0.0005
_JUDGED_FROM_S = 1.0


def favour_the_window() -> None:
    """Let threads hand the interpreter over after half a millisecond instead of five.

    A click needs it some dozen times before it is painted; behind a busy worker that would be felt. And what stays as
    long as the program (its own code, the charts) is not looked through again whenever memory is tidied: 0.2 s each.
    """
    sys.setswitchinterval(_TURN_S)
    gc.collect()
    gc.freeze()


class Step(Protocol):
    """How far something is, as files and conversations tell it."""

    @property
    def done(self) -> int: ...
    @property
    def total(self) -> int: ...
    @property
    def what(self) -> str: ...


@dataclass(frozen=True)
class Far:
    """How far a job is: `done` of `total` `what`, `seconds_left` None while nothing honest can be said."""

    done: int
    total: int
    what: str
    seconds_left: float | None = None


OnStep = Callable[[Step], None]
Do = Callable[[Cancel, OnStep], Any]


@dataclass(frozen=True)
class Job:
    """One piece of work. `title` is what the progress says; `kept` what a cancel leaves; an edit has no title."""

    title: str
    do: Do
    then: Callable[[Any], object] | None = None
    otherwise: Callable[[Exception], object] | None = None
    kept: str = ""
    cancel: Cancel = field(default_factory=Cancel, compare=False)


class Work(QObject):
    """`began` (Job), `advanced` (Job, Far), `ended` (Job), `failed` (exception): the last two on the window's thread,
    after `then` or `otherwise` of the job. A failure that has an `otherwise` is not announced by `failed`."""

    began = Signal(object)
    advanced = Signal(object, object)
    ended = Signal(object)
    failed = Signal(object)
    _over = Signal(object, object, bool)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._jobs: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._open: list[Job] = []
        self.closing = threading.Event()
        self._over.connect(self._deliver)
        self._thread = threading.Thread(target=self._live, name="library work", daemon=True)
        self._thread.start()

    def run(
        self, do: Do, *, title: str = "", then: Callable[[Any], object] | None = None,
        otherwise: Callable[[Exception], object] | None = None, kept: str = "",
    ) -> Job:
        """Do this after everything that was handed over before. `do` runs on the work's thread."""
        job = Job(title, do, then, otherwise, kept)
        with self._lock:
            self._open.append(job)
        self._jobs.put(job)
        return job

    def edit(
        self, change: Callable[[], Any], then: Callable[[Any], object] | None = None,
        otherwise: Callable[[Exception], object] | None = None,
    ) -> None:
        """One short change of the library, in its turn."""
        self.run(lambda _cancel, _progress: change(), then=then, otherwise=otherwise)

    @property
    def current(self) -> Job | None:
        """The job that runs, or is next."""
        with self._lock:
            return self._open[0] if self._open else None

    @property
    def busy(self) -> bool:
        """True until everything that was handed over has been delivered."""
        return self.current is not None

    @property
    def long(self) -> Job | None:
        """The job with a title that runs or waits, if there is one: what a person may want to cancel."""
        with self._lock:
            return next((job for job in self._open if job.title), None)

    def cancel(self) -> None:
        """End the long job; short edits are never lost."""
        job = self.long
        if job is not None:
            job.cancel.set()

    def close(self, timeout_s: float = 30.0) -> None:
        """Cancel what is long, finish the edits, end the thread. What fails now is logged: nobody sees the window."""
        self.closing.set()
        with self._lock:
            for job in self._open:
                if job.title:
                    job.cancel.set()
        self._jobs.put(None)
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            _LOG.error("The program ended before the last changes of the library were written.")

    # -- on the work's own thread ----------------------------------------------------------------------------------

    def _live(self) -> None:
        while True:
            job = self._jobs.get()
            if job is None:
                return
            self._do(job)

    def _do(self, job: Job) -> None:
        self.began.emit(job)
        try:
            job.cancel.check("It had not begun; nothing has changed.")
            result = job.do(job.cancel, _Told(self, job))
        except (LibrarianError, Cancelled) as problem:
            if self.closing.is_set() and isinstance(problem, LibrarianError):
                _LOG.error("A last change of the library was not made: %s %s", problem, problem.hint)
            self._over.emit(job, problem, False)
        except Exception as problem:  # noqa: BLE001 - said and logged; the thread goes on
            _LOG.exception("work in the library failed")
            what = job.title or "The change"
            fault = LibrarianError(
                f"{what} ended by a fault of this program: {problem}", "Nothing half done was kept. The log says more."
            )
            self._over.emit(job, fault, False)
        else:
            self._over.emit(job, result, True)

    # -- on the window's thread ------------------------------------------------------------------------------------

    def _deliver(self, job: Job, result: object, good: bool) -> None:
        with self._lock:
            self._open = [one for one in self._open if one is not job]
        if self.closing.is_set():
            return  # whoever would show it, and open lines for it, has gone
        if good:
            if job.then is not None:
                job.then(result)
        elif job.otherwise is not None and isinstance(result, Exception):
            job.otherwise(result)
        else:
            self.failed.emit(result)
        self.ended.emit(job)


class _Told:
    """Progress of one job: twenty times a second at most, with the time that is left."""

    def __init__(self, work: Work, job: Job) -> None:
        self._work, self._job = work, job
        self._last = 0.0
        self._what = ""
        self._since, self._from = 0.0, 0

    def __call__(self, step: Step) -> None:
        now = time.monotonic()
        if step.what != self._what or step.done < self._from:
            self._what, self._since, self._from = step.what, now, step.done
        elif now - self._last < _TELL_S and step.done < step.total:
            return
        self._last = now
        left = getattr(step, "seconds_left", None)
        spent, did = now - self._since, step.done - self._from
        if left is None and spent >= _JUDGED_FROM_S and did > 0 and step.total > step.done:
            left = spent / did * (step.total - step.done)
        self._work.advanced.emit(self._job, Far(step.done, step.total, step.what, left))
