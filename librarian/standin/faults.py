"""A bad cable: bytes and messages lost, doubled, swapped, flipped, late, mixed with others', or sent back.

It stands between a cable and an instrument and is a far end itself. Everything it does comes from one seed, so that
every run can be repeated.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from dataclasses import dataclass

from librarian.wire.embedded import FarEnd


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with a cable. Rates are chances from 0 to 1, for each byte or each message.

    Bytes: `lose`, `double`, `swap` (with the next one), `flip` (one bit of the eight).
    `burst`: each hit damages so many bytes in a row. Messages: `lose_message`, `cut` (the end of a SysEx is lost).
    From the instrument only: `realtime` (FE or F8 put before a byte), `foreign` (a message of another device put
    before one), `late_s` (each message up to so many seconds later), `stall`, `stall_s` (now and then much later).
    `running`: status bytes that repeat the last one are left out, for hours on end.
    `echo`: everything sent comes back. `to_instrument`, `from_instrument`: which directions are damaged.
    """

    lose: float = 0.0
    double: float = 0.0
    swap: float = 0.0
    flip: float = 0.0
    burst: int = 1
    lose_message: float = 0.0
    cut: float = 0.0
    realtime: float = 0.0
    foreign: float = 0.0
    late_s: float = 0.0
    stall: float = 0.0
    stall_s: float = 0.0
    running: bool = False
    echo: bool = False
    to_instrument: bool = True
    from_instrument: bool = True


class BadCable:
    """A far end that damages what passes between a cable and `inner`, another far end (an instrument).

    `hits`: how often it did. `spoil_next`: done once to the next SysEx of the instrument (a wrong checksum, say).
    """

    def __init__(self, inner: FarEnd, faults: Faults, seed: int = 1, foreign: tuple[bytes, ...] = ()) -> None:
        self.inner = inner
        self.faults = faults
        self.hits = 0
        self.spoil_next: Callable[[bytes], bytes] | None = None
        self._dice = random.Random(seed)
        self._foreign = foreign or (b"\x99\x24\x40", b"\xf0\x7d\x7e\x01\x02\x03\xf7", b"\xfa", b"\xe9\x00\x40")
        self._late: list[tuple[float, int, bytes]] = []
        self._number = 0
        self._not_before = 0.0
        self._status = 0
        self._events: list[tuple[float, int, Callable[[float], None]]] = []

    def at(self, moment: float, happens: Callable[[float], None]) -> None:
        """Let something happen (a knob is turned, the instrument restarts) when the clock reaches `moment`."""
        self._number += 1
        heapq.heappush(self._events, (moment, self._number, happens))

    def feed(self, data: bytes, now: float) -> None:
        """See `FarEnd.feed`."""
        if self.faults.echo:
            self._put(now, data)
        if self.faults.to_instrument:
            if self._chance(self.faults.lose_message):
                return
            data = self._damaged(data)
        if data:
            self.inner.feed(data, now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        """See `FarEnd.due`."""
        while self._events and self._events[0][0] <= now:
            _, _, happens = heapq.heappop(self._events)
            happens(now)
        for start, raw in self.inner.due(now):
            if self.spoil_next is not None and raw[:1] == b"\xf0":
                self._pass_on(start, self.spoil_next(raw))
                self.spoil_next = None
            else:
                self._pass_on(start, raw)
        ready = []
        while self._late and self._late[0][0] <= now:
            start, _, raw = heapq.heappop(self._late)
            ready.append((start, raw))
        return ready

    def next_due(self) -> float | None:
        """See `FarEnd.next_due`."""
        moments = [heap[0][0] for heap in (self._events, self._late) if heap]
        inner = self.inner.next_due()
        return min([*moments, *([] if inner is None else [inner])], default=None)

    def _pass_on(self, start: float, raw: bytes) -> None:
        faults = self.faults
        if not faults.from_instrument:
            self._put(start, raw)
            return
        if self._chance(faults.foreign):
            self._put(start, self._dice.choice(self._foreign))
        if self._chance(faults.lose_message):
            return
        if faults.late_s > 0:
            start += self._dice.uniform(0.0, faults.late_s)
        if self._chance(faults.stall):
            start += faults.stall_s
        if raw[:1] == b"\xf0" and self._chance(faults.cut):
            raw = raw[: self._dice.randrange(2, len(raw))]
        if faults.running:
            raw = self._with_running_status(raw)
        raw = self._damaged(raw)
        if faults.realtime > 0:
            raw = self._with_realtime(raw)
        if raw:
            self._put(start, raw)

    def _with_running_status(self, raw: bytes) -> bytes:
        """MIDI 1.0 Detailed Specification 4.2.1, p. 5: only a channel message's status holds on, realtime leaves it."""
        if raw[0] == self._status:
            return raw[1:]
        if raw[0] < 0xF8:
            self._status = raw[0] if 0x80 <= raw[0] < 0xF0 else 0
        return raw

    def _with_realtime(self, raw: bytes) -> bytes:
        out = bytearray()
        for byte in raw:
            if self._chance(self.faults.realtime):
                out.append(self._dice.choice((0xFE, 0xF8)))
            out.append(byte)
        return bytes(out)

    def _put(self, start: float, raw: bytes) -> None:
        # A cable keeps the order, however late it is.
        start = self._not_before = max(start, self._not_before)
        self._number += 1
        heapq.heappush(self._late, (start, self._number, raw))

    def _chance(self, rate: float) -> bool:
        hit = rate > 0 and self._dice.random() < rate
        self.hits += hit
        return hit

    def _damaged(self, data: bytes) -> bytes:
        faults = self.faults
        rate = faults.lose + faults.double + faults.swap + faults.flip
        if rate <= 0:
            return data
        out = bytearray()
        index = 0
        while index < len(data):
            if self._dice.random() >= rate:
                out.append(data[index])
                index += 1
                continue
            self.hits += 1
            kind = self._dice.choices(
                ("lose", "double", "swap", "flip"), (faults.lose, faults.double, faults.swap, faults.flip)
            )[0]
            for _ in range(faults.burst):
                if index < len(data):
                    index += self._hit(kind, data, index, out)
        return bytes(out)

    def _hit(self, kind: str, data: bytes, index: int, out: bytearray) -> int:
        """Damage one byte in its way; returns how many bytes of the input are done with."""
        byte = data[index]
        if kind == "double":
            out += bytes((byte, byte))
        elif kind == "swap" and index + 1 < len(data):
            out += bytes((data[index + 1], byte))
            return 2
        elif kind == "flip":
            out.append(byte ^ (1 << self._dice.randrange(8)))
        return 1
