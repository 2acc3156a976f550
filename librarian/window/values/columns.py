"""The columns of the values table: which there are, and how wide, at a given width. Arithmetic only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.window.shown.sheet import Mode

Column = Literal["mark", "section", "parameter", "a", "second", "difference", "range", "why", "binding"]

MARK, PARAMETER, BINDING, RIGHT_EDGE = 40, 132, 87, 5
SECTION, SECTION_NARROW, WIDE_SECTION_FROM, BINDING_FROM = 132, 96, 790, 811
NUMBER, SECOND, DIFFERENCE = 74, 106, 114
RANGE_GAP, RANGE_MOST = 26, 520
USUAL = 951
SHARES: dict[str, float] = {"section": 0.18, "parameter": 0.15, "a": 0.03, "second": 0.03, "difference": 0.03}
"""What the columns take of the room beyond the usual; the range strip takes the rest."""


@dataclass(frozen=True)
class Columns:
    """Columns from left to right with their widths, px; they fill the width given."""

    names: tuple[Column, ...]
    widths: tuple[int, ...]


def columns_for(mode: Mode, width: int, factor: float = 1.0) -> Columns:
    """Shrinking: the Binding column goes first, then the Section column narrows."""
    k = factor
    with_binding = width / k >= BINDING_FROM
    section = SECTION if width / k >= WIDE_SECTION_FROM else SECTION_NARROW
    parts: list[tuple[Column, float]] = [("mark", MARK), ("section", section * k), ("parameter", PARAMETER * k)]
    parts.append(("a", NUMBER * k))
    if mode == "unknown":
        parts.append(("why", 0.0))
    else:
        parts += [("second", SECOND * k), ("difference", DIFFERENCE * k), ("range", 0.0)]
    if with_binding:
        parts.append(("binding", BINDING * k))
    beyond = max(0.0, width - USUAL * k)
    parts = [(name, wide + beyond * SHARES.get(name, 0.0)) for name, wide in parts]
    taken = sum(wide for _, wide in parts)
    rest = max(0.0, width - taken)
    names = tuple(name for name, _ in parts)
    widths = [round(wide) if wide else round(rest) for _, wide in parts]
    return Columns(names, tuple(widths))
