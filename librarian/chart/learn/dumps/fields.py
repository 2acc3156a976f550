"""Fields of neighbouring bits that explain all moves of one control."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from librarian.chart.dump.steps.number import Coding, Order, Piece, pieces_of_digits
from librarian.chart.learn.dumps.evidence import Bytes, Dial
from librarian.chart.learn.dumps.guess import Guess, coding_keys, codings

LONGEST = 4
MOST_CODES = 32


def fields(
    dial: Dial, images: Bytes, mask: Bytes, foreign: Bytes, known: Sequence[tuple[int, int]], digits: Sequence[int]
) -> list[Guess]:
    """Every such field, the likeliest first.

    `mask`: bits that moved with the control. `foreign`: bits that moved with others. `known`: (row, value). `digits`:
    how many bits a byte may carry, the usual one first.
    """
    places = np.flatnonzero(mask)
    if not len(places) or not known:
        return []
    first, last = int(places[0]), int(places[-1])
    count = last - first + 1
    if count > LONGEST:
        return []
    region = images[:, first : last + 1]
    samples = sorted({(bytes(region[row]), value) for row, value in known})
    if not _one_for_one(samples):
        return []
    found: dict[tuple[Any, ...], Guess] = {}
    for digit in digits:
        if int(region.max()) >> digit or (count == 1 and digit != digits[0]):
            continue
        for order in _orders(count):
            shape = _Shape(first, count, order, digit, digits[0])
            for guess in shape.guesses(dial, samples, bytes(mask[first : last + 1]), bytes(foreign[first : last + 1])):
                found.setdefault((guess.pieces, guess.coding), guess)
    return sorted(found.values(), key=lambda one: one.cost)


def _orders(count: int) -> tuple[Order, ...]:
    return ("msb_first",) if count == 1 else ("msb_first", "lsb_first")


def _one_for_one(samples: Sequence[tuple[bytes, int]]) -> bool:
    """One region may hold several others' bits, but the same bytes cannot mean two values."""
    meant: dict[bytes, int] = {}
    return all(meant.setdefault(region, value) == value for region, value in samples)


class _Shape:
    """Bytes that are read as one number."""

    def __init__(self, at: int, count: int, order: Order, digit: int, usual: int) -> None:
        self.at, self.count, self.order, self.digit, self.usual = at, count, order, digit, usual

    def number(self, region: bytes) -> int:
        mask = (1 << self.digit) - 1
        value = 0
        for byte in region if self.order == "msb_first" else reversed(region):
            value = value << self.digit | byte & mask
        return value

    def guesses(self, dial: Dial, samples: Sequence[tuple[bytes, int]], mask: bytes, foreign: bytes) -> Iterator[Guess]:
        moved, others = self.number(mask), self.number(foreign)
        numbers = [(self.number(region), value) for region, value in samples]
        lowest, highest = (moved & -moved).bit_length() - 1, moved.bit_length() - 1
        for low in range(lowest, -1, -1):
            if low < lowest and others >> low & 1:
                break
            done: set[tuple[str, bool]] = set()
            for high in range(highest, self.count * self.digit):
                if high > highest and others >> high & 1:
                    break
                width = high - low + 1
                raws = [(number >> low & (1 << width) - 1, value) for number, value in numbers]
                for coding in codings(width, dial.low, raws):
                    kind = (coding.name, coding.inverted)
                    usual = coding.zero is None
                    if kind in done and not (usual and coding.name == "offset"):
                        continue
                    guess = self._guess(low, high, coding)
                    if guess.holds(dial.low, dial.high):
                        done.add(kind)
                        yield guess
        yield from self._codes(dial, numbers, lowest, highest)

    def _codes(self, dial: Dial, numbers: Sequence[tuple[int, int]], low: int, high: int) -> Iterator[Guess]:
        """A table of codes, once every position was seen."""
        width = high - low + 1
        meant = {value: number >> low & (1 << width) - 1 for number, value in numbers}
        if dial.size > MOST_CODES or len(meant) != dial.size or len(set(meant.values())) != dial.size:
            return
        table = tuple(meant[value] for value in range(dial.low, dial.high + 1))
        if all((number >> low & (1 << width) - 1) == meant[value] for number, value in numbers):
            yield self._guess(low, high, Coding(width, codes=table, first=dial.low))

    def _guess(self, low: int, high: int, coding: Coding) -> Guess:
        pieces: tuple[Piece, ...] = pieces_of_digits(self.at, self.count, self.order, self.digit, low, high)
        keys: dict[str, Any] = {"at": self.at}
        cost = 1.0 * (self.count - 1)
        if self.count > 1:
            keys["bytes"] = self.count
        if self.order == "lsb_first":
            keys["order"] = self.order
            cost += 0.25
        if self.digit != self.usual:
            keys["digit"] = self.digit
            cost += 0.5
        top = self.count * self.digit - 1
        if (low, high) != (0, top):
            keys["bits"] = low if low == high else f"{low}-{high}"
            cost += (1.0 if low else 0.1) + (0.5 if self.count > 1 and high < top else 0.0)
        more, odd = coding_keys(coding)
        return Guess(pieces, coding, cost + odd, {**keys, **more})
