"""The window's grid: how much room each area gets at a given size. Arithmetic only.

Growing: the panel first, until controls are 60 px, then the table; from 1,680 px a drawer gets its own column.
Shrinking, in this order: key hints leave the buttons, the Binding column goes, the Section column narrows, one tag
row goes, labels take the chart's short name, the values fold to their title line. The last two, and the key hints,
the areas decide by themselves from the room they have.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from librarian.window.panel.grid import Texts, arrange, height_for, least_row_height

LEAST_WIDTH, LEAST_HEIGHT = 1024, 700
SMALL, USUAL, LARGE = 1024, 1280, 1920
DRAWER_COLUMN_FROM = 1680
PANEL_FOOT, VALUES_TITLE, VALUES_HEAD, VALUES_ROW = 6, 34, 22, 24
MOST_AIR = 24


def _between(value: float, stops: tuple[tuple[float, float], ...]) -> float:
    """Straight lines between (at, value) stops, level beyond the ends."""
    if value <= stops[0][0]:
        return stops[0][1]
    for (low, first), (high, second) in pairwise(stops):
        if value <= high:
            return first + (second - first) * (value - low) / (high - low)
    return stops[-1][1]


@dataclass(frozen=True)
class Grid:
    """Room for each area, px. `header_air`: added below the legend line.

    `drawer`: its width, 0 when none is open; `drawer_place`: "over" the collection, "instead" of it, or a "column"
    of its own at the right.
    """

    collection: int
    header_air: int
    tag_rows: int
    panel_height: int
    history: int
    drawer: int
    drawer_place: str


def collection_width(width: float) -> int:
    """248 at 1024, 320 at 1280, 400 at 1920."""
    return round(_between(width, ((SMALL, 248), (USUAL, 320), (LARGE, 400))))


def drawer_for(width: float) -> tuple[int, str]:
    """Width and place of a drawer."""
    if width >= DRAWER_COLUMN_FROM:
        return 420, "column"
    if width >= USUAL - 100:
        return 400, "instead"
    return 360, "over"


def panel_height(room: float, width: float, rows: list[tuple[int, str, list[str]]], texts: Texts) -> int:
    """How much of `room` (panel and values together) the panel takes at this width.

    `rows`: the sections as (row, id, controls). The values keep the rows that the grid names for such a room.
    """
    shape = arrange(rows, width, 10_000, texts)
    count = max(1, len(shape.rows))
    best = height_for(count, shape.diameter, texts) + count * MOST_AIR + PANEL_FOOT
    least = count * least_row_height(texts) + PANEL_FOOT
    # Rows of values that the grid keeps visible at 1024 x 700, 1280 x 800, 1920 x 1080 and beyond.
    k = texts.title / Texts().title
    kept_rows = _between(room / k, ((442, 2.65), (526, 4.83), (788, 9.4), (1148, 14.0)))
    kept = (VALUES_TITLE + VALUES_HEAD + kept_rows * VALUES_ROW) * k
    folded = VALUES_TITLE * k
    wanted = min(best, room - kept)
    return round(max(min(least, room - folded), wanted))


def grid_for(
    width: float, height: float, *, rows: list[tuple[int, str, list[str]]], texts: Texts | None = None,
    drawer_open: bool = False, above: float = 126, header: float = 76,
) -> Grid:
    """The grid of a window's inside, px. `above`: menu bar and chain; `header`: the patch header without its air."""
    texts = texts or Texts()
    wide, place = drawer_for(width)
    drawer = wide if drawer_open else 0
    left = wide if drawer_open and place == "instead" else collection_width(width)
    right = wide if drawer_open and place == "column" else 0
    history = round(_between(height, ((LEAST_HEIGHT, 56), (740, 72), (800, 72), (1080, 80))))
    air = round(_between(width, ((USUAL, 0), (LARGE, 10))))
    room = height - above - header - air - history
    return Grid(
        collection=left, header_air=air, tag_rows=2 if width < USUAL - 100 or height < 760 else 3,
        panel_height=panel_height(room, width - left - right, rows, texts), history=history, drawer=drawer,
        drawer_place=place if drawer_open else "",
    )
