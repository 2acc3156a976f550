"""The front panel: sections exist and are not empty, cells can be reached and are taken once."""

from __future__ import annotations

from collections import defaultdict

from librarian.chart.faults import Path
from librarian.chart.language.flat import Flat, FlatParameter, FlatSection
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble
from librarian.chart.nearest import nearest


def check_panel(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report what could not be drawn."""
    sections = {section.table.id: section for section in flat.sections}
    astray = False
    held: dict[str, list[FlatParameter]] = defaultdict(list)
    ids = {one.table.id for one in flat.parameters}
    for one in flat.parameters:
        name = one.table.section
        if name in sections:
            held[name].append(one)
        else:
            astray = True
            _no_such_section(sifted, one, sections, trouble)
        beside = one.table.beside
        if beside is not None and beside not in ids and beside not in sifted.broken:
            near = nearest(beside, ids)
            trouble.add(
                (*one.path, "beside"),
                f"There is no parameter “{beside[:60]}”.",
                f"Did you mean “{near}”?" if near else "Name a neighbouring parameter.",
            )
    if not flat.parameters and not sifted.broken_tables & {"parameter", "group"}:
        trouble.add((), "The chart has no parameter.", "Add at least one [[parameter]].")
    if not flat.sections and not sifted.broken_tables & {"section", "group"}:
        trouble.add((), "The chart has no section.", "Add at least one [[section]]; every parameter stands in one.")
    _places(flat.sections, trouble)
    for section in flat.sections:
        inside = held.get(section.table.id, [])
        if not inside and not astray and not sifted.broken_tables & {"parameter", "group"}:
            trouble.add(
                section.path,
                f"No parameter stands in the section “{section.table.id}”.",
                "Remove it, or name it in the section of a parameter.",
            )
        _cells(section, inside, trouble)


def _no_such_section(sifted: Sifted, one: FlatParameter, sections: dict[str, FlatSection], trouble: Trouble) -> None:
    name = one.table.section
    if name in sifted.broken:
        return
    near = nearest(name, sections)
    remedy = f"Did you mean “{near}”?" if near else "Add it as [[section]], or name one that exists."
    trouble.add((*one.path, "section"), f"There is no section “{name[:60]}”.", remedy)


def _places(sections: list[FlatSection], trouble: Trouble) -> None:
    taken: dict[tuple[int, int], str] = {}
    for section in sections:
        column = section.table.column
        if column is None:
            continue
        place = (section.table.row, column)
        if place in taken:
            trouble.add(
                (*section.path, "column"),
                f"Row {place[0]}, column {place[1]} of the panel is taken by “{taken[place]}”.",
                "Choose another column.",
            )
        taken.setdefault(place, section.table.id)


def _cells(section: FlatSection, inside: list[FlatParameter], trouble: Trouble) -> None:
    grid = section.table.grid
    rows, columns = grid if grid is not None else (64, 64)
    taken: dict[tuple[int, int], str] = {}
    for one in inside:
        if one.table.cell is None:
            continue
        row, column = one.table.cell
        where: Path = (*one.path, "cell")
        if grid is not None and (row > rows or column > columns):
            trouble.add(
                where,
                f"The cell row {row}, column {column} cannot be reached: the section "
                f"“{section.table.id}” has {rows} rows of {columns}.",
                "Choose a cell inside, or make the grid larger.",
            )
        if (row, column) in taken:
            trouble.add(
                where,
                f"The cell row {row}, column {column} is taken by “{taken[row, column]}”.",
                "Choose another cell.",
            )
        taken.setdefault((row, column), one.table.id)
    if grid is not None and len(inside) > rows * columns:
        trouble.add(
            (*section.path, "grid"),
            f"{len(inside)} controls do not fit into {rows} rows of {columns}.",
            "Make the grid larger.",
        )
