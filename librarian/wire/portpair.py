"""One open pair of ports in the port process: the paced writer of its output and the polled reader of its input."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from librarian.wire.frames import Frame, Kind
from librarian.wire.ports import Port
from librarian.wire.schedule import Queued, Schedule

_CATCH_UP_S = 0.001
"""A message that starts late by up to this does not delay those after it; a longer delay is kept, never made up for."""
_BEFORE_CLOSING_S = 0.050
_MAY_BLOCK = "winmm"
"""Sending there returns only when the driver is done with the message, with the interpreter locked."""
_LONG_MESSAGE = 256


class PortPair:
    """`midi_out`, `midi_in`: rtmidi objects that are open. `ports`: what has to stay in the list for it to work."""

    def __init__(
        self, handle: int, api: str, ports: tuple[Port, ...], midi_out: Any, midi_in: Any, bytes_per_second: float
    ) -> None:
        self.handle = handle
        self.api = api
        self.ports = ports
        self._out = midi_out
        self._in = midi_in
        self._bytes_per_second = bytes_per_second
        self._schedule = Schedule(bytes_per_second, buffered=True)

    def put(self, order: Frame, now: float, *, urgent: bool) -> None:
        """Queue the message of a SEND frame."""
        self._schedule.put(Queued(order.ticket, order.body, order.moment, now), urgent=urgent)

    def next_start(self) -> float | None:
        """When the next message is to be sent."""
        return self._schedule.next_start()

    def drop(self) -> list[int]:
        """Forget what is queued; the tickets of that."""
        return self._schedule.drop()

    def write(self, clock: Callable[[], float], tell: Callable[[Frame], None]) -> None:
        """Hand over every message whose moment has come, and tell about each. Raises the driver's errors."""
        while (start := self._schedule.next_start()) is not None and start <= (now := clock()):
            queued = self._schedule.take(max(start, now - _CATCH_UP_S))
            if self.api == _MAY_BLOCK and len(queued.message) > _LONG_MESSAGE:
                tell(Frame(Kind.BUSY, moment=len(queued.message) / self._bytes_per_second))
            self._out.send_message(queued.message)
            tell(Frame(Kind.SENT, self.handle, queued.ticket, now))

    def hurry(self, clock: Callable[[], float], tell: Callable[[Frame], None]) -> None:
        """Hand over every urgent message now: the ports are about to be closed. Raises the driver's errors."""
        while self._schedule.urgent_waits:
            queued = self._schedule.take(now := clock())
            self._out.send_message(queued.message)
            tell(Frame(Kind.SENT, self.handle, queued.ticket, now))

    def read(self, clock: Callable[[], float]) -> Iterator[Frame]:
        """Everything that has come since the last time."""
        while (event := self._in.get_message()) is not None:
            yield Frame(Kind.CAME, self.handle, moment=clock(), body=bytes(event[0]))

    def may_close_at(self) -> float:
        """When everything handed over has left a 5-pin cable."""
        return self._schedule.free_at + _BEFORE_CLOSING_S

    def close(self) -> None:
        """Free both ports."""
        self._in.delete()
        self._out.delete()
