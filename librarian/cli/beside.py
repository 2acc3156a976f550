"""A sound that the library does not take is saved in the folder that one works in: it may be much work, or be lost."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from librarian.chart import Chart
from librarian.collection import InstrumentRow
from librarian.errors import LibrarianError, OutsideProblem
from librarian.files.alone import save_alone
from librarian.messages import Version


@contextmanager
def saved_if_not_kept(
    row: InstrumentRow, chart: Chart, version: Version, name: str, *, tags: list[str] | None = None, note: str = ""
) -> Iterator[None]:
    """The sound is kept in the block. If that fails, the sentence says in which file the sound is instead."""
    try:
        yield
    except LibrarianError as problem:
        try:
            path = save_beside("capture", row, chart, version, name, tags=tags, note=note)
        except LibrarianError as second:
            raise OutsideProblem(
                f"{problem} Nor could the captured sound be saved as a file, so it is lost. {second}",
                "It is in the instrument as long as nobody changes it: make room, then capture again.",
            ) from problem
        raise OutsideProblem(
            f"{problem} The captured sound was not kept, but saved as {path}.",
            f"{problem.hint} Then: librarian import {path.name}".strip(),
        ) from problem


def save_beside(
    stem: str,
    row: InstrumentRow,
    chart: Chart,
    version: Version,
    name: str,
    *,
    tags: list[str] | None = None,
    note: str = "",
) -> Path:
    """Save it as a bundle of its own, named by `stem` and its moment, and say where. Raises OutsideProblem."""
    path = _free_name(stem, version)
    save_alone(path, chart, row, name, version, tags=tuple(tags or ()), note=note)
    return path


def _free_name(stem: str, version: Version) -> Path:
    stem = f"{stem}-{version.taken.astimezone():%Y%m%d-%H%M%S}"
    path, number = Path.cwd() / f"{stem}.zip", 1
    while path.exists():
        number += 1
        path = path.with_name(f"{stem}-{number}.zip")
    return path
