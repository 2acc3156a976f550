"""Copies of the whole library: made by themselves, proved to be whole, kept in turn, and brought back.

They lie in a folder beside the library. A copy is an ordinary library file; it can also be opened as it is.
"""

from __future__ import annotations

import glob
import re
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from librarian.errors import Refused

from . import sqlite
from .opening import open_store, revision_of
from .problems import LibraryProblem, NewerLibrary, as_kept
from .schema import REVISIONS

#: Copies kept, unless the person says otherwise; the oldest give way.
KEEP = 12
#: A begun copy that was not written to for so long was left behind.
LEFT_BEHIND_S = 3600
#: While the newest copy is younger, work goes on without another one.
PAUSE_S = 6 * 3600
_NAME = re.compile(r".+\.(\d{8}-\d{6}-\d{6})\.([a-z-]+)\.sqlite")


@dataclass(frozen=True, slots=True)
class BackupRow:
    """One copy. `reason`: 'start', 'asked', 'before-…'. `change`: the library's counter of changes then."""

    path: Path
    taken: datetime
    reason: str
    size: int
    patches: int
    change: int


def default_folder(library: Path) -> Path:
    """Where copies of a library lie unless the person says otherwise."""
    return library.with_name(f"{_called(library)} backups")


def _called(library: Path) -> str:
    """Its part of the names of its copies: two libraries that only their suffixes tell apart keep theirs apart."""
    if library.suffix == ".sqlite":
        return library.stem
    return library.name if library.suffix else f"{library.name} without suffix"


def rows(folder: Path) -> tuple[BackupRow, ...]:
    """The copies in a folder, newest first; files that are none are passed over."""
    found = []
    for path in folder.glob("*.sqlite") if folder.is_dir() else ():
        one = row(path)
        if one is not None:
            found.append(one)
    return tuple(sorted(found, key=lambda one: (one.taken, one.change), reverse=True))


def _own(library: Path, folder: Path) -> list[BackupRow]:
    """Those of this library."""
    return [one for one in map(row, _named_for(library, folder)) if one is not None]


def _named_for(library: Path, folder: Path) -> list[Path]:
    """The same by their names alone; another library may keep its copies in the same folder."""
    own = re.compile(rf"{re.escape(_called(library))}\.[0-9-]+\.[a-z-]+\.sqlite")
    return [path for path in folder.glob("*.sqlite") if own.fullmatch(path.name)]


def row(path: Path) -> BackupRow | None:
    """What a copy holds; None for a file that is none."""
    named = _NAME.fullmatch(path.name)
    if named is None:
        return None
    try:
        taken = datetime.strptime(named[1], "%Y%m%d-%H%M%S-%f").replace(tzinfo=UTC)
        patches, change = count(path)
        return BackupRow(path, taken, named[2], path.stat().st_size, patches, change)
    except (ValueError, OSError, LibraryProblem):
        return None


def count(path: Path) -> tuple[int, int]:
    """Open a copy and count: live patches, counter of changes. Raises `LibraryProblem` when it is no library."""
    with _reading(path) as connection, as_kept():
        if revision_of(connection) is None:
            raise LibraryProblem(f"{path} is not a library.")
        patches = connection.execute("SELECT count(*) FROM patch WHERE state = 0").fetchone()[0]
        change = connection.execute("SELECT value FROM counter WHERE name = 'change'").fetchone()
        if change is None or not isinstance(change[0], int):
            raise sqlite.damaged(path)
        return int(patches), change[0]


@contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    with sqlite.as_sentences(path):
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=sqlite.PATIENCE_S)
        try:
            yield connection
        finally:
            connection.close()


def back_up(library: Path, target: Path) -> BackupRow:
    """One verified copy under a name of the person's choice. Refused when something is there already."""
    if target.exists():
        raise Refused(f"{target} exists already; a backup never replaces a file.", "Choose another name.")
    _make_folder(target.parent)
    sqlite.back_up(library, target)
    patches, change = _compared(library, target)
    return BackupRow(target, datetime.now(UTC), "asked", target.stat().st_size, patches, change)


def back_up_in_turn(
    library: Path, folder: Path, reason: str, keep: int = KEEP, needed: Collection[Path] = ()
) -> BackupRow:
    """One more verified copy in the folder; then the oldest beyond `keep` go, except those that are `needed`."""
    _make_folder(folder)
    _sweep(folder, library)
    taken = datetime.now(UTC)
    target = folder / f"{_called(library)}.{taken.strftime('%Y%m%d-%H%M%S-%f')}.{reason}.sqlite"
    sqlite.back_up(library, target)
    patches, change = _compared(library, target)
    made = BackupRow(target, taken, reason, target.stat().st_size, patches, change)
    # By counter of changes and not by clock: a clock that was set back must not cost the newest copy.
    others = [one for one in _own(library, folder) if one.path != target]
    others.sort(key=lambda one: (one.change, one.taken))
    for one in others[: max(0, len(others) + 1 - max(keep, 1))]:
        if one.path not in needed:
            one.path.unlink(missing_ok=True)
    return made


def _sweep(folder: Path, library: Path) -> None:
    """Remove what a killed program left of a copy that it had begun; another one may be at work on a younger one."""
    for part in folder.glob(f"{glob.escape(_called(library))}.*.sqlite.part"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime > LEFT_BEHIND_S:
                part.unlink()


def _compared(library: Path, target: Path) -> tuple[int, int]:
    """Count the copy; it must have at least the changes that the library had when it was begun."""
    try:
        patches, change = count(target)
        now = count(library)[1]
    except LibraryProblem as problem:
        target.unlink(missing_ok=True)
        raise sqlite.damaged(library) from problem
    if change > now:
        target.unlink(missing_ok=True)
        raise LibraryProblem(f"A backup of {library} came out different from it, so it was thrown away.")
    return patches, change


def needed(library: Path, folder: Path) -> bool:
    """True when something changed since the newest copy."""
    newest = max((one.change for one in _own(library, folder)), default=-1)
    return count(library)[1] != newest


def due(library: Path, folder: Path) -> bool:
    """True when a copy is `needed` and none was made in the last hours. Asked before a change: mostly one look."""
    now = datetime.now(UTC)
    for path in sorted(_named_for(library, folder), reverse=True):
        one = row(path)
        # One from after now tells that the clock was set back, not how old it is.
        if one is not None and 0 <= (now - one.taken).total_seconds() < PAUSE_S:
            return False
    return count(library)[1] > 0 and needed(library, folder)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LibraryProblem(
            f"The folder for backups {folder} cannot be made: {error.strerror or error}.", "Choose another folder."
        ) from error


@contextmanager
def ready_to_restore(path: Path) -> Iterator[Path]:
    """A copy of a backup that has this program's schema and is whole; thrown away afterwards."""
    if not path.is_file():
        raise LibraryProblem(f"There is no backup {path}.", "Choose one of those that are listed.")
    with _reading(path) as connection:
        revision = revision_of(connection)
        if revision is None:
            raise LibraryProblem(f"{path} is not a library.", "Choose one of the backups that are listed.")
        if revision not in REVISIONS:
            raise NewerLibrary(f"The backup {path} was written by a newer Librarian (its format is {revision}).")
    folder = _scratch()
    try:
        copy = folder / "library.sqlite"
        sqlite.back_up(path, copy)
        open_store(copy).close()
        yield copy
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _scratch() -> Path:
    """A folder of our own for the time of a restore."""
    try:
        return Path(tempfile.mkdtemp(prefix="librarian-restore-"))
    except OSError as error:
        raise LibraryProblem(
            f"There is no place for a copy of the backup: {error.strerror or error}.",
            "Free some space for temporary files, then try again.",
        ) from error
