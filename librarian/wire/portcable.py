"""The cable over real ports: this side of a pair of ports in the port process."""

from __future__ import annotations

import struct
import threading
from collections import deque
from collections.abc import Callable

from librarian.messages import Arrival, Damaged
from librarian.wire.assembler import Assembler
from librarian.wire.cable import LONGEST_MESSAGE, CableLost, Counts, check_message, check_stream
from librarian.wire.clock import Clock
from librarian.wire.frames import Frame, Kind
from librarian.wire.traffic import Traffic

_MOST_UNREAD = 16 * 1024 * 1024
_DROP_PATIENCE_S = 5.0
"""Longer than a port process that does not answer may live, even while it opens another port."""


class PortCable:
    """Implements `cable.Cable`. Made by `PortProcess`, which feeds it the frames that concern it."""

    def __init__(
        self,
        handle: int,
        name: str,
        bytes_per_second: float,
        clock: Clock,
        order: Callable[[Frame], None],
        traffic: Traffic | None,
    ) -> None:
        self.name = name
        self.clock = clock
        self.free_at = 0.0
        """When everything handed over so far has left a wire of this speed."""
        self._byte_s = 1.0 / bytes_per_second
        self._handle = handle
        self._order = order
        self._traffic = traffic
        self._longest = LONGEST_MESSAGE
        self._tickets = 0
        self._unsent: dict[int, bytes] = {}
        self._dropped: deque[int] = deque()
        self._assembler = Assembler()
        self._arrivals: deque[Arrival] = deque()
        self._unread = 0
        self._missed = 0
        self._first_missed = b""
        self._bytes_out = self._bytes_in = 0
        self._lost: tuple[str, str] | None = None
        self._changed = threading.Condition()

    def send(self, message: bytes, *, gap_s: float = 0.0, urgent: bool = False) -> int:
        """See `Cable.send`."""
        check_message(bytes(message), self._longest)
        return self._put(bytes(message), gap_s, Kind.SEND_URGENT if urgent else Kind.SEND)

    def send_stream(self, data: bytes, *, gap_s: float = 0.0) -> int:
        """See `Cable.send_stream`."""
        check_stream(bytes(data), self._longest)
        return self._put(bytes(data), gap_s, Kind.SEND)

    def _put(self, message: bytes, gap_s: float, kind: Kind) -> int:
        with self._changed:
            self._raise_if_lost()
            self._tickets += 1
            self._unsent[self._tickets] = message
            self._order(Frame(kind, self._handle, self._tickets, gap_s, message))
            return self._tickets

    def sent(self) -> int:
        """See `Cable.sent`."""
        with self._changed:
            return min(self._unsent, default=self._tickets + 1) - 1

    def drop_unsent(self) -> int:
        """See `Cable.drop_unsent`. Waits for the port process, which alone knows what has left."""
        with self._changed:
            if self._lost is not None or not self._unsent:
                return 0
            self._order(Frame(Kind.DROP, self._handle))
            self._changed.wait_for(lambda: self._dropped or self._lost is not None, _DROP_PATIENCE_S)
            self._raise_if_lost()
            if not self._dropped:
                raise CableLost(
                    f"The port process did not say within {_DROP_PATIENCE_S:g} s what {self.name} had sent."
                )
            return self._dropped.popleft()

    def receive(self, timeout_s: float) -> Arrival | None:
        """See `Cable.receive`."""
        until = self.clock.now() + timeout_s
        with self._changed:
            while True:
                now = self.clock.now()
                self._keep(self._assembler.expire(now))
                if self._arrivals:
                    return self._next_arrival()
                self._raise_if_lost()
                if now >= until:
                    return None
                deadline = self._assembler.deadline()
                self._changed.wait((until if deadline is None else min(until, deadline)) - now)

    def counts(self) -> Counts:
        """See `Cable.counts`."""
        with self._changed:
            return Counts(self._bytes_out, self._bytes_in)

    def close(self) -> None:
        """See `Cable.close`."""
        with self._changed:
            if self._lost is None:
                self._order(Frame(Kind.CLOSE, self._handle))
        self.lose(f"{self.name} is closed.", "Open it again.")

    # For the port process's other side

    def opened(self, longest: int | None) -> None:
        """The pair is open; the system carries at most `longest` bytes in one message."""
        self._longest = longest or LONGEST_MESSAGE

    def lose(self, sentence: str, hint: str = CableLost.hint) -> None:
        """The cable is dead from now on, for this reason."""
        with self._changed:
            if self._lost is None:
                self._lost = (sentence, hint)
                self._keep(self._assembler.finish())
            self._changed.notify_all()

    def take(self, frame: Frame) -> None:
        """A frame about this pair of ports."""
        with self._changed:
            if frame.kind is Kind.CAME:
                self._bytes_in += len(frame.body)
                self._keep(self._assembler.feed(frame.body, frame.moment))
            elif frame.kind is Kind.SENT:
                message = self._unsent.pop(frame.ticket)
                self._bytes_out += len(message)
                self.free_at = max(self.free_at, frame.moment) + len(message) * self._byte_s
                if self._traffic is not None:
                    self._traffic.sent(self.name, message, frame.moment)
            elif frame.kind is Kind.DROPPED:
                tickets = struct.unpack(f"!{len(frame.body) // 8}Q", frame.body)
                for ticket in tickets:
                    del self._unsent[ticket]
                self._dropped.append(len(tickets))
            elif frame.kind is Kind.LOST:
                self.lose(frame.content["sentence"])
            self._changed.notify_all()

    def _raise_if_lost(self) -> None:
        if self._lost is not None:
            raise CableLost(*self._lost)

    def _keep(self, arrivals: list[Arrival]) -> None:
        for arrival in arrivals:
            if self._traffic is not None:
                self._traffic.came(self.name, arrival)
            if self._unread + len(arrival.raw) > _MOST_UNREAD:
                self._missed += 1
                self._first_missed = self._first_missed or arrival.raw
            else:
                self._arrivals.append(arrival)
                self._unread += len(arrival.raw)

    def _next_arrival(self) -> Arrival:
        arrival = self._arrivals.popleft()
        self._unread -= len(arrival.raw)
        if not self._arrivals and self._missed:
            reason = f"{self._missed:,} messages from this one on were not kept, because nobody read them."
            self._arrivals.append(Damaged(self._first_missed, "incomplete", reason, arrival.at))
            self._missed, self._first_missed = 0, b""
        return arrival
