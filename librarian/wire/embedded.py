"""A cable to a simulated instrument in this process, at the speed and with the order of a real one.

Each direction is a wire of its own that carries one byte after the other. Bytes reach the other end when their
last bit would; short messages whole with their last byte, long ones in pieces of `GRAIN` bytes. Times are computed,
not measured, so a run with a `VirtualClock` is the same each time.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import Protocol

from librarian.messages import Arrival
from librarian.wire.assembler import Assembler
from librarian.wire.cable import WIRE_BYTES_PER_SECOND, CableLost, Counts, check_message, check_stream
from librarian.wire.clock import Clock, VirtualClock
from librarian.wire.schedule import Queued, Schedule
from librarian.wire.traffic import Traffic

GRAIN = 16
"""Bytes of a long message that reach the far end together; 5.12 ms of a 5-pin cable."""

_REST_S = 0.01
"""How late the pump may see that somebody turned a knob of the far end meanwhile."""


class FarEnd(Protocol):
    """What is at the other end: an instrument's two sockets. Times are the cable's clock, never running backwards."""

    def feed(self, data: bytes, now: float) -> None:
        """These bytes have reached the instrument's MIDI IN; the last one at `now`."""

    def due(self, now: float) -> list[tuple[float, bytes]]:
        """Pop what the instrument began to send until `now`: (moment, bytes), oldest first. Bytes may be anything."""

    def next_due(self) -> float | None:
        """The moment of the next piece that `due` will give, None if nothing is waiting."""


@dataclass(slots=True)
class _Piece:
    """Bytes on a wire: the moment when the last of them arrives."""

    arrives: float
    data: bytes


class _Wire:
    """One direction: what is on it, and when it is free again."""

    def __init__(self, bytes_per_second: float) -> None:
        self._byte_s = 1.0 / bytes_per_second
        self.free_at = float("-inf")
        self.pieces: deque[_Piece] = deque()

    def put(self, start: float, data: bytes) -> None:
        """Send from `start` on, or as soon as the wire is free."""
        start = max(start, self.free_at)
        for offset in range(0, len(data), GRAIN):
            piece = data[offset : offset + GRAIN]
            self.pieces.append(_Piece(start + (offset + len(piece)) * self._byte_s, piece))
        self.free_at = start + len(data) * self._byte_s

    def next_arrival(self) -> float | None:
        return self.pieces[0].arrives if self.pieces else None


class EmbeddedCable:
    """Implements `cable.Cable` over a `FarEnd`. With a `VirtualClock`, `receive` jumps from event to event.

    With any other clock a thread of the cable's own keeps the instrument living while nobody reads.
    """

    def __init__(
        self,
        far_end: FarEnd,
        clock: Clock,
        bytes_per_second: float = WIRE_BYTES_PER_SECOND,
        name: str = "embedded cable",
        *,
        traffic: Traffic | None = None,
    ) -> None:
        self.name = name
        self.clock = clock
        self._far_end = far_end
        self._traffic = traffic
        self._out = _Wire(bytes_per_second)
        self._in = _Wire(bytes_per_second)
        self._schedule = Schedule(bytes_per_second, buffered=False)
        self._tickets = 0
        self._assembler = Assembler()
        self._arrivals: deque[Arrival] = deque()
        self._bytes_out = self._bytes_in = 0
        self._reached = float("-inf")  # everything until this moment has happened
        self._closed = False
        self._lost: tuple[str, str] | None = None
        self._changed = threading.Condition(threading.RLock())
        self._pump: threading.Thread | None = None
        if not isinstance(clock, VirtualClock):
            self._pump = threading.Thread(target=self._live, name=f"pump of {name}", daemon=True)
            self._pump.start()

    def send(self, message: bytes, *, gap_s: float = 0.0, urgent: bool = False) -> int:
        """See `Cable.send`."""
        check_message(message)
        return self._put(message, gap_s, urgent=urgent)

    def send_stream(self, data: bytes, *, gap_s: float = 0.0) -> int:
        """See `Cable.send_stream`."""
        check_stream(data)
        return self._put(data, gap_s, urgent=False)

    def _put(self, message: bytes, gap_s: float, *, urgent: bool) -> int:
        with self._changed:
            self._raise_if_gone()
            self._happen(self.clock.now())
            self._tickets += 1
            self._schedule.put(Queued(self._tickets, bytes(message), gap_s, self.clock.now()), urgent=urgent)
            self._happen(self.clock.now())
            self._changed.notify_all()
            return self._tickets

    def sent(self) -> int:
        """See `Cable.sent`."""
        with self._changed:
            self._happen(self.clock.now())
            waiting = self._schedule.first_waiting()
            return self._tickets if waiting is None else waiting - 1

    def drop_unsent(self) -> int:
        """See `Cable.drop_unsent`."""
        with self._changed:
            self._happen(self.clock.now())
            return len(self._schedule.drop())

    def receive(self, timeout_s: float) -> Arrival | None:
        """See `Cable.receive`."""
        with self._changed:
            until = self.clock.now() + timeout_s
            while True:
                self._happen(self.clock.now())
                if self._arrivals:
                    return self._arrivals.popleft()
                self._raise_if_gone()
                now = self.clock.now()
                if now >= until:
                    return None
                coming = self._next_event()
                moment = until if coming is None else min(until, coming)
                if isinstance(self.clock, VirtualClock):
                    self.clock.advance_to(moment)
                else:
                    self._changed.wait(max(0.0, moment - now))

    def counts(self) -> Counts:
        """See `Cable.counts`."""
        with self._changed:
            self._happen(self.clock.now())
            return Counts(self._bytes_out, self._bytes_in)

    def lose(self, sentence: str, hint: str = CableLost.hint) -> None:
        """The cable breaks now, as when a port vanishes: nothing more crosses it."""
        with self._changed:
            self._happen(self.clock.now())
            self._lost = (sentence, hint)
            self._changed.notify_all()

    def close(self) -> None:
        """See `Cable.close`. What is under way reaches the instrument now, with the times that it would have had."""
        with self._changed:
            self._schedule.drop()
            self._happen(max(self.clock.now(), self._schedule.free_at))
            while self._schedule.urgent_waits and self._lost is None:
                self._happen(self._schedule.free_at)
            self._happen(self._schedule.free_at)
            self._closed = True
            self._changed.notify_all()
        if self._pump is not None and self._pump is not threading.current_thread():
            self._pump.join()

    def _raise_if_gone(self) -> None:
        if self._lost is not None:
            raise CableLost(*self._lost)
        if self._closed:
            raise CableLost(f"{self.name} is closed.", "Open it again.")

    def _live(self) -> None:
        """Let things happen in real time."""
        with self._changed:
            while not self._closed and self._lost is None:
                now = self.clock.now()
                self._happen(now)
                coming = self._next_event()
                self._changed.wait(_REST_S if coming is None else min(_REST_S, max(0.0, coming - now)))

    def _next_event(self) -> float | None:
        moments = (
            self._schedule.next_start(),
            self._out.next_arrival(),
            self._in.next_arrival(),
            self._far_end.next_due(),
            self._assembler.deadline(),
        )
        return min((moment for moment in moments if moment is not None), default=None)

    def _happen(self, now: float) -> None:
        """Let everything happen that is due until `now`, in the order of its moments."""
        if self._closed or self._lost is not None:
            return
        came = len(self._arrivals)
        while (moment := self._next_event()) is not None and moment <= now:
            moment = self._reached = max(moment, self._reached)
            self._collect(moment)
            while self._out.pieces and self._out.pieces[0].arrives <= moment:
                piece = self._out.pieces.popleft()
                self._bytes_out += len(piece.data)
                self._far_end.feed(piece.data, piece.arrives)
            self._take(self._assembler.expire(moment))
            while self._in.pieces and self._in.pieces[0].arrives <= moment:
                piece = self._in.pieces.popleft()
                self._bytes_in += len(piece.data)
                self._take(self._assembler.feed(piece.data, piece.arrives))
            start_at = self._schedule.next_start()
            if start_at is not None and start_at <= moment:
                self._start(start_at)
        if len(self._arrivals) > came:
            self._changed.notify_all()

    def _collect(self, moment: float) -> None:
        for start, data in self._far_end.due(moment):
            self._in.put(start, data)
        due = self._far_end.next_due()
        if due is not None and due <= moment:
            raise RuntimeError(f"the far end keeps what was due at {due} s when asked at {moment} s")

    def _start(self, moment: float) -> None:
        queued = self._schedule.take(moment)
        self._out.put(moment, queued.message)
        if self._traffic is not None:
            self._traffic.sent(self.name, queued.message, moment)

    def _take(self, arrivals: list[Arrival]) -> None:
        self._arrivals.extend(arrivals)
        if self._traffic is not None:
            for arrival in arrivals:
                self._traffic.came(self.name, arrival)
