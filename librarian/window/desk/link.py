"""One instrument's line on a thread of its own: conversations one after the other, listening in between.

The window never waits for a cable. It hands jobs over, gets signals back on its own thread, and may cancel. When the
cable is lost the link says so once and tries to open it again until it is closed. Ports may also be open and dead (a
MIDI server that stumbled may wake some clients never again), so where nobody answers the question who is there, it is
asked again through newly opened ports, a few times.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Signal

from librarian.errors import Cancelled, LibrarianError
from librarian.transfer import Cancel, Line, NoReply, OnProgress, Progress, listen
from librarian.wire.cable import CableLost

_LOG = logging.getLogger(__name__)
_LISTEN_S = 0.05
_REOPEN_S = 1.0
_RATE_S = 0.5
_TURN_S = 0.01
_PROGRESS_S = 0.05
_QUESTION = "identify"
_MOST_RENEWALS = 3
"""Since it answered last: an instrument that is switched off is not worth opening ports for ever."""

CHANGED = "Its ports or its chart were changed, or it was removed from the library."

Talk = Callable[[Line, Cancel, OnProgress], Any]


class OurFault(LibrarianError):  # noqa: N818 - named for whose it is
    """Something in the program itself went wrong; the log has the traceback."""

    hint = "Nothing kept before has changed. The log has the details; please report them."


class LineChanged(LibrarianError):  # noqa: N818 - what happened, not what went wrong
    """The library says something else of the instrument now, so that its line was closed in a conversation."""


@dataclass(frozen=True)
class Job:
    """One conversation to be had. `name` comes back with its result; `talk` runs on the link's thread."""

    name: str
    talk: Talk
    cancel: Cancel


class Link(QObject):
    """One instrument. `open_line` is called on the link's thread and may raise `OutsideProblem`."""

    opened = Signal()
    lost = Signal(object)
    heard = Signal(object)
    started = Signal(str)
    advanced = Signal(str, object)
    done = Signal()
    failed = Signal(str, object)
    measured = Signal(float, float)

    def __init__(self, open_line: Callable[[], Line], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._open_line = open_line
        self._jobs: queue.Queue[Job] = queue.Queue()
        self._closing = threading.Event()
        self._wake = threading.Event()
        self._current: Job | None = None
        self._renewals = 0
        self._thread = threading.Thread(target=self._live, name="instrument line", daemon=True)
        self._brought: deque[tuple[str, Any]] = deque()
        self.line: Line | None = None
        self.cut: tuple[str, LineChanged] | None = None
        """The conversation that `close` ended, by its name, with what the instrument holds now."""

    def start(self) -> None:
        """Open the line, and keep it open."""
        self._thread.start()

    @property
    def busy(self) -> bool:
        """True while a conversation runs or waits."""
        return self._current is not None or not self._jobs.empty()

    def run(self, name: str, talk: Talk) -> None:
        """Have this conversation after those that wait already; `take_brought` or `failed` tells how it ended."""
        self._jobs.put(Job(name, talk, Cancel()))
        self._wake.set()

    def cancel(self) -> None:
        """End the conversation under way, and forget those that wait."""
        while True:
            try:
                waiting = self._jobs.get_nowait()
            except queue.Empty:
                break
            self.failed.emit(waiting.name, Cancelled("It had not begun; nothing was sent."))
        current = self._current
        if current is not None:
            current.cancel.set()

    def take_brought(self) -> list[tuple[str, Any]]:
        """What ended conversations brought, by their names; each once. `done` says that there is some.

        What a link brought before it was closed is there still, though nobody may be told any more.
        """
        found = []
        while self._brought:
            found.append(self._brought.popleft())
        return found

    def look_again(self) -> None:
        """Try at once to open a lost line."""
        self._wake.set()

    def wait_until_idle(self, timeout_s: float) -> None:
        """For a conversation that was told to come to its end."""
        until = time.monotonic() + timeout_s
        while self.busy and time.monotonic() < until:
            time.sleep(_TURN_S)

    def close(self, timeout_s: float = 3.0) -> None:
        """Cancel, close the ports, end the thread."""
        self._closing.set()
        self.cancel()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    # -- on the link's own thread ----------------------------------------------------------------------------------

    def _live(self) -> None:
        told = ""
        again: Job | None = None
        while not self._closing.is_set():
            try:
                line = self._open_line()
            except LibrarianError as problem:
                again = None
                # The same trouble every second is said once.
                if str(problem) != told:
                    told = str(problem)
                    self.lost.emit(problem)
                self._refuse_waiting(problem)
                self._wake.wait(_REOPEN_S)
                self._wake.clear()
                continue
            except Exception:  # noqa: BLE001 - said and logged; the window goes on
                _LOG.exception("opening a line failed")
                self.lost.emit(OurFault("The line to the instrument could not be opened by a fault of this program."))
                return
            told = ""
            self.line = line
            if again is None:
                self.opened.emit()
            try:
                again = self._serve(line, again)
            except CableLost as problem:
                told, again = str(problem), None
                self.lost.emit(problem)
            finally:
                self.line = None
                line.cable.close()

    def _refuse_waiting(self, problem: LibrarianError) -> None:
        while True:
            try:
                job = self._jobs.get_nowait()
            except queue.Empty:
                return
            self.failed.emit(job.name, problem)

    def _serve(self, line: Line, first: Job | None) -> Job | None:
        """Have conversations and listen; returns one that shall be had again over newly opened ports."""
        rate_at, counts = time.monotonic(), line.cable.counts()
        while not self._closing.is_set():
            try:
                job, first = first or self._jobs.get_nowait(), None
            except queue.Empty:
                heard = listen(line, _LISTEN_S)
                if heard:
                    self.heard.emit(heard)
            else:
                problem = self._converse(line, job)
                if problem is None:
                    self._renewals = 0
                elif job.name == _QUESTION and isinstance(problem, NoReply) and self._renewals < _MOST_RENEWALS:
                    self._renewals += 1
                    return Job(job.name, job.talk, Cancel())
            now = time.monotonic()
            if now - rate_at >= _RATE_S:
                fresh = line.cable.counts()
                span = now - rate_at
                self.measured.emit(
                    (fresh.bytes_out - counts.bytes_out) / span, (fresh.bytes_in - counts.bytes_in) / span
                )
                rate_at, counts = now, fresh
        return None

    def _converse(self, line: Line, job: Job) -> Exception | None:
        """Have it, tell how it ended, and return what went wrong. Raises CableLost after telling."""
        self._current = job
        last = 0.0

        def progress(step: Progress) -> None:
            nonlocal last
            now = time.monotonic()
            if now - last >= _PROGRESS_S or step.done >= step.total:
                last = now
                self.advanced.emit(job.name, step)

        self.started.emit(job.name)
        try:
            result = job.talk(line, job.cancel, progress)
        except CableLost as problem:
            self._current = None
            self.failed.emit(job.name, problem)
            raise
        except (LibrarianError, Cancelled) as problem:
            self._current = None
            if self._closing.is_set() and job.name != _QUESTION:
                state = problem.state if isinstance(problem, Cancelled) else str(problem)
                self.cut = job.name, LineChanged(f"{CHANGED} {state}".rstrip())
            self.failed.emit(job.name, problem)
            return problem
        except Exception as problem:  # noqa: BLE001 - said and logged; the line goes on
            _LOG.exception("the conversation %s failed", job.name)
            self._current = None
            self.failed.emit(job.name, OurFault(f"The conversation “{job.name}” ended by a fault of this program."))
            return problem
        self._current = None
        self._brought.append((job.name, result))
        self.done.emit()
        return None


