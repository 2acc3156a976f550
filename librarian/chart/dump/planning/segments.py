"""A frame laid out: every byte has one segment that says what it is. Offsets count from 0 within the frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from librarian.chart.dump.steps.checksum import Rule
from librarian.chart.dump.steps.number import Piece
from librarian.chart.dump.steps.packing import Packing

Role = Literal[
    "device", "channel", "slot", "version", "length", "address", "size", "wire_size", "packet", "parameter", "value"
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Constant:
    """Bytes that are always the same."""

    at: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Masked:
    """The constant nibble of a byte that also carries a number."""

    at: int
    mask: int
    value: int


@dataclass(frozen=True, slots=True)
class Number:
    """A number in the frame. On the wire it is `plus` higher than the number meant; `low`..`high` are numbers meant.

    `word`: what it is called (program, bank, ...). `fixed`: the one number it must have in this frame (lengths,
    versions), else None.
    """

    role: Role
    word: str
    at: int
    size: int
    pieces: tuple[Piece, ...]
    plus: int = 0
    low: int = 0
    high: int = 0
    fixed: int | None = None


@dataclass(frozen=True, slots=True)
class Reserved:
    """Bytes that are kept as they came."""

    at: int
    size: int
    fill: int
    name: str


@dataclass(frozen=True, slots=True)
class Sum:
    """A checksum over bytes `first` to `end` (exclusive); `unpacked`: areas count as their 8-bit content.

    `otherwise`: a number that stands for any checksum.
    """

    name: str
    at: int
    size: int
    pieces: tuple[Piece, ...]
    rule: Rule
    first: int
    end: int
    unpacked: bool
    otherwise: int | None = None


@dataclass(frozen=True, slots=True)
class Area:
    """Data: `units` pieces of `unit_size` bytes, each unpacked for itself to `inner` or `count` images of a layout.

    `repeats`: a group that stands several times, or (its number varies) could. `layout` '' and no `inner`: bytes of
    one message of several.
    """

    name: str
    at: int
    units: int
    unit_size: int
    raw_size: int
    packing: Packing
    layout: str = ""
    count: int = 1
    inner: Frame | None = None
    repeats: bool = False

    @property
    def size(self) -> int:
        """Bytes on the wire."""
        return self.units * self.unit_size

    @property
    def times(self) -> int:
        """How many programs it holds."""
        return self.units * self.count


Segment = Constant | Masked | Number | Reserved | Sum | Area


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame of exactly `size` bytes. `ranges`: part name -> its first byte and end. `version`: for which layout."""

    size: int
    segments: tuple[Segment, ...]
    ranges: Mapping[str, tuple[int, int]]
    version: int | None = None

    @property
    def areas(self) -> tuple[Area, ...]:
        """The data parts and groups, in order."""
        return tuple(each for each in self.segments if isinstance(each, Area))

    @property
    def numbers(self) -> tuple[Number, ...]:
        """The numbers, in order."""
        return tuple(each for each in self.segments if isinstance(each, Number))

    def layouts(self) -> dict[str, tuple[str, int]]:
        """Data part -> (layout, number of programs), groups included."""
        found: dict[str, tuple[str, int]] = {}
        for area in self.areas:
            if area.inner is not None:
                found |= {name: (layout, times * area.units) for name, (layout, times) in area.inner.layouts().items()}
            elif area.layout:
                found[area.name] = (area.layout, area.times)
        return found
