"""A bundle from outside, read line by line with bounded memory; nothing of it is trusted."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from hashlib import sha256
from pathlib import Path

from librarian.chart import Chart, loads
from librarian.errors import BadInput, OutsideProblem
from librarian.files.bundle import form, guard, parsing
from librarian.files.bundle.parsing import InstrumentLine, Said
from librarian.files.incoming import Incoming

MOST_INSTRUMENTS = 1_000
MOST_SOUNDS = 2_000_000
MOST_CHARTS = 500
_LONGEST_INDEX = 16 << 20
_LONGEST_CHART = 4 << 20
_LONGEST_LINE = 64 << 20
_HINT = "Nothing was taken from it. Ask for the bundle again, or export it again."


@dataclass(frozen=True)
class Bundle:
    """A bundle file whose directory and index were read. `above`: the folder inside that it stands in, '' usually."""

    path: Path
    name: str
    size: int
    above: str
    notes: tuple[str, ...]
    instruments: tuple[InstrumentLine, ...]
    sound_files: tuple[str, ...]
    sounds_said: int
    index: Said = field(repr=False)
    sizes: tuple[int, ...] = field(default=(), repr=False)
    extras: frozenset[str] = frozenset()
    _charts: dict[str, Chart] = field(default_factory=dict, repr=False, compare=False)

    def sounds(self) -> Iterator[tuple[int, Incoming]]:
        """(bytes of sounds unpacked so far, sound) in the order of the file. Raises BadInput, OutsideProblem."""
        count = done = 0
        with _archive(self.path, self.name) as archive:
            for inside in self.sound_files:
                for number, line in guard.lines(archive, self.above + inside, self.name, _LONGEST_LINE):
                    count += 1
                    done += len(line)
                    if count > MOST_SOUNDS:
                        raise BadInput(f"{self.name} has more than {MOST_SOUNDS:,} sounds.", _HINT)
                    told = parsing.said(line, f"{self.name}: {inside}, line {number}")
                    where = f"{self.name}, {inside} line {number}"
                    yield done, parsing.sound(told, len(self.instruments), where)
        if count != self.sounds_said:
            raise BadInput(f"{self.name} has {count} sounds and says it has {self.sounds_said}.", _HINT)

    @property
    def unpacked(self) -> int:
        """Bytes of all sounds, unpacked."""
        return sum(self.sizes)

    def chart(self, inside: str, read_chart: Callable[[str], Chart] = loads) -> Chart:
        """The chart in one file of the bundle. Raises ChartFaults, BadInput."""
        if inside not in self._charts:
            if not inside.startswith(form.CHARTS):
                raise BadInput(f"{self.name}: “{inside[:80]}” is no chart of the bundle.", _HINT)
            with _archive(self.path, self.name) as archive:
                if self.above + inside not in archive.namelist():
                    raise BadInput(f"{self.name} lacks the chart {inside[:80]}.", _HINT)
                data = guard.whole(archive, self.above + inside, self.name, _LONGEST_CHART)
            try:
                text = data.decode("utf-8")
            except UnicodeDecodeError:
                raise BadInput(f"{self.name}: {inside} is not UTF-8.", _HINT) from None
            self._charts[inside] = read_chart(text)
        return self._charts[inside]

    @cached_property
    def charts(self) -> dict[tuple[str, int], Chart]:
        """Every chart in it by id and revision. Raises ChartFaults, BadInput."""
        found: dict[tuple[str, int], Chart] = {}
        with _archive(self.path, self.name) as archive:
            names = [each.removeprefix(self.above) for each in archive.namelist() if each.startswith(self.above)]
        for inside in names:
            if inside.startswith(form.CHARTS) and inside.endswith(".toml"):
                if len(found) >= MOST_CHARTS:
                    raise BadInput(f"{self.name} has more than {MOST_CHARTS} charts.", _HINT)
                chart = self.chart(inside)
                found[chart.id, chart.revision] = chart
        return found

    def unread(self) -> Iterator[tuple[tuple[bytes, ...], str, str]]:
        """(messages, source, reason) of what was not understood."""
        for told in self._lines(form.UNREAD):
            messages = told.messages("messages")
            if messages:
                yield messages, told.text("source", "", 10_000), told.text("reason", "", 10_000)

    def searches(self) -> Iterator[tuple[str, str]]:
        """(name, line) of the saved searches."""
        for told in self._lines(form.SEARCHES):
            yield told.text("name", longest=1_000), told.text("text", "", 10_000)

    def _lines(self, inside: str) -> Iterator[Said]:
        if inside not in self.extras:
            return
        with _archive(self.path, self.name) as archive:
            for number, line in guard.lines(archive, self.above + inside, self.name, _LONGEST_LINE):
                yield parsing.said(line, f"{self.name}: {inside}, line {number}")


def read(path: Path) -> Bundle:
    """Look into a bundle: directory, index, instruments, and that every file is what the index says.

    Raises BadInput for anything that is no whole bundle, OutsideProblem.
    """
    name = path.name
    with _archive(path, name) as archive:
        infos = {each.filename: each for each in archive.infolist() if not each.filename.endswith("/")}
        roots = sorted((each for each in infos if each.split("/")[-1] == form.INDEX), key=len)
        if not roots or roots[0].count("/") > 1:
            raise BadInput(
                f"{name} is a zip but no bundle: it has no {form.INDEX}.",
                "Unpack it and import the files inside, or choose a bundle that was exported.",
            )
        above = roots[0].removesuffix(form.INDEX)
        index = parsing.said(guard.whole(archive, roots[0], name, _LONGEST_INDEX), f"{name}: {form.INDEX}")
        _check_form(index, name)
        said = index.whole("files")
        notes = _compare(archive, infos, above, said, name)
        instruments = tuple(
            parsing.instrument(parsing.said(line, f"{name}: {form.INSTRUMENTS}, line {number}"))
            for number, line in _some_lines(archive, above + form.INSTRUMENTS, name)
        )
        sound_files = tuple(sorted(each for each in said if each.startswith("sounds/")))
        return Bundle(
            path,
            name,
            path.stat().st_size,
            above,
            notes,
            instruments,
            sound_files,
            index.number("sounds", 0, MOST_SOUNDS),
            index,
            tuple(infos[above + each].file_size for each in sound_files),
            frozenset(each for each in (form.UNREAD, form.SEARCHES) if above + each in infos),
        )


def _check_form(index: Said, name: str) -> None:
    if index.text("what", "", 200) != form.MARK:
        raise BadInput(f"{name} is a zip but no bundle of sounds.", "Choose a bundle that was exported.")
    if index.number("format", 1, 1 << 30) > form.FORMAT:
        raise BadInput(
            f"{name} was written by a newer program (format {index.number('format', 1, 1 << 30)}).",
            "Take a newer version of this program; nothing of the bundle was taken.",
        )


def _compare(
    archive: zipfile.ZipFile, infos: dict[str, zipfile.ZipInfo], above: str, said: Mapping[str, object], name: str
) -> tuple[str, ...]:
    """Every file that the index names is there; those that were changed or put in by others are told."""
    notes = []
    changed = []
    for inside, about in said.items():
        if above + inside not in infos:
            raise BadInput(f"{name} lacks {inside[:80]}, which its index names.", _HINT)
        digest = about.get("sha256") if isinstance(about, dict) else None
        if _digest(archive, above + inside, name) != digest:
            changed.append(inside)
    if changed:
        some = f"{changed[0]} was" if len(changed) == 1 else f"{len(changed)} files were"
        notes.append(f"{some} changed after the bundle was written")
    more = [each for each in infos if each.removeprefix(above) not in said and each != above + form.INDEX]
    if more:
        some = repr(more[0][:80]) if len(more) == 1 else f"{len(more)} files"
        notes.append(f"{some} in it {'is' if len(more) == 1 else 'are'} no part of the bundle and not read")
    return tuple(notes)


def _digest(archive: zipfile.ZipFile, inside: str, name: str) -> str:
    state = sha256()
    with guard.reading(name), archive.open(inside) as file:
        while piece := file.read(1 << 20):
            state.update(piece)
    return state.hexdigest()


def _some_lines(archive: zipfile.ZipFile, inside: str, name: str) -> Sequence[tuple[int, bytes]]:
    if inside not in archive.namelist():
        raise BadInput(f"{name} lacks {form.INSTRUMENTS}.", _HINT)
    found = []
    for each in guard.lines(archive, inside, name, 1 << 20):
        found.append(each)
        if len(found) > MOST_INSTRUMENTS:
            raise BadInput(f"{name} has more than {MOST_INSTRUMENTS:,} instruments.", _HINT)
    return found


@contextmanager
def _archive(path: Path, name: str) -> Iterator[zipfile.ZipFile]:
    try:
        file = path.open("rb")
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise OutsideProblem(f"{path} cannot be read: {why}.", "Check the name, and that you may read it.") from error
    with file, guard.opened(file, name) as archive:
        yield archive
