"""Sounds out of the library into a file: dumps, a recording, a table, a bundle; it appears whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from librarian.chart import Chart, loads
from librarian.collection import Library, PatchRow
from librarian.errors import BadInput, Refused
from librarian.files import messages_out, smf_write, syx
from librarian.files.bundle import writing as bundle_writing
from librarian.files.progress import NOTHING_WRITTEN, CancelToken, Going, OnStep
from librarian.files.table import writing as table_writing
from librarian.files.targets import ReadChart
from librarian.messages import Version
from librarian.wire.pace import Pace

Form = Literal["syx", "mid", "csv", "tsv", "bundle"]
_SUFFIXES: dict[str, Form] = {
    ".syx": "syx",
    ".mid": "mid",
    ".midi": "mid",
    ".smf": "mid",
    ".csv": "csv",
    ".tsv": "tsv",
    ".tab": "tsv",
    ".zip": "bundle",
}
FORMS: tuple[Form, ...] = ("syx", "mid", "csv", "tsv", "bundle")
_PORTION = 500


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written. `made`: how many sounds were encoded by their chart, as they were edited.

    `left_out`: (patch, name, reason) of the sounds that the file cannot hold. `content`: of a bundle its digest.
    """

    path: Path
    form: Form
    sounds: int
    size: int
    made: int
    left_out: tuple[tuple[int, str, str], ...]
    content: str = ""

    @property
    def sentence(self) -> str:
        """All of it for people."""
        count = f"{self.sounds} {'sound' if self.sounds == 1 else 'sounds'}"
        parts = [f"{count} in {self.path.name}, {self.size:,} bytes"]
        if self.made:
            parts.append(f"{self.made} of them encoded by the chart, the others as they were received")
        if self.left_out:
            parts.append(f"{len(self.left_out)} left out")
        return "; ".join(parts)


def form_of(path: Path, said: str = "") -> Form:
    """The form by name or by the suffix of the file. Raises BadInput."""
    for form in FORMS:
        if said == form:
            return form
    found = None if said else _SUFFIXES.get(path.suffix.casefold())
    if found is None:
        raise BadInput(
            f"It is not clear what {path.name} is to be." if not said else f"“{said}” is no form of a file.",
            "Name it .syx, .mid, .csv, .tsv or .zip (a bundle), or say which with --as.",
        )
    return found


def export(
    library: Library,
    patches: Sequence[int],
    path: Path,
    *,
    form: str = "",
    versions: dict[int, int] | None = None,
    replace: bool = False,
    raw: bool = False,
    read_chart: ReadChart = loads,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Exported:
    """Write these patches in this order, each with its latest version or the one that `versions` says (patch -> id).

    `raw`: a table of numbers instead of values as shown. Raises Refused (the file exists, nothing fits into it),
    BadInput, OutsideProblem, Cancelled: nothing was written.
    """
    wanted = form_of(path, form)
    chosen = list(dict.fromkeys(patches))
    if not chosen:
        raise Refused("There is nothing to export.", "Choose sounds first.")
    if path.exists() and not replace:
        raise Refused(f"{path} exists already; nothing was written.", "Choose another name, or say --replace.")
    if wanted == "bundle":
        if versions:
            raise BadInput("A bundle holds every version of a sound.", "Leave @NUMBER away, or choose another form.")
        done = bundle_writing.write(library, path, chosen, replace=replace, cancel=cancel, progress=progress)
        return Exported(path, wanted, done.sounds, done.size, 0, (), done.content)
    going = Going(cancel, progress, every=1, state=NOTHING_WRITTEN)
    source = _Sounds(library, chosen, versions or {}, read_chart, going)
    if wanted in ("csv", "tsv"):
        separator = "," if wanted == "csv" else "\t"
        headings = table_writing.columns(source.charts())
        size = syx.write_whole(
            path, table_writing.chunks(source.rows(), headings, separator=separator, raw=raw), replace=replace
        )
        return Exported(path, wanted, source.count, size, 0, ())
    if wanted == "syx":
        size = syx.write_whole(path, _at_least_one(source.dumps(), source), replace=replace)
    else:
        groups = list(source.groups())
        _refuse_nothing(source)
        data = smf_write.to_bytes_of(groups, pace=source.slowest)
        size = syx.write_whole(path, [data], replace=replace)
    return Exported(path, wanted, source.count, size, source.made, tuple(source.left_out))


def export_all(
    library: Library,
    path: Path,
    *,
    replace: bool = False,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Exported:
    """The whole collection as a bundle: every sound also in the trash, what was not understood, saved searches."""
    if path.exists() and not replace:
        raise Refused(f"{path} exists already; nothing was written.", "Choose another name, or say --replace.")
    done = bundle_writing.write(library, path, None, replace=replace, cancel=cancel, progress=progress)
    return Exported(path, "bundle", done.sounds, done.size, 0, (), done.content)


class _Sounds:
    """The chosen sounds, portion by portion; counts what became of them."""

    def __init__(
        self,
        library: Library,
        patches: Sequence[int],
        versions: dict[int, int],
        read_chart: ReadChart,
        going: Going,
    ) -> None:
        self._library = library
        self._patches = patches
        self._versions = versions
        self._read_chart = read_chart
        self._going = going
        self._charts: dict[tuple[str, int], Chart] = {}
        self._addresses = {row.id: row.address for row in library.instruments(removed=True)}
        self.count = 0
        self.made = 0
        self.left_out: list[tuple[int, str, str]] = []
        self.slowest: Pace | None = None

    def charts(self) -> list[Chart]:
        """Every chart among them, for which all are looked through."""
        found: dict[tuple[str, int], Chart] = {}
        for _, version in self._all():
            key = (version.chart, version.revision)
            if key not in found:
                found[key] = self._chart(version)
        return list(found.values())

    def rows(self) -> Iterator[table_writing.TableRow]:
        """As rows of a table."""
        for row, version in self._all():
            self.count += 1
            yield table_writing.TableRow(
                row.name, row.instrument_name, row.tags, row.note, self._chart(version), version
            )

    def dumps(self) -> Iterator[bytes]:
        """As messages of a .syx file."""
        for _, messages in self._messages(sysex_only=True):
            yield from messages

    def groups(self) -> Iterator[tuple[str, tuple[bytes, ...]]]:
        """As (name, messages) of a recording."""
        yield from self._messages(sysex_only=False)

    def _messages(self, *, sysex_only: bool) -> Iterator[tuple[str, tuple[bytes, ...]]]:
        for row, version in self._all():
            chart = self._chart(version)
            found = messages_out.messages_of(
                chart,
                version,
                self._addresses[row.instrument],
                lambda row=row: self._earlier(row),  # type: ignore[misc]
                sysex_only=sysex_only,
            )
            if not found.messages:
                self.left_out.append((row.id, row.name, found.why))
                continue
            self.count += 1
            self.made += found.made
            if self.slowest is None or chart.pace.bytes_per_second < self.slowest.bytes_per_second:
                self.slowest = chart.pace
            yield row.name, found.messages

    def _earlier(self, row: PatchRow) -> list[Version]:
        """The versions that this one came from, nearest first."""
        history = {each.id: each for each in self._library.versions(row.id)}
        number = self._versions.get(row.id, row.latest)
        line: list[int] = []
        while number in history and number not in line:
            parent = history[number].parent
            line.append(number)
            number = parent if parent is not None else -1
        contents = self._library.version_contents(line)
        return [contents[each] for each in line[1:] if each in contents]

    def _chart(self, version: Version) -> Chart:
        key = (version.chart, version.revision)
        if key not in self._charts:
            self._charts[key] = self._read_chart(self._library.chart_text(*key))
        return self._charts[key]

    def _all(self) -> Iterator[tuple[PatchRow, Version]]:
        for start in range(0, len(self._patches), _PORTION):
            self._going.tell(start, len(self._patches), "sounds")
            rows = self._library.rows(self._patches[start : start + _PORTION])
            numbers = {row.id: self._versions.get(row.id, row.latest) for row in rows}
            contents = self._library.version_contents(list(numbers.values()))
            yield from ((row, contents[numbers[row.id]]) for row in rows if numbers[row.id] in contents)


def _at_least_one(messages: Iterator[bytes], source: _Sounds) -> Iterator[bytes]:
    """The messages; refuses at their end when there was none, so that no empty file appears."""
    yield from messages
    _refuse_nothing(source)


def _refuse_nothing(source: _Sounds) -> None:
    if not source.count:
        reason = source.left_out[0][2] if source.left_out else "They are gone from the library."
        raise Refused(f"None of these sounds can be written so; nothing was written. {reason}", "Choose another form.")
