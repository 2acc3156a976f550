"""The way in for every file of sounds, the same for window and terminal: look first, then one step or nothing.

What a file is is seen by its content: MIDI messages (.syx, hexadecimal text), a recording (.mid), a table (CSV, TSV), a
bundle. Nothing is kept by looking. An import is one transaction and one step of undo; cancelled or broken off it kept
nothing, and done once more it finds everything there already. Of several files those that cannot be used are left out,
each with its reason; it is for the person to go on without them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from librarian.chart import Chart, load, loads, shipped
from librarian.collection import Library
from librarian.collection.problems import LibraryProblem
from librarian.errors import BadInput, LibrarianError, OutsideProblem
from librarian.files import importing, moments, smf, syx, whole_part
from librarian.files.bundle import reading as bundle_reading
from librarian.files.bundle import stream as bundle_stream
from librarian.files.collecting import patiently
from librarian.files.kinds import Kind, kind_of
from librarian.files.message_part import MessagePart
from librarian.files.pieces import Source
from librarian.files.progress import NOTHING_KEPT, CancelToken, Going, OnStep
from librarian.files.seen import Imported, LeftOut, OnChanged, Part, Seen, Wishes
from librarian.files.table import reading as table_reading
from librarian.files.targets import ReadChart, Target, targets_of

__all__ = ["Imported", "Seen", "apply", "preview"]


def preview(
    library: Library,
    paths: Sequence[Path],
    *,
    charts: Iterable[Chart] | None = None,
    instrument: int | None = None,
    moment: str = "",
    read_chart: ReadChart = loads,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Seen:
    """Look what is in the files and compare it with the library.

    Raises BadInput, OutsideProblem where none of the files can be used; LibraryProblem, Cancelled.
    `charts`: those that may get an instrument because of the files (None: the shipped ones). `instrument`: the one of
    the library that takes what several might. `moment`: of recordings only the sound before it is taken ("1920" ticks,
    "12.5s", "1:02").
    """
    if not paths:
        raise BadInput("No file was named.", "Name files: .syx, .mid, tables or bundles.")
    known = tuple(load(path) for path in shipped().values()) if charts is None else tuple(charts)
    if moment:
        moments.moment(moment)
    refused = _LeftOut()
    kinds: dict[int, Kind] = {}
    for place, path in enumerate(paths):
        with refused.unless_usable(place):
            kinds[place] = kind_of(path)
    if moment and not refused.problems and "recording" not in kinds.values():
        raise BadInput("A moment was named, but no file is a recording.", "Moments are those of .mid files.")
    going = Going(cancel, progress)
    targets = _targets(library, known, instrument, read_chart)
    parts: list[Part] = []
    sources: dict[int, Source] = {}
    for place, kind in kinds.items():
        if kind in ("messages", "recording"):
            with refused.unless_usable(place):
                sources[place] = _source(paths[place], kind, moment)
    if sources:
        places = tuple(sources)
        with refused.unless_usable(*places):
            seen = importing.preview(library, tuple(sources.values()), targets, cancel=cancel, progress=progress)
            refused.problems |= {places[inside]: problem for inside, problem in seen.refused.items()}
            parts.append(MessagePart(seen, places))
    at = datetime.now(UTC)
    for place, kind in kinds.items():
        path = paths[place]
        with refused.unless_usable(place):
            if kind == "table":
                table = table_reading.open_table(path)
                rows = table_reading.stream_of(library, table, known, read_chart, instrument, at)
                parts.append(whole_part.look(library, rows, path, place, going))
            elif kind == "bundle":
                found = bundle_reading.read(path)
                sounds = bundle_stream.stream_of(library, found, read_chart, instrument)
                parts.append(whole_part.look(library, sounds, path, place, going))
    if len(refused.problems) == len(paths):
        raise refused.whole
    return Seen(tuple(path.name for path in paths), tuple(parts), refused.told)


def apply(
    library: Library,
    seen: Seen,
    *,
    tags: Sequence[str] = (),
    changed: OnChanged = "version",
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Imported:
    """Do what the preview said, as one step of undo. What the library holds already is not kept twice.

    Everything is compared once more, as the library may have changed since. Raises Cancelled, Refused: nothing was
    kept.
    """
    going = Going(cancel, progress)
    label = f"Import {_listed(seen.taken)}"
    with patiently(), library.together(label):
        done = [part.keep(library, Wishes(tuple(tags), changed), going) for part in seen.parts]
        if cancel is not None:
            cancel.check(NOTHING_KEPT)
    versions: dict[int, int] = {}
    for each in done:
        versions |= each.versions or {}
    return Imported(
        tuple(patch for each in done for patch in each.patches),
        versions,
        sum(each.words for each in done),
        tuple(number for each in done for number in each.unread),
        sum(each.same for each in done),
        sum(each.skipped for each in done),
        sum(each.parted for each in done),
        tuple(number for each in done for number in each.instruments),
        sum(each.searches for each in done),
        label,
    )


@dataclass
class _LeftOut:
    """Why files cannot be used, by their places."""

    problems: dict[int, LibrarianError] = field(default_factory=dict)

    @contextmanager
    def unless_usable(self, *places: int) -> Iterator[None]:
        """What the block finds wrong with a file is kept here; trouble of the library is none of the file's."""
        try:
            yield
        except LibraryProblem:
            raise
        except (BadInput, OutsideProblem) as problem:
            self.problems |= dict.fromkeys(places, problem)

    @property
    def told(self) -> tuple[LeftOut, ...]:
        """The same for people, in the order of the files."""
        return tuple(LeftOut(place, str(why), why.hint) for place, why in sorted(self.problems.items()))

    @property
    def whole(self) -> LibrarianError:
        """What to raise where no file is left."""
        first = self.problems[min(self.problems)]
        if len(self.problems) == 1:
            return first
        return BadInput(f"None of the {len(self.problems)} files can be imported. {first}", first.hint)


def _targets(
    library: Library, charts: Sequence[Chart], instrument: int | None, read_chart: ReadChart
) -> tuple[Target, ...]:
    found = targets_of(library, charts, read_chart)
    return found if instrument is None else tuple(each for each in found if each.instrument == instrument)


def _source(path: Path, kind: Kind, moment: str) -> Source:
    if kind == "recording":
        file = smf.read(path)
        return moments.before(file, moment) if moment else file
    return syx.read(path)


def _listed(names: Sequence[str]) -> str:
    return f"“{names[0]}”" if len(names) == 1 else f"{len(names)} files"
