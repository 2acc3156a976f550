"""From a path to an open store: find it, refuse what is none, make it or bring it up to date.

Whatever is refused is left as it was, to the byte.
"""

from __future__ import annotations

import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine

from . import sqlite
from .migrating import upgrade
from .problems import LibraryProblem, NewerLibrary, unwritable
from .schema import HEAD, REVISIONS
from .store import Store

FILE_NAME = "library.sqlite"
#: How long opening waits for a program that holds the file for itself alone.
OPENING_PATIENCE_S = 5.0


def default_path() -> Path:
    """The library in the platform's own data folder."""
    from platformdirs import user_data_path

    return user_data_path("librarian", appauthor=False) / FILE_NAME


def open_store(path: Path | None = None, *, patience_s: float = OPENING_PATIENCE_S) -> Store:
    """Open, make or upgrade. Raises `LibraryProblem` or `NewerLibrary`; then nothing was written."""
    place = (path or default_path()).expanduser().absolute()
    fresh = _look(place)
    with sqlite.as_sentences(place):
        if not fresh:
            sqlite.refuse_strange_log(place)
            fresh = _refuse_foreign(place, patience_s, f"{place.as_uri()}?mode=ro")
        try:
            _prepare(place, patience_s)
        except BaseException:
            if fresh:
                _take_back(place)
            raise
    return Store(place, sqlite.open_engine(place))


def open_to_read(path: Path | None = None, *, patience_s: float = OPENING_PATIENCE_S) -> Store | None:
    """A library that is there and can be read but not written, as on a CD or in somebody else's folder; else None.

    The store refuses every change. Raises as `open_store` does, also for a library of an older schema, which would
    have to be brought up to date first.
    """
    place = (path or default_path()).expanduser().absolute()
    try:
        if not place.is_file() or not os.access(place, os.R_OK) or _may_be_written(place):
            return None
        state = sqlite.file_state(place)
    except OSError:
        return None  # opening it to write has the sentence for that
    with sqlite.as_sentences(place):
        sqlite.refuse_strange_log(place)
        if _refuse_foreign(place, patience_s, sqlite.reading_uri(place)):
            return None
        engine = sqlite.open_engine(place, patience_s=patience_s, only_to_read=True)
        with engine.connect() as connection:
            current = _is_current(sqlite.raw(connection))
    if not current:
        engine.dispose()
        raise LibraryProblem(
            f"The library {place} is of an older Librarian, and cannot be brought up to date where it is.",
            "Copy it to where you may write, and open the copy.",
        )
    return Store(place, engine, frozen=state)


def _may_be_written(place: Path) -> bool:
    return os.access(place, os.W_OK) and os.access(place.parent, os.W_OK)


def _look(place: Path) -> bool:
    """True when there is no file yet (its folder is made). Refuses what can be seen from outside."""
    try:
        if place.is_dir():
            raise LibraryProblem(f"{place} is a folder, not a library.", f"Name a file, such as {place / FILE_NAME}.")
        if place.exists():
            if not place.is_file():
                raise LibraryProblem(f"{place} is not a file, so it cannot be a library.", "Choose another name.")
            if not os.access(place, os.R_OK):
                raise LibraryProblem(f"The library {place} cannot be read.", "Check who may read it.")
            if not _may_be_written(place):
                raise unwritable(place)
            return False
        place.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LibraryProblem(
            f"The library {place} cannot be opened: {error.strerror or error}.",
            "Check the path, and that you may read and write there.",
        ) from error
    if not os.access(place.parent, os.W_OK):
        raise LibraryProblem(
            f"No library can be made in {place.parent}: the folder cannot be written.", "Choose another folder."
        )
    return True


def _refuse_foreign(place: Path, patience_s: float, uri: str) -> bool:
    """Look inside without writing. True when the file is empty and may become a library."""
    if place.stat().st_size == 0:
        return True
    connection = sqlite3.connect(uri, uri=True, timeout=patience_s, isolation_level=None)
    try:
        connection.execute("BEGIN")
        revision = revision_of(connection)
        if revision is None:
            tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
            if tables:
                raise LibraryProblem(
                    f"{place} is an SQLite file, but not a library.", "Choose another file, or a new name to start one."
                )
        elif revision not in REVISIONS:
            raise NewerLibrary(f"The library {place} was written by a newer Librarian (its format is {revision}).")
        return False
    finally:
        connection.close()


def revision_of(connection: sqlite3.Connection) -> str | None:
    """The schema of a library file, or None when it is none."""
    if connection.execute("PRAGMA application_id").fetchone()[0] != sqlite.APPLICATION_ID:
        return None
    try:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except (sqlite3.OperationalError, UnicodeDecodeError) as error:  # SQLite quotes the damaged table in what it says
        if isinstance(error, sqlite3.OperationalError) and not str(error).startswith("no such "):
            raise
        path = connection.execute("PRAGMA database_list").fetchone()[2]
        raise sqlite.damaged(Path(path)) from error
    return str(found[0]) if found else None


def _prepare(place: Path, patience_s: float) -> None:
    """Make the tables, or upgrade them after a backup; nothing to do costs one look."""
    engine = sqlite.open_engine(place, patience_s=patience_s, pooled=False)
    try:
        with engine.connect() as connection:
            driver = sqlite.raw(connection)
            if _is_current(driver):
                return
        with engine.connect() as connection:
            sqlite.write_ahead(sqlite.raw(connection))
        _migrate(engine, place)
    finally:
        engine.dispose()


def _is_current(driver: sqlite3.Connection) -> bool:
    empty = driver.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    return not empty and revision_of(driver) == HEAD


def _migrate(engine: Engine, place: Path) -> None:
    """Under the write lock: whoever comes second finds the work done. A backup goes first, a check goes last."""
    # Batch migrations drop and rename tables; with references checked row by row that would cascade.
    with (
        engine.connect().execution_options(begin="BEGIN IMMEDIATE") as connection,
        sqlite.unchecked(connection),
        connection.begin(),
    ):
        driver = sqlite.raw(connection)
        if _is_current(driver):
            return
        before = revision_of(driver)
        if before is not None:
            # The lock is ours, so nothing can change between this copy and the upgrade.
            back_up_before(place, before)
        upgrade(connection)
        sqlite.check_references(connection, place)
        connection.exec_driver_sql(f"PRAGMA application_id = {sqlite.APPLICATION_ID}")


def back_up_before(place: Path, revision: str) -> Path:
    """Copy the library beside itself before its schema changes; never over an older copy."""
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
    target = place.with_name(f"{place.stem}.before-upgrade-from-{revision}.{stamp}{place.suffix}")
    sqlite.back_up(place, target)
    return target


def _take_back(place: Path) -> None:
    """Remove what a failed first start left behind, if it is still empty."""
    try:
        with sqlite3.connect(place) as connection:
            empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
        connection.close()
        if empty:
            for leftover in (place, sqlite.log_of(place), Path(f"{place}-shm")):
                leftover.unlink(missing_ok=True)
    except (OSError, sqlite3.Error):
        return  # the first error is the one to tell
