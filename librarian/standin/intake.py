"""The receive side of a small instrument: a buffer of a few bytes that overflows while it is busy."""

from __future__ import annotations

from collections import deque


class Intake:
    """Bytes between the cable and the instrument's attention.

    While the instrument is free every byte is taken at once. While it is busy they wait in `size` bytes of buffer
    (None: no limit), and what comes on top is lost, as on a receiver whose interrupt finds its ring full.
    """

    def __init__(self, size: int | None) -> None:
        self.size = size
        self.lost = 0
        self.received = 0
        self._waiting: deque[tuple[float, int]] = deque()

    def arrive(self, byte: int, at: float, *, busy: bool) -> None:
        """One byte came at `at`; `busy`: the instrument attends to something else at that moment."""
        self.received += 1
        if busy and self.size is not None and len(self._waiting) >= self.size:
            self.lost += 1
        else:
            self._waiting.append((at, byte))

    def take(self) -> tuple[float, int] | None:
        """The next byte with the time it arrived, or None."""
        return self._waiting.popleft() if self._waiting else None

    def forget(self) -> None:
        """Drop what waits, as when the power fails."""
        self._waiting.clear()

    @property
    def next_at(self) -> float | None:
        """When the oldest waiting byte arrived."""
        return self._waiting[0][0] if self._waiting else None
