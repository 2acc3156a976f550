"""Sections and parameters of the running chart."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.chart import Section
from librarian.chart.check.parameters import span_of
from librarian.chart.controllers.binding import Binding
from librarian.chart.display.scale import Scale
from librarian.chart.language.display import DisplayTable
from librarian.chart.language.flat import Flat
from librarian.chart.language.parameters import ParameterTable
from librarian.chart.language.root import ChartTable
from librarian.chart.parameter import Parameter


def build_scales(table: ChartTable, flat: Flat) -> dict[str, Scale]:
    """The display scale of every parameter, in chart order."""
    return {one.table.id: _scale(table, one.table) for one in flat.parameters}


def _scale(table: ChartTable, one: ParameterTable) -> Scale:
    low, high = span_of(one) or (0, 0)
    display = table.display[one.display] if isinstance(one.display, str) else one.display
    positions = tuple(one.positions or ())
    if one.kind == "switch" and not positions and high - low == 1 and display is None:
        positions = ("off", "on")
    return Scale(low, high, display if isinstance(display, DisplayTable) else None, positions)


def build_sections(
    table: ChartTable,
    flat: Flat,
    scales: Mapping[str, Scale],
    bindings: Mapping[str, tuple[Binding, ...]],
    dumped: frozenset[str],
) -> tuple[Section, ...]:
    """Sections by row and column, each with its parameters by cell. `dumped`: ids that some message carries."""
    inside: dict[str, list[ParameterTable]] = {section.table.id: [] for section in flat.sections}
    for one in flat.parameters:
        inside[one.table.section].append(one.table)
    placed: dict[int, set[int]] = {}
    for section in flat.sections:
        if section.table.column is not None:
            placed.setdefault(section.table.row, set()).add(section.table.column)
    built: list[Section] = []
    for section in flat.sections:
        row, column = section.table.row, section.table.column
        if column is None:
            taken = placed.setdefault(row, set())
            column = next(number for number in range(1, len(flat.sections) + 66) if number not in taken)
            taken.add(column)
        grid, cells = _cells(section.table.grid, inside[section.table.id])
        ordered = sorted(zip(cells, inside[section.table.id], strict=True), key=lambda pair: pair[0])
        parameters = tuple(
            _parameter(one, cell, scales[one.id], bindings[one.id], one.id in dumped, table.panel.takeover)
            for cell, one in ordered
        )
        built.append(Section(section.table.id, section.table.label, row, column, grid, parameters))
    return tuple(sorted(built, key=lambda section: (section.row, section.column)))


def _cells(grid: list[int] | None, tables: list[ParameterTable]) -> tuple[tuple[int, int], list[tuple[int, int]]]:
    """The grid of a section and the cell of each of its parameters; those without one take the next free."""
    wide = grid[1] if grid is not None else max([len(tables), *(one.cell[1] for one in tables if one.cell)])
    taken = {(one.cell[0], one.cell[1]) for one in tables if one.cell is not None}
    free = ((row, column) for row in range(1, 65537) for column in range(1, wide + 1) if (row, column) not in taken)
    cells = [(one.cell[0], one.cell[1]) if one.cell is not None else next(free) for one in tables]
    rows = grid[0] if grid is not None else max((row for row, _ in cells), default=1)
    return (rows, wide), cells


def _parameter(
    one: ParameterTable,
    cell: tuple[int, int],
    scale: Scale,
    bindings: tuple[Binding, ...],
    dumped: bool,
    takeover: str,
) -> Parameter:
    return Parameter(
        id=one.id,
        label=one.label,
        short=one.short or one.label,
        section=one.section,
        kind=one.kind,
        low=scale.low,
        high=scale.high,
        default=one.default,
        sound=not one.setup,
        positions=scale.positions,
        takeover=one.takeover if one.takeover is not None else takeover,
        bindings=bindings,
        scale=scale,
        dumped=dumped,
        by_hand=one.by_hand,
        cell=cell,
        size=one.size,
        beside=one.beside,
        note=one.note,
        centre=_centre(scale),
    )


def _centre(scale: Scale) -> int | None:
    """The value that reads 0, where readings lie on both sides of it."""
    curve = scale.curve
    if curve is None or not curve.ends[0] < 0 < curve.ends[1]:
        return None
    return curve.near(0.0)
