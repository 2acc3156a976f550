"""Dumps in several messages that follow each other many times, read together, with numpy.

One of them was read message by message. Another whose messages are as long, and equal to its own in every byte that is
neither data nor checksum, is put together in the same way: only what the data says has to be looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from librarian.chart.dump.planning.segments import Area, Sum
from librarian.chart.dump.running.alike import Found, judge
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.many import ManyValues
from librarian.chart.dump.running.parts import DataParts
from librarian.chart.dump.running.stream import Stream
from librarian.chart.dump.steps.rows import Bytes, Flags
from librarian.messages import Address


@dataclass(frozen=True, slots=True)
class Repeats:
    """What was read. `places`: which of the dumps given; for each of them values, name and told numbers."""

    places: tuple[int, ...]
    values: ManyValues
    names: Sequence[str]
    slots: Mapping[str, Sequence[int]]


@dataclass(frozen=True, slots=True)
class Member:
    """One message of the dump. `at`: where its data lies in the stream; None: it has none."""

    raw: bytes
    frame: FrameCodec
    at: int | None

    @property
    def free(self) -> Flags:
        """The bytes in which another dump may differ."""
        free = np.zeros(len(self.raw), np.bool_)
        for each in self.frame.frame.segments if self.at is not None else ():
            if isinstance(each, Area | Sum):
                free[each.at : each.at + each.size] = True
        return free

    @property
    def reach(self) -> int:
        """How many bytes from the beginning are certainly not free."""
        free = np.flatnonzero(self.free)
        return int(free[0]) if len(free) else len(self.raw)


class Repeater:
    """Reads more dumps like the one whose `members` these are. `slots`: numbers that the messages themselves told.

    `reach`: how many bytes at the beginning of the first message are the same in all of them.
    """

    def __init__(
        self,
        message: str,
        members: Sequence[Member],
        stream: Stream,
        parts: DataParts,
        slots: Mapping[str, int],
        address: Address,
    ) -> None:
        self.message = message
        self._members = members
        self._stream = stream
        self._parts = parts
        self._slots = slots
        self._address = address
        self.reach = members[0].reach

    def read(self, dumps: Sequence[Sequence[bytes]]) -> Repeats:
        """Dumps whose messages have these lengths. Those that are not in the result: read them message by message."""
        count = len(dumps)
        found = Found(np.array([len(set(raws)) == len(raws) for raws in dumps], np.bool_), {}, {})
        stream = np.zeros((count, self._stream.size), np.uint8)
        for place, member in enumerate(self._members):
            rows = np.frombuffer(b"".join([raws[place] for raws in dumps]), np.uint8).reshape(count, -1)
            fixed = ~member.free
            found.fine &= (rows[:, 1:-1] < 0x80).all(axis=1)
            found.fine &= (rows[:, fixed] == np.frombuffer(member.raw, np.uint8)[fixed]).all(axis=1)
            if member.at is not None:
                data = self._data(rows, member, found)
                size = min(data.shape[1], self._stream.size - member.at)
                stream[:, member.at : member.at + size] = data[:, :size]
        whole = Found(found.fine, {}, {})
        judge(self._stream.payload.frame, stream, None, whole, 0x7F)
        good = np.flatnonzero(whole.fine)
        values, names = self._parts.read_many({part: whole.images[part][good] for part in self._parts.once})
        slots: dict[str, Sequence[int]] = {word: numbers[good].tolist() for word, numbers in whole.slots.items()}
        slots |= {word: [number] * len(good) for word, number in self._slots.items()}
        return Repeats(tuple(good.tolist()), values, names, slots)

    def _data(self, rows: Bytes, member: Member, found: Found) -> Bytes:
        """The data of one of the messages, in each dump."""
        here = Found(found.fine, {}, {})
        judge(member.frame.frame, rows, self._address, here, 0x7F)
        return here.images[self._stream.part_name]
