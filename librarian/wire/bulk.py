"""Whole files and recordings into messages, some hundred times as fast as byte by byte.

The input is cut into segments at status bytes. In a segment without damage numpy finds the messages by their status
bytes alone, and they are made when somebody looks at them; a segment with damage goes through the `Assembler`. Both
roads together give exactly the arrivals that the `Assembler` gives for everything.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import accumulate, chain
from typing import Protocol, overload

import numpy as np
import numpy.typing as npt

from librarian.messages import Arrival, Message
from librarian.wire.assembler import REALTIME, UNDEFINED_REALTIME, Assembler
from librarian.wire.cable import LONGEST_MESSAGE, data_bytes

Places = npt.NDArray[np.int32]

_SEGMENT = 1 << 16
_DATA_BYTES = np.array([255 if (count := data_bytes(status)) is None else count for status in range(256)], np.uint8)
"""By status byte; 255 where there is no fixed number."""


class _Segment(Protocol):
    def __len__(self) -> int: ...

    def __iter__(self) -> Iterator[Arrival]: ...

    def __getitem__(self, index: int) -> Arrival: ...

    def raws(self) -> Iterator[bytes]:
        """The bytes of each arrival."""

    def offset(self, index: int) -> int:
        """Where the first byte of its own stands in the segment."""


class Split(Sequence[Arrival]):
    """The arrivals of a whole input in order, all at time 0; most are made anew each time they are looked at."""

    def __init__(self, segments: list[tuple[int, _Segment]]) -> None:
        self._segments = segments
        self._firsts = [0, *accumulate(len(segment) for _, segment in segments)]

    def __len__(self) -> int:
        return self._firsts[-1]

    def __iter__(self) -> Iterator[Arrival]:
        return chain.from_iterable(segment for _, segment in self._segments)

    @overload
    def __getitem__(self, index: int) -> Arrival: ...

    @overload
    def __getitem__(self, index: slice) -> list[Arrival]: ...

    def __getitem__(self, index: int | slice) -> Arrival | list[Arrival]:
        if isinstance(index, slice):
            return [self[place] for place in range(*index.indices(len(self)))]
        which, place = self._find(index)
        return self._segments[which][1][place]

    def raws(self) -> Iterator[bytes]:
        """The bytes of each arrival, whole or damaged: quicker than the arrivals where that is all one needs."""
        return chain.from_iterable(segment.raws() for _, segment in self._segments)

    def offset(self, index: int) -> int:
        """Where the first byte of its own of this arrival stands in the input (running status is not its own)."""
        which, place = self._find(index)
        start, segment = self._segments[which]
        return start + segment.offset(place)

    def _find(self, index: int) -> tuple[int, int]:
        wanted = index + len(self) if index < 0 else index
        if not 0 <= wanted < len(self):
            raise IndexError(f"arrival {index} of {len(self)}")
        which = bisect_right(self._firsts, wanted) - 1
        return which, wanted - self._firsts[which]


def split_all(data: bytes, cap: int = LONGEST_MESSAGE) -> Split:
    """The same arrivals as one `Assembler` gives that is fed everything and finished."""
    segments: list[tuple[int, _Segment]] = []
    start, size = 0, _SEGMENT
    while start < len(data):
        window = data[start : start + size]
        length = len(window) if start + size >= len(data) else _last_beginning(window)
        if length == 0:
            size *= 2  # one message, or one stretch of damage, is longer than the window
            continue
        next_status = data[start + length] if start + length < len(data) else None
        window = window[:length]
        whole = _whole(window, cap)
        segments.append((start, _damaged(window, cap, next_status) if whole is None else whole))
        start, size = start + length, _SEGMENT
    return Split(segments)


def _last_beginning(window: bytes) -> int:
    """Where the last status byte stands that begins something new whatever came before; 0 if none does."""
    octets = np.frombuffer(window, np.uint8)
    statuses = np.flatnonzero((octets >= 0x80) & (octets < 0xF7))
    return int(statuses[-1]) if len(statuses) else 0


class _Whole:
    """Nothing but whole messages, each given by the places of its status byte, first data byte and end in `pool`.

    `pool`: the segment without its realtime bytes, `length` of them, then each realtime byte once. `realtime`: how
    many bytes of the pool stand before each of the segment's realtime bytes.
    """

    def __init__(self, pool: bytes, status: Places, data: Places, end: Places, realtime: Places) -> None:
        self._pool = pool
        self._status, self._data, self._end = status, data, end
        self._realtime = realtime
        self._length = len(pool) - len(REALTIME)

    def __len__(self) -> int:
        return len(self._status)

    def __iter__(self) -> Iterator[Arrival]:
        return map(Message, self.raws())

    def raws(self) -> Iterator[bytes]:
        """The bytes of each arrival."""
        pool = self._pool
        for status, data, end in zip(self._status.tolist(), self._data.tolist(), self._end.tolist(), strict=True):
            yield pool[status:end] if data == status + 1 else pool[status : status + 1] + pool[data:end]

    def __getitem__(self, index: int) -> Arrival:
        status, data, end = int(self._status[index]), int(self._data[index]), int(self._end[index])
        return Message(self._pool[status : status + 1] + self._pool[data:end])

    def offset(self, index: int) -> int:
        """Where the first byte of its own stands in the segment."""
        status, data = int(self._status[index]), int(self._data[index])
        if status >= self._length:
            before = int(np.count_nonzero(self._status[:index] >= self._length))
            return int(self._realtime[before]) + before
        begins = status if data == status + 1 else data
        return begins + int(np.searchsorted(self._realtime, begins, side="right"))


def _whole(window: bytes, cap: int) -> _Whole | None:
    """The messages of a segment; None if anything in it is damaged."""
    clean = window.translate(None, REALTIME)
    octets = np.frombuffer(clean, np.uint8)
    at = np.flatnonzero(octets >= 0x80).astype(np.int32)
    if len(at) == 0 or at[0] > 0 or any(byte in window for byte in UNDEFINED_REALTIME):
        return None
    status = octets[at]
    count = np.diff(at, append=np.int32(len(clean))) - 1  # data bytes that follow each status byte
    wanted = _DATA_BYTES[status]
    two = wanted == 2
    channel, begins, ends = status < 0xF0, status == 0xF0, status == 0xF7
    fits = np.where(channel, (count > 0) & ~(two & (count & 1 == 1)), count == wanted)
    fits |= begins & (count <= cap - 2) | ends & (count == 0)
    if not fits.all() or begins[-1] or ends[0] or not np.array_equal(begins[:-1], ends[1:]):
        return None

    first, step = at, wanted.astype(np.int32)
    step[begins] = count[begins] + 1
    times = np.where(channel, np.where(two, count >> 1, count), ~ends)  # messages per status byte
    if (times == 1).all():
        data = first + 1
    else:
        first, step = np.repeat(first, times), np.repeat(step, times)
        nth = np.arange(len(first), dtype=np.int32) - np.repeat(np.cumsum(times) - times, times)
        data = first + 1 + (nth * step).astype(np.int32)
    end = data + step
    realtime = np.zeros(0, np.int32)
    if len(clean) < len(window):
        raw = np.frombuffer(window, np.uint8)
        found = np.flatnonzero(raw >= REALTIME[0])
        realtime = (found - np.arange(len(found))).astype(np.int32)
        place = np.searchsorted(end, realtime, side="right")
        single = len(clean) + (raw[found] - REALTIME[0]).astype(np.int32)
        first, data, end = (
            np.insert(first, place, single),
            np.insert(data, place, single + 1),
            np.insert(end, place, single + 1),
        )
    return _Whole(clean + REALTIME, first, data, end, realtime)


class _Damaged:
    """A segment in which not everything is whole."""

    def __init__(self, window: bytes, arrivals: list[Arrival]) -> None:
        self._window = window
        self._arrivals = arrivals

    def __len__(self) -> int:
        return len(self._arrivals)

    def __iter__(self) -> Iterator[Arrival]:
        return iter(self._arrivals)

    def __getitem__(self, index: int) -> Arrival:
        return self._arrivals[index]

    def raws(self) -> Iterator[bytes]:
        """The bytes of each arrival."""
        return (arrival.raw for arrival in self._arrivals)

    def offset(self, index: int) -> int:
        """Where the first byte of its own stands in the segment."""
        return self._offsets[index]

    @cached_property
    def _offsets(self) -> list[int]:
        """Realtime bytes come in their order, everything else in its own; only running status adds bytes."""
        realtime = [place for place, byte in enumerate(self._window) if byte >= REALTIME[0]]
        others = [place for place, byte in enumerate(self._window) if byte < REALTIME[0]]
        offsets = []
        next_realtime = next_other = 0
        for arrival in self._arrivals:
            if arrival.raw[0] >= REALTIME[0]:
                offsets.append(realtime[next_realtime])
                next_realtime += 1
            else:
                offsets.append(others[next_other])
                implied = self._window[others[next_other]] != arrival.raw[0]
                next_other += len(arrival.raw) - implied
        return offsets


def _damaged(window: bytes, cap: int, next_status: int | None) -> _Damaged:
    assembler = Assembler(cap)
    arrivals = assembler.feed(window, 0.0)
    arrivals += assembler.finish() if next_status is None else assembler.interrupt(next_status, 0.0)
    return _Damaged(window, arrivals)
