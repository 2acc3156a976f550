"""A guess of where and how one parameter is stored: its places, its coding, and how the chart would say it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from librarian.chart.dump.steps.number import Coding, Piece, read_pieces, write_pieces


@dataclass(frozen=True, slots=True)
class Guess:
    """`keys`: of the field in the chart language, without `of`. `cost`: how odd it would be; the least is likeliest."""

    pieces: tuple[Piece, ...]
    coding: Coding
    cost: float
    keys: Mapping[str, Any] = field(compare=False)

    def value(self, image: bytes) -> int | None:
        """The value that it reads in unpacked data."""
        return self.coding.decode(read_pieces(image, self.pieces))

    def image(self, image: bytes, value: int) -> bytes:
        """The unpacked data with this value written into it."""
        changed = bytearray(image)
        write_pieces(changed, self.pieces, self.coding.encode(value))
        return bytes(changed)

    def holds(self, *values: int) -> bool:
        """Whether all of these can be stored."""
        low, high = self.coding.limits()
        return low <= min(values) and max(values) <= high

    @property
    def bits(self) -> set[tuple[int, int]]:
        """The (byte, bit) that it claims."""
        return {(one.at, one.low + bit) for one in self.pieces for bit in range(one.width)}


def coding_keys(coding: Coding) -> tuple[dict[str, Any], float]:
    """How the chart says a coding, and how odd it is."""
    if coding.codes is not None:
        return {"codes": list(coding.codes)}, 1.5
    keys: dict[str, Any] = {}
    cost = 0.0
    if coding.name != "plain":
        keys["coding"] = coding.name
        cost = {"offset": 0.2, "twos": 0.2, "sign": 0.4}[coding.name]
    if coding.zero is not None:
        keys["zero"] = coding.zero
        cost += 0.4
    if coding.inverted:
        keys["inverted"] = True
        cost += 0.4
    return keys, cost


def codings(bits: int, low: int, samples: Sequence[tuple[int, int]]) -> list[Coding]:
    """The codings of `bits` bits that read every (raw number, value) of the samples right."""
    half, full = 1 << (bits - 1), (1 << bits) - 1
    raw, value = samples[0]
    tried = [Coding(bits)]
    zero = raw - value
    if zero:
        tried.append(Coding(bits, "offset", None if zero == half else zero))
    if low < 0:
        tried += [Coding(bits, "twos"), Coding(bits, "sign")]
    tried.append(Coding(bits, inverted=True))
    zero = (raw ^ full) - value
    if zero:
        tried.append(Coding(bits, "offset", None if zero == half else zero, inverted=True))
    if low < 0:
        tried += [Coding(bits, "twos", inverted=True), Coding(bits, "sign", inverted=True)]
    return [one for one in tried if all(one.decode(raw) == value for raw, value in samples)]


def distinct(guesses: Sequence[Guess], image: bytes, value: int) -> int:
    """How many different dumps these guesses foretell for a value."""
    return len({guess.image(image, value) for guess in guesses})
