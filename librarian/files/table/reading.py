"""A table from outside as sounds on their way into a library. One wrong cell, and nothing of the table is taken."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from librarian.chart import Chart
from librarian.collection import Library
from librarian.collection.folding import clean_tags
from librarian.errors import BadInput
from librarian.files.incoming import Dated, Incoming, Landing
from librarian.files.landing import Told, land
from librarian.files.landing import otherwise as called_otherwise
from librarian.files.table import text
from librarian.files.table.cells import tags_of, undone, value_of
from librarian.files.table.heading import Heading, read, separator_of, title_of
from librarian.files.targets import ReadChart
from librarian.messages import Origin, Values, Version

MOST_ROWS = 1_000_000
_LISTED = 5
_HINT = "Nothing of the table was taken. Correct it, then import it again."


@dataclass(frozen=True)
class Table:
    """A table that was looked at. `owners`: (instrument, chart, revision) as its rows say them."""

    path: Path
    name: str
    size: int
    encoding: str
    heading: Heading
    owners: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]

    def rows(self) -> Iterator[tuple[int, int, list[str]]]:
        """(number of the line it ends in, bytes read so far, cells) of every row with something in it."""
        reader, told = _reader(self.path, self.encoding, self.heading.separator)
        try:
            next(reader, None)
            for row in reader:
                if any(cell.strip() for cell in row):
                    if len(row) > self.heading.width and any(cell.strip() for cell in row[self.heading.width :]):
                        raise BadInput(
                            f"{self.name}, line {reader.line_num}: it has {len(row):,} cells, the first row has "
                            f"{self.heading.width}.",
                            "A cell with the separator in it stands in quotation marks. " + _HINT,
                        )
                    yield reader.line_num, told[0], row
        except csv.Error as error:
            raise _uncut(self.name, reader.line_num, error) from None


def _uncut(name: str, line: int, error: csv.Error) -> BadInput:
    """The lines cannot be cut into cells; the csv module says it in words of programmers."""
    said = str(error)
    if "field limit" in said:
        said = f"a cell of more than {text.LONGEST_CELL:,} signs; perhaps a quotation mark is missing that ends it"
    return BadInput(f"{name}, line {line}: {said}.", _HINT)


@dataclass(frozen=True)
class TableStream:
    """A table with its instruments found. `of_owner`: what a row says -> (place in `landings`, chart of its values)."""

    table: Table
    landings: tuple[Landing, ...]
    of_owner: Mapping[tuple[str, str, str], tuple[int, Chart]]
    notes: tuple[str, ...]
    at: datetime
    exact: bool = False
    charts: tuple[Chart, ...] = field(default=(), repr=False)

    @property
    def name(self) -> str:
        """The name of the file."""
        return self.table.name

    @property
    def size(self) -> int:
        """Bytes."""
        return self.table.size

    def sounds(self) -> Iterator[tuple[int, Incoming]]:
        """(bytes so far, sound). Raises BadInput naming the first cells that cannot be used."""
        wrong: list[BadInput] = []
        readers = {key: _Columns(self.table.heading, chart, key[2]) for key, (_, chart) in self.of_owner.items()}
        for line, done, row in self.table.rows():
            key = _owner(self.table.heading, row)
            where = f"{self.name}, line {line}"
            try:
                sound = self._sound(row, where, self.of_owner[key][0], readers[key])
            except BadInput as fault:
                wrong.append(BadInput(f"{where}: {fault}", fault.hint))
                if len(wrong) >= _LISTED:
                    break
                continue
            if not wrong:
                yield done, sound
        if wrong:
            raise BadInput("\n".join(map(str, wrong)), f"{wrong[0].hint} {_HINT}".strip())

    def _sound(self, row: Sequence[str], where: str, owner: int, columns: _Columns) -> Incoming:
        heading, chart = self.table.heading, columns.chart
        name = undone(heading.cell(row, "name")).strip()
        if not name:
            raise BadInput("The sound has no name.", "Every row has one.")
        known = columns.values(row)
        tags = tuple(clean_tags(tags_of(undone(heading.cell(row, "tags")))))
        version = Version(
            chart.id,
            chart.revision,
            Values(known),
            chart.unknown(known),
            (),
            Origin("imported", where),
            "",
            _moment(heading.cell(row, "taken")) or self.at,
        )
        return Incoming(where, owner, name, tags, undone(heading.cell(row, "note")), (Dated(version),))


class _Columns:
    """The columns of one chart's parameters. `revision`: what the rows say of it, which may be another one."""

    def __init__(self, heading: Heading, chart: Chart, revision: str) -> None:
        self.chart = chart
        self._revision = _whole(revision, chart.revision)
        self._heading = heading
        self._places = [
            (parameter, heading.place[title_of(name)])
            for name, parameter in chart.parameters.items()
            if title_of(name) in heading.place
        ]

    def values(self, row: Sequence[str]) -> dict[str, int]:
        """What the cells say, unknown ones left out."""
        told = self._heading.cell(row, "values").strip().casefold()
        if told not in ("", "raw", "shown"):
            raise BadInput(f"“{told[:40]}” in the column “values”.", "It says “shown” or “raw”.")
        if told == "raw" and self._revision != self.chart.revision:
            raise BadInput(
                f"Its numbers are those of revision {self._revision} of the chart {self.chart.id}, "
                "which is not known here.",
                "Import it with that chart: --chart FILE, or export the values as they are shown.",
            )
        known = {}
        for parameter, place in self._places:
            value = value_of(parameter, row[place] if place < len(row) else "", raw=told == "raw")
            if value is not None:
                known[parameter.id] = value
        return known


def open_table(path: Path) -> Table:
    """Look at a table: encoding, separator, headings, whose sounds its rows are. Raises BadInput, OutsideProblem."""
    encoding, note = text.encoding_of(path)
    first = next((line for line, _ in text.lines(path, encoding)), "")
    if not first.strip("\ufeff\r\n"):
        raise BadInput(f"{path.name} has an empty first line.", "The first row of a table says what its columns are.")
    separator = separator_of(first.lstrip("\ufeff").rstrip("\r\n"))
    reader, _ = _reader(path, encoding, separator)
    try:
        heading = read(next(reader, []), separator)
    except csv.Error as error:
        raise _uncut(path.name, 1, error) from None
    table = Table(path, path.name, path.stat().st_size, encoding, heading, (), (note,) if note else ())
    owners: dict[tuple[str, str, str], None] = {}
    untimely, such = 0, ""
    for count, (line, _, row) in enumerate(table.rows()):
        owners[_owner(heading, row)] = None
        taken = heading.cell(row, "taken").strip()
        if taken and _moment(taken) is None:
            untimely, such = untimely + 1, such or taken[:30]
        if len(owners) > 200 or count >= MOST_ROWS:
            what = f"more than {MOST_ROWS:,} rows" if count >= MOST_ROWS else "more than 200 instruments"
            raise BadInput(f"{path.name}, line {line}: the table has {what}.", "Split it. " + _HINT)
    if not owners:
        raise BadInput(f"{path.name} has no sounds, only headings.", "Each row below the first is a sound.")
    notes = list(table.notes)
    if untimely:
        notes.append(
            f"{untimely:,} of the column “taken” cannot be read as a time, such as “{such}”; new sounds of "
            "those rows are of the time of the import"
        )
    return Table(path, path.name, table.size, encoding, heading, tuple(owners), tuple(notes))


def stream_of(
    library: Library, table: Table, charts: Iterable[Chart], read_chart: ReadChart, instrument: int | None, at: datetime
) -> TableStream:
    """Find the instruments of a table. `charts`: those an instrument may be added for. Raises BadInput."""
    known = _Known(library, charts, read_chart, instrument, table)
    found = [known.told(owner) for owner in table.owners]
    newest: dict[tuple[str, str], Told] = {}
    for each, _ in found:
        before = newest.get((each.name.casefold(), each.chart.id), each)
        newest[each.name.casefold(), each.chart.id] = max(before, each, key=lambda one: one.chart.revision)
    told = list(newest.values())
    landings = land(library, told, instrument)
    place = {(each.name.casefold(), each.chart.id): number for number, each in enumerate(told)}
    of_owner = {
        owner: (place[each.name.casefold(), each.chart.id], chart)
        for owner, (each, chart) in zip(table.owners, found, strict=True)
    }
    used = {title_of(name) for _, chart in of_owner.values() for name in chart.parameters}
    extra = [each for each in table.heading.parameters if each not in used]
    if len(extra) == len(table.heading.parameters):
        some = ", ".join(f"“{each[:30]}”" for each in extra[:_LISTED])
        names = ", ".join(dict.fromkeys(chart.name for _, chart in of_owner.values()))
        raise BadInput(
            f"No column of {table.name} is a parameter of {names}" + (f"; it has {some}." if some else "."),
            "Columns of values are headed by ids of parameters, such as those of an exported table.",
        )
    notes = [*table.notes, *called_otherwise(landings)]
    if extra:
        some = ", ".join(f"“{each[:30]}”" for each in extra[:_LISTED])
        notes.append(f"{len(extra)} columns were not read, as no parameter is called so: {some}")
    notes.extend(
        f"Values of revision {owner[2]} were read by the chart {chart.id}, revision {chart.revision}, as the other is "
        "not known here"
        for owner, (_, chart) in of_owner.items()
        if _whole(owner[2], chart.revision) != chart.revision
    )
    there = {(chart, revision) for chart, revision, _ in library.charts()}
    fresh = {(chart.id, chart.revision): chart for _, chart in of_owner.values()}
    return TableStream(
        table, landings, of_owner, tuple(notes), at, charts=tuple(c for key, c in fresh.items() if key not in there)
    )


class _Known:
    """The instruments and charts that a table may speak of."""

    def __init__(
        self,
        library: Library,
        charts: Iterable[Chart],
        read_chart: ReadChart,
        instrument: int | None,
        table: Table,
    ) -> None:
        self._library = library
        self._read = read_chart
        self._rows = library.instruments()
        self._there = {(chart, revision) for chart, revision, _ in library.charts()}
        self._charts = list(charts)
        self._forced = next((row for row in self._rows if row.id == instrument), None)
        self._table = table

    def told(self, owner: tuple[str, str, str]) -> tuple[Told, Chart]:
        """The instrument that a row means, and the chart revision of its values."""
        name, chart_id, revision = owner
        rows = [row for row in self._rows if not chart_id or row.chart == chart_id]
        same = [row for row in rows if name and row.name.casefold() == name.casefold()]
        row = same[0] if same else None
        if row is None and self._forced is not None and (not chart_id or self._forced.chart == chart_id):
            row = self._forced
        if row is None and not name and len(rows) == 1:
            row = rows[0]
        if row is not None:
            chart = self._revision(row.chart, revision) or self._read(self._library.chart_text(row.chart, row.revision))
            return Told(name or row.name, chart, row.address), chart
        known = [chart for chart in self._charts if chart.id == chart_id]
        if not known and len(rows) == 1 and chart_id:
            known = [self._read(self._library.chart_text(rows[0].chart, rows[0].revision))]
        if known:
            new = self._revision(chart_id, revision) or max(known, key=lambda each: each.revision)
            return Told(name or new.name, new, new.default_address), new
        raise self._refused(name, chart_id)

    def _revision(self, chart: str, told: str) -> Chart | None:
        """The chart revision that a row names, from the library or the charts at hand; None where it is in neither."""
        wanted = _whole(told, -1)
        if (chart, wanted) in self._there:
            return self._read(self._library.chart_text(chart, wanted))
        return next((each for each in self._charts if (each.id, each.revision) == (chart, wanted)), None)

    def _refused(self, name: str, chart: str) -> BadInput:
        there = ", ".join(f"“{row.name}”" for row in self._rows) or "none"
        if chart:
            return BadInput(
                f"{self._table.name}: no chart “{chart[:40]}” is known here.",
                "Add its instrument first: librarian instrument add --chart FILE.",
            )
        what = f"no instrument is called “{name[:40]}”" if name else "it does not say whose sounds its rows are"
        return BadInput(
            f"{self._table.name}: {what}.",
            f"Choose an instrument for it (--instrument NAME), or add a column “instrument”. There is: {there}.",
        )


def _owner(heading: Heading, row: Sequence[str]) -> tuple[str, str, str]:
    name, chart, revision = (undone(heading.cell(row, each)).strip() for each in ("instrument", "chart", "revision"))
    return name[:1000], chart[:1000], revision[:20]


def _whole(told: str, otherwise: int) -> int:
    return int(told) if told.isascii() and told.isdecimal() and len(told) < 10 else otherwise


def _moment(cell: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(cell.strip())
        return found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def _lines(path: Path, encoding: str, told: list[int]) -> Iterator[str]:
    """The lines for the csv module; `told[0]` says how far it is."""
    for number, (line, done) in enumerate(text.lines(path, encoding)):
        told[0] = done
        yield line if number else line.lstrip("\ufeff")


def _reader(path: Path, encoding: str, separator: str) -> tuple[Any, list[int]]:
    told = [0]
    return csv.reader(_lines(path, encoding, told), delimiter=separator), told
