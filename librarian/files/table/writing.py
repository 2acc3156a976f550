"""Sounds as a table: one a row, a column for every parameter by its id."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.files.table.cells import defused, tags_cell, value_cell
from librarian.files.table.heading import COLUMNS, title_of
from librarian.messages import Version


@dataclass(frozen=True, slots=True)
class TableRow:
    """One sound of a table."""

    name: str
    instrument: str
    tags: tuple[str, ...]
    note: str
    chart: Chart
    version: Version


def columns(charts: Sequence[Chart]) -> list[str]:
    """The headings: what every sound has, then the parameters of all charts, each id once."""
    return [*COLUMNS, *dict.fromkeys(title_of(name) for chart in charts for name in chart.parameters)]


def chunks(rows: Iterable[TableRow], headings: Sequence[str], *, separator: str, raw: bool) -> Iterator[bytes]:
    """The file: UTF-8 with a byte order mark, so that spreadsheets open it right; lines end as RFC 4180 says."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator, lineterminator="\r\n")
    out.write("\ufeff")
    writer.writerow([defused(each) for each in headings])
    for row in rows:
        told = _told(row, raw=raw)
        writer.writerow([told.get(each, "") for each in headings])
        if out.tell() > 1 << 18:
            yield out.getvalue().encode("utf-8")
            out.seek(0)
            out.truncate()
    yield out.getvalue().encode("utf-8")


def _told(row: TableRow, *, raw: bool) -> Mapping[str, str]:
    """Heading -> cell. What the instrument does not have at all has no cell; what is unknown says so."""
    values = row.version.values
    cells = {
        title_of(name): value_cell(parameter, values.get(name), raw=raw)
        for name, parameter in row.chart.parameters.items()
    }
    return {
        **cells,
        "name": defused(row.name),
        "instrument": defused(row.instrument),
        "chart": defused(row.chart.id),
        "revision": str(row.chart.revision),
        "tags": defused(tags_cell(row.tags)),
        "note": defused(row.note),
        "taken": row.version.taken.isoformat(timespec="seconds").replace("+00:00", "Z"),
        "values": "raw" if raw else "shown",
    }
