"""Whole files: references and pages checked, another library taken in, the backup call."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import (
    Connection,
)

from librarian.collection.problems import LibraryProblem

from .connections import PATIENCE_S, damaged, explain, raw
from .words import empty_words


@contextmanager
def unchecked(connection: Connection) -> Iterator[None]:
    """References are not checked row by row in the block; call `check_references` before its transaction ends.

    Deleting many rows would otherwise look through every table that may point at each of them.
    """
    driver = raw(connection)
    driver.execute("PRAGMA foreign_keys = OFF")
    try:
        yield
    finally:
        driver.execute("PRAGMA foreign_keys = ON")


def broken_references(connection: Connection) -> list[tuple[str, int]]:
    """(table, row id) of rows that point to nothing."""
    return [(str(row[0]), int(row[1] or 0)) for row in raw(connection).execute("PRAGMA foreign_key_check")]


def check_references(connection: Connection, path: Path) -> None:
    """Raises `LibraryProblem` when a row points to nothing, so that the transaction is rolled back."""
    broken = broken_references(connection)
    if broken:
        tables = ", ".join(sorted({table for table, _ in broken}))
        raise LibraryProblem(
            f"{len(broken)} rows of the library {path} would point to nothing ({tables}), so it was left as it was.",
            "Let “librarian library check” look at it, or restore a backup.",
        )


def check_file(connection: Connection) -> list[str]:
    """What SQLite's own check says of the file; empty when it is whole."""
    try:
        said = [str(row[0]) for row in raw(connection).execute("PRAGMA integrity_check(20)")]
    except sqlite3.DatabaseError as error:
        return [str(error)]
    return [] if said == ["ok"] else said


@contextmanager
def attached(connection: Connection, file: Path | None) -> Iterator[None]:
    """Another library file beside the open one, to copy from; nothing for None."""
    if file is None:
        yield
        return
    driver = raw(connection)
    driver.execute("ATTACH DATABASE ? AS taken_in", (str(file),))
    try:
        yield
    finally:
        driver.execute("DETACH DATABASE taken_in")


def copy_table(connection: Connection, table: str, columns: Sequence[str]) -> None:
    """All rows of a table by those of the attached library; ids that were used there are not used again."""
    driver, names = raw(connection), ", ".join(f'"{column}"' for column in columns)
    driver.execute(f"DELETE FROM main.{table}")
    driver.execute(f"INSERT INTO main.{table} ({names}) SELECT {names} FROM taken_in.{table}")
    driver.execute(
        "UPDATE main.sqlite_sequence SET seq = max(seq, coalesce((SELECT seq FROM taken_in.sqlite_sequence AS other "
        "WHERE other.name = main.sqlite_sequence.name), 0)) WHERE name = ?",
        (table,),
    )


def copy_words(connection: Connection) -> None:
    """The index of words by that of the attached library."""
    empty_words(connection)
    raw(connection).execute(
        "INSERT INTO main.word_index(rowid, name, tags, note) "
        "SELECT rowid, name, tags, note FROM taken_in.word_index ORDER BY rowid"
    )


def counter_of_taken_in(connection: Connection) -> int:
    """The counter of changes of the attached library."""
    found = raw(connection).execute("SELECT value FROM taken_in.counter WHERE name = 'change'").fetchone()
    return int(found[0])


def back_up(source: Path, target: Path) -> None:
    """Copy a library that may be in use, as one consistent state, then prove that the copy is whole.

    The copy appears under its name only when it is complete. Raises `LibraryProblem`; then there is no copy.
    """
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        reader = sqlite3.connect(f"{source.as_uri()}?mode=ro", uri=True, timeout=PATIENCE_S)
        try:
            writer = sqlite3.connect(part, isolation_level=None)
            try:
                reader.backup(writer)
                # A single file is easier to carry away than one with a log beside it.
                writer.execute("PRAGMA journal_mode = DELETE")
                said = writer.execute("PRAGMA integrity_check(1)").fetchone()[0]
            finally:
                writer.close()
        finally:
            reader.close()
        if said != "ok":
            raise LibraryProblem(f"A backup of {source} came out damaged ({said}), so it was thrown away.")
        sync_file(part)
        part.replace(target)
        sync_folder(target.parent)
    except sqlite3.Error as error:
        _leave_nothing(part)
        raise _not_copied(error, source, target) from error
    except UnicodeDecodeError as error:  # SQLite quotes what is damaged of the list of tables
        _leave_nothing(part)
        raise damaged(source) from error
    except OSError as error:
        _leave_nothing(part)
        raise LibraryProblem(
            f"No backup could be written to {target}: {error.strerror or error}.",
            "Check the folder and its free space.",
        ) from error
    except BaseException:  # Ctrl+C too
        _leave_nothing(part)
        raise


def _not_copied(error: sqlite3.Error, source: Path, target: Path) -> LibraryProblem:
    """Whose fault it is: the library's, when it cannot be read; else that of the place for the copy."""
    name = getattr(error, "sqlite_errorname", None) or ""
    if name.startswith(("SQLITE_FULL", "SQLITE_IOERR")):
        why, hint = "the disk is full or does not answer", "Free some space, check the disk, then try again."
    elif name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY", "SQLITE_PERM")) and source.is_file():
        why, hint = "no file can be made there", "Check who may write to the folder, or choose another one."
    else:
        return explain(error, source) or LibraryProblem(f"No backup of {source} could be made: {error}.")
    return LibraryProblem(f"No backup could be written to {target}: {why}.", hint)


def _leave_nothing(part: Path) -> None:
    """Remove a begun copy, where its disk still answers; the first problem is the one to tell."""
    with suppress(OSError):
        part.unlink(missing_ok=True)


def sync_file(path: Path) -> None:
    """Make sure that the disk has the file's content."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_folder(path: Path) -> None:
    """Make sure that the disk has the folder's entries (systems that have no such call keep them anyway)."""
    if os.name == "posix":
        sync_file(path)
