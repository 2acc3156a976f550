"""SysEx messages that carry one parameter, read without a chart: which bytes are the number, the value, the checksum.

While one control moves only its value (and a checksum) changes; from one control to another the number does.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from librarian.chart.dump.steps.number import Order, read_digits
from librarian.chart.learn.sums import SumForm, SumGuess, checksums

LONGEST = 32
"""A longer message is a dump."""
_PAUSE_S = 0.4
_OFTEN = 3
_MOST_NUMBER = 4


@dataclass(frozen=True, slots=True)
class Single:
    """One SysEx message of a movement; `index`: which message of all."""

    raw: bytes
    index: int
    at: float


@dataclass
class SingleControl:
    """One control of a family. `number`: as on the wire, 7-bit digits, MSB first."""

    number: int
    values: list[int] = field(default_factory=list)
    indexes: list[int] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Family:
    """Messages of one form. `template`: one of them; spans are (first byte, how many), from 0 = F0."""

    template: bytes
    maker: int
    number: tuple[int, int]
    value: tuple[int, int]
    order: Order
    digit: int
    checksum: SumGuess | None
    controls: tuple[SingleControl, ...]

    @property
    def most(self) -> int:
        """The highest number that the value's bytes can carry."""
        return (1 << self.digit * self.value[1]) - 1


def families(messages: Sequence[Single]) -> list[Family]:
    """The families among short SysEx messages, in the order in which they first came."""
    apart: dict[tuple[int, bytes], list[Single]] = {}
    for one in messages:
        apart.setdefault((len(one.raw), one.raw[: maker_end(one.raw)]), []).append(one)
    return [family for some in apart.values() for family in _families(some)]


def maker_end(raw: bytes) -> int:
    """Where the manufacturer ID ends: 2, or 4 for an ID of three bytes."""
    return 4 if raw[1:2] == b"\x00" else 2


def _families(some: Sequence[Single]) -> Iterator[Family]:
    varying = _varying(some)
    if not varying:
        return
    table = np.frombuffer(b"".join(one.raw for one in some), dtype=np.uint8).reshape(len(some), -1)
    checksum = _checksum(table, varying)
    if checksum is not None:
        varying = [place for place in varying if place < checksum.at]
    first, last = min(varying), max(varying)
    value = (first, last - first + 1)
    outside = [place for place in range(maker_end(some[0].raw), len(some[0].raw) - 1) if not first <= place <= last]
    if checksum is not None:
        outside = [place for place in outside if place < checksum.at]
    kinds: dict[bytes, list[Single]] = {}
    for one in some:
        kinds.setdefault(bytes(one.raw[place] for place in outside), []).append(one)
    differing = [place for at, place in enumerate(outside) if len({key[at] for key in kinds}) > 1]
    if not differing:
        differing = [first - 1] if first - 1 >= maker_end(some[0].raw) else []
    if not differing or max(differing) > first or max(differing) - min(differing) >= _MOST_NUMBER:
        return
    number = (min(differing), max(differing) - min(differing) + 1)
    order, digit = _order(list(kinds.values()), value)
    controls: dict[int, SingleControl] = {}
    for one in some:
        which = read_digits(one.raw[number[0] : number[0] + number[1]])
        control = controls.setdefault(which, SingleControl(which))
        control.values.append(read_digits(one.raw[first : last + 1], order, digit))
        control.indexes.append(one.index)
    yield Family(some[0].raw, maker_end(some[0].raw), number, value, order, digit, checksum, tuple(controls.values()))


def _varying(some: Sequence[Single]) -> list[int]:
    """Bytes that change again and again within one movement; without such, all that change within one at all."""
    often: set[int] = set()
    ever: set[int] = set()
    for movement in _movements(some):
        for place in range(maker_end(some[0].raw), len(some[0].raw) - 1):
            changes = sum(a.raw[place] != b.raw[place] for a, b in itertools.pairwise(movement))
            if changes:
                ever.add(place)
            if changes >= _OFTEN:
                often.add(place)
    return sorted(often or ever)


def _movements(some: Sequence[Single]) -> Iterator[list[Single]]:
    movement: list[Single] = []
    for one in some:
        if movement and one.at - movement[-1].at > _PAUSE_S:
            yield movement
            movement = []
        movement.append(one)
    if movement:
        yield movement


def _checksum(table: np.ndarray[tuple[int, int], np.dtype[np.uint8]], varying: Sequence[int]) -> SumGuess | None:
    last = table.shape[1] - 2
    if last not in varying or len(varying) < 2 or len({bytes(row) for row in table}) < _OFTEN:
        return None
    found = checksums(table, last, [SumForm(1)], range(1, min(varying) + 1), [last])
    return found[0] if found and found[0].fits else None


def _order(movements: Sequence[Sequence[Single]], value: tuple[int, int]) -> tuple[Order, int]:
    """The order in which the values of a movement jump least, and 4 bits a byte where no byte ever has more."""
    first, size = value
    if size == 1:
        return "msb_first", 7
    parts = [[one.raw[first : first + size] for one in movement] for movement in movements]
    highest = max(max(part) for movement in parts for part in movement)
    digit = 4 if highest < 0x10 else 7

    def travel(order: Order) -> int:
        read = [[read_digits(part, order, digit) for part in movement] for movement in parts]
        return sum(abs(b - a) for movement in read for a, b in itertools.pairwise(movement))

    return ("lsb_first" if travel("lsb_first") < travel("msb_first") else "msb_first"), digit
