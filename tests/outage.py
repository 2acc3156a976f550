"""What it takes to let a MIDI server die under a running window and to see what that does to it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from PySide6.QtCore import QEventLoop, QObject, Qt, QTimer

from librarian.chart import shipped
from tests.jackd import JackServer, bound
from tests.standins import StandInProcess

MARK = "LIBRARIAN_OUTAGE"
"""In the environment of every process of one run, so that those left over are found."""

_LOOK_MS = 10
_TICK_MS = 5
T = TypeVar("T")


class Loop:
    """Waits by turning Qt's event loop, never beside it. Work that takes time is done on one thread of its own."""

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="outage")

    def until(self, what: Callable[[], object], seconds: float, otherwise: str = "") -> bool:
        """Turn until `what()` is true; False (or AssertionError with `otherwise`) after `seconds`."""
        give_up = time.monotonic() + seconds
        loop = QEventLoop()
        timer = QTimer()

        def look() -> None:
            if what() or time.monotonic() > give_up:
                loop.quit()

        timer.timeout.connect(look)
        timer.start(_LOOK_MS)
        if not what():
            loop.exec()
        timer.stop()
        well = bool(what())
        if not well and otherwise:
            raise AssertionError(otherwise)
        return well

    def pause(self, seconds: float) -> None:
        """Turn for so long."""
        end = time.monotonic() + seconds
        self.until(lambda: time.monotonic() >= end, seconds + 60)

    def work(self, what: Callable[[], T]) -> T:
        """The result of `what()`, while the loop turns."""
        job = self._worker.submit(what)
        self.until(job.done, 120, "what was to be done took longer than two minutes")
        return job.result()

    def close(self) -> None:
        """End the thread."""
        self._worker.shutdown()


class Stalls(QObject):
    """The longest time in which the event loop did not come round, beyond the timer's own interval.

    `whole`: as a person would feel it. `own`: without the time in which the thread was ready and the machine gave it no
    processor (Linux counts that in schedstat): what is left is what the window itself did or waited for.
    """

    def __init__(self) -> None:
        super().__init__()
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(_TICK_MS)
        self._timer.timeout.connect(self._tick)
        self._last = self._waited = 0.0
        self.whole = self.own = 0.0

    def begin(self) -> None:
        """Measure from now on."""
        self._last, self._waited = time.perf_counter(), _without_processor()
        self.whole = self.own = 0.0
        self._timer.start()

    def _tick(self) -> None:
        now, waited = time.perf_counter(), _without_processor()
        late = now - self._last - _TICK_MS / 1000
        self.whole = max(self.whole, late)
        self.own = max(self.own, late - (waited - self._waited))
        self._last, self._waited = now, waited

    def end(self) -> None:
        """Measure no more; `whole` and `own` stay."""
        self._tick()
        self._timer.stop()


def _without_processor() -> float:
    """Seconds in which this thread was ready and had to wait for a processor; 0 where the system does not say."""
    try:
        return int(Path("/proc/thread-self/schedstat").read_text(encoding="ascii").split()[1]) / 1e9
    except (OSError, IndexError, ValueError):
        return 0.0


_NOISE = """
import sys, threading, time
worst = 0.0
def listen():
    global worst
    for line in sys.stdin:
        print(round(worst * 1000), flush=True)
        worst = 0.0
threading.Thread(target=listen, daemon=True).start()
while True:
    last = time.perf_counter()
    time.sleep(0.005)
    worst = max(worst, time.perf_counter() - last - 0.005)
"""


class MachineNoise:
    """How long this machine lets a process wait that only wants to sleep for 5 ms: no window can do better."""

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(
            bound([sys.executable, "-c", _NOISE]), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        return self

    def worst_ms(self) -> int:
        """The longest since the last call."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    @property
    def pid(self) -> int:
        """Its process ID."""
        return self._process.pid

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.kill()
        self._process.communicate()


_PLUGS = 4
"""A server that was stopped throws out whoever joins while it catches up. That is the stand-in's trouble, which is a
client of it as no real instrument is; so it is plugged in again, so many times at most."""


class Pit:
    """A JACK server with one stand-in on it; both can go and come back.

    `DistantPit` is one in a process of its own: starting others would hold up the event loop that is to be measured.
    """

    def __init__(self, chart: str) -> None:
        self._chart = shipped()[chart]
        self._jack = JackServer()
        self._stand_in: StandInProcess | None = None

    def start(self) -> dict[str, Any]:
        """Server and instrument; returns the server's environment and how the names of the instrument's ports begin."""
        self._jack.start()
        os.environ.update(self._jack.environment)
        self._plug_in()
        assert self._stand_in is not None
        return {"environment": self._jack.environment, "port": self._stand_in.port}

    def _plug_in(self) -> None:
        if self._stand_in is not None:
            self._stand_in.close()
        for left in range(_PLUGS - 1, -1, -1):
            try:
                self._stand_in = StandInProcess(self._chart, "Pit outage")
                return
            except AssertionError:
                if not left:
                    raise

    def attend(self) -> bool:
        """Plug the instrument in again if the server threw it out; True when that was needed."""
        if self._stand_in is not None and self._stand_in.running:
            return False
        self._plug_in()
        return True

    def state(self) -> dict[str, Any]:
        """What the instrument says of itself beside MIDI; nothing if the server threw it out."""
        assert self._stand_in is not None
        try:
            return self._stand_in.state()
        except (AssertionError, OSError):
            if self._stand_in.running:
                raise
            return {}

    def kill(self) -> None:
        """The server crashes."""
        self._jack.kill()

    def freeze(self) -> None:
        """The server stops answering."""
        self._jack.freeze()

    def back(self) -> None:
        """A new server where the killed one was, and the instrument on it again."""
        self._jack.start()
        self._plug_in()

    def thaw(self) -> None:
        """The stopped server goes on, and the instrument, which it had thrown out, comes back."""
        self._jack.thaw()
        self._plug_in()

    def processes(self) -> list[int]:
        """Process IDs: of this, of the server and of the instrument."""
        return [os.getpid(), self._jack.pid, *([self._stand_in.pid] if self._stand_in is not None else [])]

    def stop(self) -> None:
        """End both."""
        if self._stand_in is not None:
            self._stand_in.close()
        self._jack.stop()


class DistantPit:
    """A `Pit` in a process of its own: `ask("kill")` and so on return what its methods do. Asking waits."""

    def __init__(self, chart: str) -> None:
        self._process = subprocess.Popen(
            bound([sys.executable, "-m", "tests.outage", chart]),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, what: str) -> Any:
        """Have it done; returns the answer. Raises RuntimeError when it ended instead."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{what}\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"the pit ended when it was asked to {what}")
        return json.loads(line)

    def close(self) -> None:
        """End server, instrument and process."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()


def serve(chart: str) -> None:
    """Do what the lines of standard input name, each answered by a line of JSON, until they end."""
    one = Pit(chart)
    try:
        for line in sys.stdin:
            sys.stdout.write(json.dumps(getattr(one, line.strip())()) + "\n")
            sys.stdout.flush()
    finally:
        one.stop()


if __name__ == "__main__":
    serve(sys.argv[1])
