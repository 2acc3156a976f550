"""Time as every cable and conversation sees it, so that a test can run an hour of wire in milliseconds."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Seconds that never run backwards; their zero means nothing."""

    def now(self) -> float:
        """Seconds."""

    def sleep(self, seconds: float) -> None:
        """Let at least this much time pass (nothing at all for zero and below)."""


class SystemClock:
    """The machine's own time: `time.perf_counter`, which is one clock for all processes of the machine."""

    def now(self) -> float:
        """Seconds."""
        return time.perf_counter()

    def sleep(self, seconds: float) -> None:
        """Block the calling thread."""
        if seconds > 0:
            time.sleep(seconds)


class VirtualClock:
    """Time that passes only when somebody sleeps or says so. Several threads may use it."""

    def __init__(self, start: float = 0.0) -> None:
        self._now = start
        self._lock = threading.Lock()

    def now(self) -> float:
        """Seconds since the start value."""
        return self._now

    def sleep(self, seconds: float) -> None:
        """Return at once; the time has passed."""
        self.advance(seconds)

    def advance(self, seconds: float) -> None:
        """Let time pass (nothing for zero and below)."""
        if seconds > 0:
            with self._lock:
                self._now += seconds

    def advance_to(self, moment: float) -> None:
        """Let time pass until `moment`; a moment that is over changes nothing."""
        with self._lock:
            self._now = max(self._now, moment)
