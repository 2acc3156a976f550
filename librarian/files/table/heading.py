"""The first row of a table: which column is what, and which sign stands between columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from librarian.errors import BadInput
from librarian.files.table.cells import undone

COLUMNS = ("name", "instrument", "chart", "revision", "tags", "note", "taken", "values")
"""Columns that say what the sound is; every other one is a parameter, by its id. Only the name has to be there."""
MOST_COLUMNS = 5_000
SEPARATORS = (",", ";", "\t")
_NAMES = {",": "commas", ";": "semicolons", "\t": "tabs"}
_LISTED = 6
_HEX = re.compile(r"\s*(?:0x|\$)?F0h?(?:[\s,;]+(?:0x|\$)?[0-9A-F]{2}h?)*[\s,;]*(?:F7|$)", re.IGNORECASE)
"""A listing of bytes in hexadecimal, which may have commas too."""


@dataclass(frozen=True)
class Heading:
    """`place`: heading -> number of its column. `separator` stands between cells."""

    separator: str
    place: Mapping[str, int]
    width: int

    def cell(self, row: Sequence[str], column: str) -> str:
        """The cell of a row as it stands there, '' where the row ends before it or the table has no such column."""
        at = self.place.get(column, -1)
        return row[at] if 0 <= at < len(row) else ""

    @property
    def parameters(self) -> tuple[str, ...]:
        """The headings that are no fixed column, in their order."""
        return tuple(name for name in self.place if name not in COLUMNS)


def title_of(parameter: str) -> str:
    """The heading of a parameter: its id, unless a fixed column is called so."""
    return f"parameter {parameter}" if parameter.casefold() in COLUMNS else parameter


def looks_like(head: bytes, suffix: str) -> bool:
    """Whether a file that begins so is a table: text whose first line has columns, one of them the name."""
    text = _text(head)
    if text is None:
        return False
    line = next((each for each in text.lstrip("\ufeff").splitlines() if each.strip()), "")
    # Quotation marks around the first heading only are what some programs write.
    titles = [{_title(cell) for cell in _cut(line, separator)} for separator in SEPARATORS]
    if any("name" in each and len(each) > 1 for each in titles):
        return True
    return suffix in (".csv", ".tsv", ".tab") and bool(line) and _HEX.match(line) is None


def read(line: Sequence[str], separator: str) -> Heading:
    """The heading out of its cells. Raises BadInput for columns that cannot be told apart, or without a name."""
    if len(line) > MOST_COLUMNS:
        raise BadInput(
            f"The table has {len(line):,} columns; {MOST_COLUMNS:,} are the most.", "Choose a table of sounds."
        )
    place: dict[str, int] = {}
    for number, cell in enumerate(line):
        title = _title(cell)
        if not title:
            continue
        if title in place:
            raise BadInput(
                f"Two columns of the table are called “{title[:40]}”: {place[title] + 1} and {number + 1}.",
                "Rename or delete one of them.",
            )
        place[title] = number
    if "name" not in place:
        there = ", ".join(f"“{each[:20]}”" for each in list(place)[:_LISTED]) or "nothing"
        raise BadInput(
            f"The first row of the table has no column “name”; it has {there}.",
            f"The first row says what the columns are: {', '.join(COLUMNS)}, and ids of parameters.",
        )
    return Heading(separator, place, len(line))


def separator_of(line: str, parameters: Iterable[str] = ()) -> str:
    """The sign between the columns: the one by which most headings are known. Raises BadInput when none fits."""
    known = {*COLUMNS, *parameters}
    scores = {each: len(known.intersection(map(_title, _cut(line, each)))) for each in SEPARATORS}
    best = max(SEPARATORS, key=lambda each: (scores[each], line.count(each)))
    if not scores[best]:
        raise BadInput(
            f"The first row of the table, “{line[:60]}”, has no heading that is known.",
            f"Columns are separated by {', '.join(_NAMES.values())}; one is “name”, the others ids of parameters.",
        )
    return best


def _cut(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []


def _title(cell: str) -> str:
    title = undone(cell.strip()).strip()
    return title.casefold() if title.casefold() in COLUMNS else title


def _text(head: bytes) -> str | None:
    """The beginning of a text file, None where it is none."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head[: len(head) & ~1].decode("utf-16", "replace")
    if b"\x00" in head.partition(b"\n")[0] or head[:1] == b"\xf0":
        return None
    try:
        return head.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        cut_off = error.start >= len(head) - 3
        return head.decode("utf-8-sig", "ignore") if cut_off else head.decode("cp1252", "replace")
