"""Numbers in dumps: digits of 4, 7 or 8 bits in either order, signs in every common way, bits spread over places.

A number is read in two steps that are kept apart: bits are collected from bytes into one unsigned integer `raw`
(`read_digits`, `read_pieces`), and a `Coding` says which value that raw integer means.
Examples: MIDI 1.0 Detailed Specification 4.2.1 p.39 (left-justified words), the rest common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Order = Literal["msb_first", "lsb_first"]
CodingName = Literal["plain", "offset", "twos", "sign"]


def read_digits(data: bytes, order: Order = "msb_first", digit: int = 7) -> int:
    """Joins bytes that carry `digit` bits each (4, 7 or 8) into one number. Bits above the digit are ignored."""
    mask = (1 << digit) - 1
    value = 0
    for byte in data if order == "msb_first" else reversed(data):
        value = value << digit | byte & mask
    return value


def write_digits(value: int, count: int, order: Order = "msb_first", digit: int = 7) -> bytes:
    """The inverse: `count` bytes. Raises OverflowError if the value needs more digits or is negative."""
    if value < 0 or value >> (count * digit):
        raise OverflowError(f"{value} does not fit {count} digits of {digit} bits")
    mask = (1 << digit) - 1
    digits = bytes(value >> (digit * place) & mask for place in range(count))
    return digits if order == "lsb_first" else digits[::-1]


@dataclass(frozen=True, slots=True)
class Piece:
    """`width` bits of byte `at`, beginning at bit `low` (0 = least), that stand at bit `place` of the raw number."""

    at: int
    low: int
    width: int
    place: int

    @property
    def mask(self) -> int:
        """The claimed bits of the byte."""
        return ((1 << self.width) - 1) << self.low


def pieces_of_digits(at: int, count: int, order: Order, digit: int, low: int, high: int) -> tuple[Piece, ...]:
    """The pieces of bits `low`..`high` of a number joined from `count` digits at byte `at` (highest bits first).

    bits 2-13 of two 7-bit digits is a left-justified 12-bit word.
    """
    pieces = []
    for index in range(count):  # index 0 = most significant digit
        byte = at + (index if order == "msb_first" else count - 1 - index)
        base = (count - 1 - index) * digit
        first, last = max(low, base), min(high, base + digit - 1)
        if first <= last:
            pieces.append(Piece(byte, first - base, last - first + 1, first - low))
    return tuple(pieces)


def read_pieces(data: bytes | bytearray, pieces: Sequence[Piece]) -> int:
    """Collects the raw number from its places."""
    raw = 0
    for piece in pieces:
        raw |= (data[piece.at] >> piece.low & (1 << piece.width) - 1) << piece.place
    return raw


def write_pieces(data: bytearray, pieces: Sequence[Piece], raw: int) -> None:
    """Puts the raw number into its places and leaves every other bit alone."""
    for piece in pieces:
        bits = (raw >> piece.place & (1 << piece.width) - 1) << piece.low
        data[piece.at] = data[piece.at] & ~piece.mask | bits


@dataclass(frozen=True, slots=True)
class Coding:
    """What a raw number of `bits` bits means.

    plain: itself. offset: raw - zero (zero defaults to half the range: offset binary). twos: two's complement.
    sign: top bit is the sign, the rest the amount (both zeros mean 0). `inverted`: all bits flipped before that.
    `codes`: sparse table, value `first` + i is stored as codes[i]; then name, zero and inverted are not used.
    """

    bits: int
    name: CodingName = "plain"
    zero: int | None = None
    inverted: bool = False
    codes: tuple[int, ...] | None = None
    first: int = 0

    def limits(self) -> tuple[int, int]:
        """Lowest and highest value that can be stored."""
        if self.codes is not None:
            return self.first, self.first + len(self.codes) - 1
        half, full = 1 << (self.bits - 1), (1 << self.bits) - 1
        if self.name == "offset":
            zero = half if self.zero is None else self.zero
            return -zero, full - zero
        if self.name == "twos":
            return -half, half - 1
        if self.name == "sign":
            return 1 - half, half - 1
        return 0, full

    def decode(self, raw: int) -> int | None:
        """The value, or None when `codes` has no such code."""
        if self.codes is not None:
            return self.first + self.codes.index(raw) if raw in self.codes else None
        half, full = 1 << (self.bits - 1), (1 << self.bits) - 1
        if self.inverted:
            raw ^= full
        if self.name == "offset":
            return raw - (half if self.zero is None else self.zero)
        if self.name == "twos":
            return raw - (full + 1) if raw & half else raw
        if self.name == "sign":
            return -(raw & ~half) if raw & half else raw
        return raw

    def encode(self, value: int) -> int:
        """The raw number. Raises OverflowError outside `limits()`."""
        low, high = self.limits()
        if not low <= value <= high:
            raise OverflowError(f"{value} is outside {low} to {high}")
        if self.codes is not None:
            return self.codes[value - self.first]
        half, full = 1 << (self.bits - 1), (1 << self.bits) - 1
        raw = value
        if self.name == "offset":
            raw = value + (half if self.zero is None else self.zero)
        elif self.name == "twos":
            raw = value & full
        elif self.name == "sign":
            raw = half - value if value < 0 else value
        return raw ^ full if self.inverted else raw
