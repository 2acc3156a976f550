"""Each parameter by itself: range, positions, default, display."""

from __future__ import annotations

from librarian.chart.language.display import DisplayTable
from librarian.chart.language.flat import Flat, FlatParameter
from librarian.chart.language.parameters import ParameterTable
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble
from librarian.chart.nearest import nearest

MOST_SWITCH_POSITIONS = 3


def span_of(table: ParameterTable) -> tuple[int, int] | None:
    """Lowest and highest value, or None when the table says neither a range nor positions."""
    if table.range is not None:
        return table.range[0], table.range[1]
    if table.positions is not None:
        return 0, len(table.positions) - 1
    return (0, 1) if table.kind == "switch" else None


def check_parameters(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report ranges, positions, defaults and displays that do not fit."""
    for one in flat.parameters:
        _range(one, trouble)
        _display(sifted, one, trouble)


def _range(one: FlatParameter, trouble: Trouble) -> None:
    table, path = one.table, one.path
    span = span_of(table)
    if span is None:
        trouble.add(
            (*path, "range"),
            f"“{table.id}” has neither a range nor positions.",
            "Add range = [0, 127], or positions = [“…”, “…”].",
        )
        return
    low, high = span
    if low >= high:
        trouble.add(
            (*path, "range"), f"The range {low} to {high} holds no two values.", "Write the lowest value first."
        )
        return
    count = high - low + 1
    if table.positions is not None and len(table.positions) != count:
        trouble.add(
            (*path, "positions"),
            f"{len(table.positions)} positions are named, but the range {low} to {high} has {count}.",
            "Name each, or leave the range out.",
        )
    if table.positions is not None and table.kind in {"continuous", "bipolar"}:
        trouble.add(
            (*path, "kind"), f"A {table.kind} control has no named positions.", "Write kind = “stepped” or “switch”."
        )
    if table.positions is not None:
        _same_names(one, table.positions, trouble)
    if table.kind == "switch" and count > MOST_SWITCH_POSITIONS:
        trouble.add((*path, "kind"), f"A switch has 2 or 3 positions, this one {count}.", "Write kind = “stepped”.")
    if table.default is not None and not low <= table.default <= high:
        trouble.add(
            (*path, "default"),
            f"The default {table.default} is outside the range {low} to {high}.",
            f"Write a number from {low} to {high}.",
        )


def _same_names(one: FlatParameter, names: list[str], trouble: Trouble) -> None:
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name.casefold() in seen:
            trouble.add(
                (*one.path, "positions", index), f"Two positions are called “{name}”.", "Give each its own name."
            )
        seen.add(name.casefold())


def _display(sifted: Sifted, one: FlatParameter, trouble: Trouble) -> None:
    table, path = one.table, (*one.path, "display")
    display = table.display
    if display is None:
        return
    if table.positions is not None:
        trouble.add(path, "Named positions need no display.", "Leave out display, or positions.")
        return
    if isinstance(display, str):
        shared = sifted.table.display.get(display)
        if shared is None:
            if display not in sifted.broken:
                near = nearest(display, sifted.table.display)
                trouble.add(
                    path,
                    f"There is no display “{display[:60]}”.",
                    f"Did you mean “{near}”?" if near else "Add it as [display.NAME], or write a table.",
                )
            return
        display = shared
    span = span_of(table)
    if span is not None and isinstance(display, DisplayTable) and display.points is not None:
        low, high = span
        low += display.ends is not None and display.ends.low is not None
        high -= display.ends is not None and display.ends.high is not None
        if display.points[0][0] > low or display.points[-1][0] < high:
            first, last = display.points[0][0], display.points[-1][0]
            trouble.add(
                path,
                f"The points of the display run from {first:g} to {last:g}, the range from {low} to {high}.",
                "Add points for both ends.",
            )
