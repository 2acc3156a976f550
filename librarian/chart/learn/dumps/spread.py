"""Values spread over several places: each bit of the number is found by when it was set and when not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from librarian.chart.dump.steps.number import Coding, Piece
from librarian.chart.learn.dumps.evidence import Bytes, Dial
from librarian.chart.learn.dumps.guess import Guess, coding_keys

Bit = tuple[int, int]
MOST_BITS = 28


@dataclass(frozen=True, slots=True)
class Unsettled:
    """A coding under which the bits seen could be right, but some cannot be told apart yet. `classes`: how many can."""

    coding: Coding
    values: tuple[int, ...]

    def classes(self, value: int | None = None) -> int:
        """How many bits of the number differ from all others after one more dump, with this value."""
        values = self.values if value is None else (*self.values, value)
        raws = [self.coding.encode(one) for one in values]
        signs = [tuple(raw >> bit & 1 for raw in raws) for bit in range(self.coding.bits)]
        return len({sign for sign in signs if len(set(sign)) > 1})


def spread(
    dial: Dial, images: Bytes, mask: Bytes, known: Sequence[tuple[int, int]]
) -> tuple[list[Guess], list[Unsettled]]:
    """Guesses whose bits are all told apart, and codings that need more dumps.

    `mask`: bits that moved with the control; `known`: (row, value).
    """
    bits = [(int(at), bit) for at in np.flatnonzero(mask) for bit in range(8) if int(mask[at]) >> bit & 1]
    if not bits or len(bits) > MOST_BITS or len({value for _, value in known}) < 2:
        return [], []
    rows = [row for row, _ in known]
    values = [value for _, value in known]
    seen: dict[tuple[int, ...], list[Bit]] = {}
    for at, bit in bits:
        seen.setdefault(tuple(int(images[row, at]) >> bit & 1 for row in rows), []).append((at, bit))
    guesses: list[Guess] = []
    unsettled: list[Unsettled] = []
    idle = [sign for sign in seen if len(set(sign)) == 1]  # moved once, from where nobody knows
    for sign in idle:
        del seen[sign]
    for coding in _codings(dial):
        raws = [coding.encode(value) for value in values]
        signs = [tuple(raw >> bit & 1 for raw in raws) for bit in range(coding.bits)]
        moving = [sign for sign in signs if len(set(sign)) > 1]
        if set(moving) != set(seen) or any(moving.count(sign) != len(places) for sign, places in seen.items()):
            continue
        if not idle and len(moving) == coding.bits and all(len(places) == 1 for places in seen.values()):
            guesses.append(_guess(coding, [seen[sign][0] for sign in signs]))
        else:
            unsettled.append(Unsettled(coding, tuple(dict.fromkeys(values))))
    return sorted(guesses, key=lambda one: one.cost), unsettled


def _codings(dial: Dial) -> Iterator[Coding]:
    """The codings that a spread value may have; the width is what the range needs."""
    if dial.low >= 0:
        bits = max(dial.high.bit_length(), 1)
        yield Coding(bits)
        yield Coding(bits, inverted=True)
    if dial.low:
        bits = (dial.high - dial.low).bit_length()
        yield Coding(bits, "offset", -dial.low)
    if dial.low < 0:
        bits = max((-dial.low - 1).bit_length(), dial.high.bit_length()) + 1
        yield Coding(bits, "twos")
        for width in (bits, *(usual for usual in (7, 8, 14, 16) if usual > bits)):
            yield Coding(width, "offset")
        if -dial.low < 1 << (bits - 1):
            yield Coding(bits, "sign")


def _guess(coding: Coding, places: Sequence[Bit]) -> Guess:
    """`places`: of each bit of the number, lowest first."""
    pieces: list[Piece] = []
    for place in range(len(places) - 1, -1, -1):
        at, bit = places[place]
        last = pieces[-1] if pieces else None
        if last is not None and last.at == at and last.low == bit + 1:
            pieces[-1] = Piece(at, bit, last.width + 1, place)
        else:
            pieces.append(Piece(at, bit, 1, place))
    said = [
        {"at": one.at, "bits": one.low if one.width == 1 else f"{one.low}-{one.low + one.width - 1}"} for one in pieces
    ]
    keys, odd = coding_keys(coding)
    return Guess(tuple(pieces), coding, 3.0 + len(pieces) + odd, {"pieces": said, **keys})
