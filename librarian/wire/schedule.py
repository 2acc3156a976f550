"""When each queued message may start: one output's queue, on absolute moments so that nothing drifts."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

_NEVER = float("-inf")


@dataclass(frozen=True, slots=True)
class Queued:
    """One message that waits; `gap_s`: seconds of silence that it wants after it. `asked_at`: when it was queued."""

    ticket: int
    message: bytes
    gap_s: float
    asked_at: float


class Schedule:
    """What waits for one output. Moments are seconds of any one clock.

    `buffered`: the port takes a message while the one before is still on the wire (a driver does, a bare wire does
    not). Urgent messages then start at once, because their place in the driver's queue is all that can be won.
    """

    def __init__(self, bytes_per_second: float, *, buffered: bool) -> None:
        self._byte_s = 1.0 / bytes_per_second
        self._buffered = buffered
        self._ordinary: deque[Queued] = deque()
        self._urgent: deque[Queued] = deque()
        self._free_at = _NEVER  # everything handed over so far has left the wire
        self._urgent_free_at = _NEVER  # the same of urgent messages alone
        self._quiet_until = _NEVER

    def put(self, queued: Queued, *, urgent: bool) -> None:
        """Queue behind the others of its kind; every urgent message goes before every other one."""
        (self._urgent if urgent else self._ordinary).append(queued)

    def next_start(self) -> float | None:
        """When the next message may start; None if none waits."""
        if self._urgent:
            return max(self._urgent_free_at if self._buffered else self._free_at, self._urgent[0].asked_at)
        if self._ordinary:
            return max(self._free_at, self._quiet_until, self._ordinary[0].asked_at)
        return None

    def take(self, start: float) -> Queued:
        """The next message, which starts at `start`; the ones after it are scheduled from there."""
        urgent = bool(self._urgent)
        queued = (self._urgent if urgent else self._ordinary).popleft()
        wire_s = len(queued.message) * self._byte_s
        if urgent:
            self._urgent_free_at = start + wire_s
        self._free_at = max(start, self._free_at) + wire_s
        # An urgent message in between does not end the silence that the one before it asked for.
        self._quiet_until = max(self._quiet_until, self._free_at + queued.gap_s)
        return queued

    @property
    def free_at(self) -> float:
        """When the wire is free of everything taken so far."""
        return self._free_at

    def drop(self) -> list[int]:
        """Forget what waits, but for urgent messages: nobody takes back a panic. The tickets of what is forgotten."""
        tickets = [queued.ticket for queued in self._ordinary]
        self._ordinary.clear()
        return tickets

    @property
    def urgent_waits(self) -> bool:
        """True while an urgent message was not taken yet."""
        return bool(self._urgent)

    def first_waiting(self) -> int | None:
        """The lowest ticket that waits."""
        return min((queue[0].ticket for queue in (self._urgent, self._ordinary) if queue), default=None)
