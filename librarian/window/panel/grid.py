"""Where sections and controls stand on the panel at a given size. Arithmetic only, no widgets.

Sections keep the chart's rows. The cell width is (width - 28 - 18 per gap) / most controls in a row, 52 to 96 px;
a row that would need narrower cells is broken into several, and so is a section that is too long for one row.
Sections of a row are spread from edge to edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from librarian.window.paint.controls import LARGEST, SMALLEST

EDGE, LEAST_GAP = 14, 18
NARROWEST, WIDEST = 52, 96
GUIDE_SHARE, GUIDE_LARGEST, SHARE = 0.76, 50, 0.62


@dataclass(frozen=True)
class Texts:
    """Heights of the text lines at the present text size, px: section title, label, value."""

    title: int = 16
    label: int = 14
    value: int = 15

    @property
    def beside_control(self) -> int:
        """What a row needs besides the control: texts, 4 px above it, 1 below, 2 of air."""
        return self.title + 4 + 1 + self.label + self.value + 2


@dataclass(frozen=True)
class Piece:
    """A section, or the part of it that stands in one row: its title and controls with their left edges."""

    section: str
    first: bool
    parameters: tuple[str, ...]
    left: float
    right: float


@dataclass(frozen=True)
class Arrangement:
    """The whole panel. `rows`: pieces row by row; lengths in px. A cell's height is `cell_height`."""

    rows: tuple[tuple[Piece, ...], ...]
    cell_width: float
    row_height: float
    diameter: float
    visible_rows: int
    texts: Texts

    @property
    def cell_height(self) -> float:
        """From 3 px above the control to 1 px under the value."""
        return self.diameter + 4 + self.texts.label + self.texts.value + 1

    @property
    def scrolls(self) -> bool:
        """True when not all rows of sections can be seen at once."""
        return self.visible_rows < len(self.rows)


Group = tuple[str, Sequence[str]]


def broken_into_rows(groups: Sequence[tuple[int, str, Sequence[str]]], width: float) -> list[list[tuple[Group, bool]]]:
    """Sections as (row, id, controls) into rows that fit `width` with cells of 52 px; True marks a section's start."""
    made: list[list[tuple[Group, bool]]] = []
    room = width - 2 * EDGE
    most = max(1, int(room // NARROWEST))
    last_row: int | None = None
    for row, section, controls in groups:
        parts = [controls[at : at + most] for at in range(0, len(controls), most)] or [controls]
        for index, part in enumerate(parts):
            fits = False
            if made and row == last_row and index == 0:
                count = sum(len(group[1]) for group, _ in made[-1]) + len(part)
                fits = count * NARROWEST + LEAST_GAP * len(made[-1]) <= room
            if not fits:
                made.append([])
            made[-1].append(((section, part), index == 0))
        last_row = row
    return made


def arrange(
    groups: Sequence[tuple[int, str, Sequence[str]]], width: float, height: float, texts: Texts | None = None,
    *, guide: bool = False,
) -> Arrangement:
    """Lay out sections given as (row, section id, parameter ids) in order."""
    texts = texts or Texts()
    rows = broken_into_rows(groups, width)
    needed = [
        (width - 2 * EDGE - LEAST_GAP * (len(row) - 1)) / max(1, sum(len(group[1]) for group, _ in row))
        for row in rows
    ]
    cell = max(NARROWEST, min([WIDEST, *needed]))
    least_row = least_row_height(texts)
    visible = len(rows)
    if rows and height / len(rows) < least_row:
        visible = max(1, int(height // least_row))
    row_height = max(least_row, height / max(1, visible))
    share, largest = (GUIDE_SHARE, GUIDE_LARGEST) if guide else (SHARE, LARGEST)
    diameter = max(SMALLEST, min(largest, share * cell, row_height - texts.beside_control))
    placed = tuple(_spread(row, cell, width) for row in rows)
    return Arrangement(placed, cell, row_height, diameter, visible, texts)


def _spread(row: Sequence[tuple[Group, bool]], cell: float, width: float) -> tuple[Piece, ...]:
    """Pieces from the left edge to the right one, the free room shared by the gaps."""
    taken = sum(len(group[1]) for group, _ in row) * cell
    gaps = len(row) - 1
    gap = max(float(LEAST_GAP), (width - 2 * EDGE - taken) / gaps) if gaps else 0.0
    made = []
    x = float(EDGE)
    for (section, controls), first in row:
        right = x + len(controls) * cell
        made.append(Piece(section, first, tuple(controls), x, right))
        x = right + gap
    return tuple(made)


def least_row_height(texts: Texts) -> int:
    """The lowest row of sections: the smallest control, and one px of air less than usual."""
    return texts.beside_control + SMALLEST - 1


def height_for(rows: int, diameter: float, texts: Texts | None = None) -> float:
    """Height of so many rows of sections with controls of this diameter."""
    return rows * ((texts or Texts()).beside_control + diameter)
