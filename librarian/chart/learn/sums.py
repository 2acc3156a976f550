"""Which checksum fits all messages seen: a search over kinds, ranges and widths, ranked by how many agree.

Positions count from 0 (F0) and ranges are half open. Everything is tried on all messages at once, as prefix sums.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS, ChecksumKind

Bytes = NDArray[np.uint8]
Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SumForm:
    """How a checksum is written: `size` bytes of `digit` bits, `bits` in all that count."""

    size: int
    digit: int = 7
    order: Literal["msb_first", "lsb_first"] = "msb_first"
    bits: int = 7

    def read(self, table: Bytes, at: int) -> Numbers:
        """The number that stands at `at` of every row; -1 where a byte has more bits than it may carry."""
        columns = [table[:, at + place].astype(np.int64) for place in range(self.size)]
        if self.order == "lsb_first":
            columns.reverse()
        number: Numbers = np.zeros(len(table), dtype=np.int64)
        for column in columns:
            number = number << self.digit | column
        odd = np.max(columns, axis=0) >> self.digit > 0
        return np.where(odd, -1, number)


WIRE_FORMS = (
    SumForm(1),
    SumForm(2, 7, "msb_first", 14),
    SumForm(2, 7, "lsb_first", 14),
    SumForm(2, 4, "msb_first", 8),
    SumForm(2, 4, "lsb_first", 8),
    SumForm(2, 4, "msb_first", 7),
    SumForm(2, 4, "lsb_first", 7),
    SumForm(2, 7, "msb_first", 8),
    SumForm(2, 7, "lsb_first", 8),
    SumForm(4, 4, "msb_first", 16),
    SumForm(4, 4, "lsb_first", 16),
    SumForm(3, 7, "msb_first", 16),
    SumForm(3, 7, "lsb_first", 16),
)
INNER_FORMS = (SumForm(1, 8, "msb_first", 8), SumForm(2, 8, "msb_first", 16), SumForm(2, 8, "lsb_first", 16))


@dataclass(frozen=True, slots=True)
class SumGuess:
    """One checksum that may be: over bytes `first` to before `end`, standing at `at`. `agree` of `of` messages fit.

    `unpacked`: the range counts bytes of the unpacked data. `start`: what the instrument begins with.
    """

    kind: ChecksumKind
    form: SumForm
    at: int
    first: int
    end: int
    agree: int
    of: int
    unpacked: bool = False
    start: int = 0

    @property
    def fits(self) -> bool:
        """All messages agree."""
        return self.agree == self.of


def checksums(
    table: Bytes, at: int, forms: Sequence[SumForm], firsts: Sequence[int], ends: Sequence[int], *, best: int = 8,
    started: bool = False,
) -> list[SumGuess]:
    """The best guesses for a checksum that stands at byte `at` of every row of `table`, most agreeing first.

    `started`: those that begin with a number of their own instead, which all rows agree on.
    """
    read = [(form, form.read(table, at)) for form in forms if at + form.size <= table.shape[1]]
    search = _started if started else _search
    return search(table, read, at, firsts, ends, best, unpacked=False)


def checksums_of(
    images: Bytes, table: Bytes, at: int, forms: Sequence[SumForm], *, best: int = 8, started: bool = False
) -> list[SumGuess]:
    """The same for a checksum at byte `at` of the messages that covers the whole unpacked data `images`."""
    read = [(form, form.read(table, at)) for form in forms if at + form.size <= table.shape[1]]
    search = _started if started else _search
    return search(images, read, at, [0], [images.shape[1]], best, unpacked=True)


def _ranges(
    table: Bytes, firsts: Sequence[int], ends: Sequence[int]
) -> Iterator[tuple[int, Numbers, Numbers, Numbers]]:
    """For each end: the first bytes before it, and sum and XOR of each row from each of them to the end."""
    sums, xors = _prefixes(table)
    begin = np.array(firsts, dtype=np.int64)
    for end in ends:
        starts: Numbers = begin[begin < end]
        if len(starts):
            folded: Numbers = np.bitwise_xor(xors[:, [end]], xors[:, starts])
            yield end, starts, sums[:, [end]] - sums[:, starts], folded


def _search(
    table: Bytes,
    read: Sequence[tuple[SumForm, Numbers]],
    at: int,
    firsts: Sequence[int],
    ends: Sequence[int],
    best: int,
    *,
    unpacked: bool,
) -> list[SumGuess]:
    rows = len(table)
    found: list[SumGuess] = []
    for end, starts, total, folded in _ranges(table, firsts, ends):
        for form, received in read:
            mask = (1 << form.bits) - 1
            for kind in CHECKSUM_KINDS:
                agree = (_computed(kind, total, folded, mask) == received[:, None]).sum(axis=0)
                found += [
                    SumGuess(kind, form, at, int(starts[place]), end, int(agree[place]), rows, unpacked)
                    for place in np.flatnonzero(agree >= max(agree.max(), 2))
                ]
    # Equal in agreement: the narrowest writing first, and the range that begins at the first byte that ever changes.
    found.sort(key=lambda one: (-one.agree, one.form.size, one.form.bits, -one.end, -one.first))
    return found[: best * 8] if best else found


def _started(
    table: Bytes,
    read: Sequence[tuple[SumForm, Numbers]],
    at: int,
    firsts: Sequence[int],
    ends: Sequence[int],
    best: int,
    *,
    unpacked: bool,
) -> list[SumGuess]:
    """What the received number leaves over must be one and the same in every row."""
    rows = len(table)
    found: list[SumGuess] = []
    for end, starts, total, folded in _ranges(table, firsts, ends):
        for form, received in read:
            mask = (1 << form.bits) - 1
            if (received < 0).any() or (received > mask).any():
                continue
            column = received[:, None]
            left = {"xor": (column ^ folded) & mask, "sum": (column - total) & mask, "twos": (-column - total) & mask,
                    "ones": (~column - total) & mask}  # fmt: skip
            for kind in CHECKSUM_KINDS:
                places = np.flatnonzero((left[kind] == left[kind][0]).all(axis=0))
                # Constant bytes may be in or out: of all ranges the widest and the narrowest stand for the rest.
                some = places if len(read) == 1 else places[[0, -1]] if len(places) else places
                found += [
                    SumGuess(kind, form, at, int(starts[place]), end, rows, rows, unpacked, int(left[kind][0, place]))
                    for place in some
                ]
    found.sort(key=lambda one: (one.form.size, one.form.bits, -one.end, -one.first))
    return found[: best * 8] if best else found


def _prefixes(table: Bytes) -> tuple[Numbers, Numbers]:
    """Sums and XORs of all bytes before each place, row by row."""
    sums: Numbers = np.zeros((len(table), table.shape[1] + 1), dtype=np.int64)
    np.cumsum(table, axis=1, out=sums[:, 1:], dtype=np.int64)
    xors: Numbers = np.zeros((len(table), table.shape[1] + 1), dtype=np.int64)
    xors[:, 1:] = np.bitwise_xor.accumulate(table.astype(np.int64), axis=1)
    return sums, xors


def _computed(kind: ChecksumKind, total: Numbers, folded: Numbers, mask: int) -> Numbers:
    if kind == "xor":
        return folded & mask
    if kind == "sum":
        return total & mask
    if kind == "twos":
        return -total & mask
    return ~total & mask
