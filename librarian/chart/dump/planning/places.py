"""What a layout says once it is written out: every field, repeated or not, with its exact bits."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.chart.dump.planning.problem import Problem
from librarian.chart.dump.steps.number import Coding, Piece
from librarian.chart.dump.steps.text import NameCoding

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class PlacedField:
    """One parameter in the data. `low`, `high`: values that this field can hold and the parameter can take.

    `first`, `width`: its bytes, when they are side by side (width 0: spread). `number`: for single-parameter messages.
    """

    id: str
    pieces: tuple[Piece, ...]
    coding: Coding
    low: int
    high: int
    path: Path
    first: int = 0
    width: int = 0
    number: int | None = None


@dataclass(frozen=True, slots=True)
class PlacedName:
    """The name in the data: the pieces of every character, first character first."""

    characters: tuple[tuple[Piece, ...], ...]
    coding: NameCoding
    path: Path


@dataclass(frozen=True, slots=True)
class PlacedGap:
    """Bytes `at` to `at + size - 1` that nothing explains."""

    at: int
    size: int
    fill: int
    label: str


@dataclass(slots=True)
class Places:
    """A layout written out. `size`: bytes. `problems`: everything that was found wrong; then the rest is not used."""

    fields: list[PlacedField] = field(default_factory=list)
    name: PlacedName | None = None
    gaps: list[PlacedGap] = field(default_factory=list)
    size: int = 0
    fill: int = 0
    problems: list[Problem] = field(default_factory=list)

    @property
    def ids(self) -> frozenset[str]:
        """The parameters it carries."""
        return frozenset(each.id for each in self.fields)

    @property
    def highest_bit(self) -> int:
        """The highest bit of a byte that anything uses, -1 for none."""
        pieces = [piece for each in self.fields for piece in each.pieces]
        if self.name is not None:
            pieces += [piece for character in self.name.characters for piece in character]
        return max((piece.low + piece.width - 1 for piece in pieces), default=-1)

    def cannot_travel_plain(self, layout: str) -> tuple[str, str] | None:
        """Why this layout needs packed data, and what to write; None if it does not."""
        if self.highest_bit > 6:
            return (
                f"The layout {layout} uses bit 7 of a byte, which cannot travel unpacked.",
                "Say how the data is packed, or use 7 bits in the layout (digit = 7).",
            )
        fill = max([self.fill, *(gap.fill for gap in self.gaps)])
        if fill > 0x7F:
            return (
                f"The layout {layout} fills unexplained bytes with {fill}, which cannot travel unpacked.",
                "Write a fill from 0 to 127.",
            )
        return None
