"""Connections to a library file, what SQLite promises on them, and its errors as sentences."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import cast

from sqlalchemy import (
    Connection,
    Engine,
    create_engine,
    event,
)
from sqlalchemy.exc import DatabaseError, DBAPIError, NoResultFound
from sqlalchemy.pool import NullPool, QueuePool

from librarian.collection.problems import BusyLibrary, LibraryProblem

#: "Libr" in ASCII, in the header of every library file (PRAGMA application_id).
APPLICATION_ID = 0x4C696272
#: Seconds that a read or the start of a write waits for another program before it gives up.
PATIENCE_S = 30.0
#: What one connection may keep of the file in memory.
_CACHE_KIB = 32768


def open_engine(
    path: Path, *, patience_s: float = PATIENCE_S, pooled: bool = True, only_to_read: bool = False
) -> Engine:
    """Connections to one file, safe to use from several threads (each statement block checks one out).

    BEGIN is ours, so that schema changes roll back too; foreign keys are on; commits are synced to the disk.
    `pooled`: for a library that is there; a file that has gone since then is not made anew. `only_to_read`: see
    `reading_uri`.
    """
    # A URI only there: elsewhere the path is given as it is, which may hold any sign, a question mark too.
    place: str | Path = reading_uri(path) if only_to_read else path

    def connect() -> sqlite3.Connection:
        if pooled and not path.exists():
            raise LibraryProblem(
                f"The library {path} is no longer there.", "Check that its disk is connected, then open it again."
            )
        return sqlite3.connect(
            place, timeout=patience_s, check_same_thread=False, isolation_level=None, uri=only_to_read
        )

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool if pooled else NullPool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: object) -> None:
        for pragma in (
            "foreign_keys = ON",
            "synchronous = FULL",
            f"cache_size = -{_CACHE_KIB}",
            # No memory map: a file that vanishes with its USB stick would end the process instead of the query.
            "mmap_size = 0",
            "temp_store = MEMORY",
            "trusted_schema = OFF",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))

    return engine


def reading_uri(path: Path) -> str:
    """How to open a file where nothing can be written, not even the log and the index of the log beside it.

    Without a log no program has it open: then it is read as one that does not change, and whoever reads has to see
    to it that it did not (`file_state`). With a log its writer is there, and the two take turns as always.
    """
    return f"{path.as_uri()}?{'mode=ro' if log_of(path).exists() else 'immutable=1'}"


def file_state(path: Path) -> tuple[int, int, bool]:
    """Another one when a program has written the file or begins to: size, time, whether there is a log."""
    found = path.stat()
    return found.st_size, found.st_mtime_ns, log_of(path).exists()


def log_of(path: Path) -> Path:
    """The log of what is not in the file yet; it lies beside it while a program has it open, or was killed."""
    return Path(f"{path}-wal")


def write_ahead(connection: sqlite3.Connection) -> None:
    """Readers and one writer at once. Stays with the file, but not with its copies: those are single files."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        connection.execute("PRAGMA journal_mode = WAL")


def write_ahead_if_alone(path: Path) -> bool:
    """The same for a library that may be a copy; False while another connection uses it as the single file it is."""
    with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as connection:
        try:
            write_ahead(connection)
        except sqlite3.OperationalError as error:
            if not error.sqlite_errorname.startswith("SQLITE_BUSY"):
                raise
            return False
    return True


@contextmanager
def as_sentences(path: Path, *, opened: bool = False) -> Iterator[None]:
    """Turn what SQLite says into what the person needs to know. Our own errors pass through.

    `opened`: the library was found to be of the present schema. A row that every such library has is then missing only
    where the file is damaged.
    """
    try:
        yield
    except DBAPIError as error:
        if isinstance(error, DatabaseError) and isinstance(error.orig, sqlite3.Error):
            problem = explain(error.orig, path)
            if problem is not None:
                raise problem from error
        raise
    except sqlite3.Error as error:
        problem = explain(error, path)
        if problem is not None:
            raise problem from error
        raise
    except NoResultFound as error:
        if opened:
            raise damaged(path) from error
        raise


def explain(error: BaseException, path: Path) -> LibraryProblem | None:
    """The sentence for an error of the file or the disk; None when it is a fault of ours."""
    name = getattr(error, "sqlite_errorname", None) or ""
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return BusyLibrary(f"Another program has been writing to the library {path} for {PATIENCE_S:g} s.")
    if name.startswith("SQLITE_NOTADB"):
        return LibraryProblem(
            f"{path} is not a library: it is no SQLite file.", "Choose another file, or a new name to start one."
        )
    # A text with damaged bytes is found by Python's module, which has no name for it.
    undecoded = not name and "Could not decode to UTF-8" in str(error)
    headless = name == "SQLITE_ERROR" and str(error) == "unsupported file format"
    if name.startswith("SQLITE_CORRUPT") or undecoded or headless:
        return damaged(path)
    if name.startswith("SQLITE_FULL"):
        return LibraryProblem(
            f"The disk with the library {path} is full; this change was not kept.", "Free some space, then try again."
        )
    if name.startswith(("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH")):
        return LibraryProblem(
            f"The library {path} cannot be written.", "Check who may write to the file and its folder."
        )
    if name.startswith("SQLITE_CANTOPEN"):
        return LibraryProblem(
            f"The library {path} cannot be opened.", "Check that its folder exists and that you may read and write it."
        )
    if name.startswith(("SQLITE_IOERR", "SQLITE_NOLFS")):
        return LibraryProblem(
            f"The disk with the library {path} does not answer as it should ({name}).",
            "Check that it is still connected; nothing half done was kept.",
        )
    if name.startswith("SQLITE_TOOBIG"):
        return LibraryProblem("That is too large to keep in a library; it was not kept.")
    return None


def damaged(path: Path) -> LibraryProblem:
    """The sentence for a file with damage in it."""
    return LibraryProblem(
        f"The library {path} is damaged.",
        "Restore a backup, or let “librarian library repair” save what is readable into a new file.",
    )


def raw(connection: Connection) -> sqlite3.Connection:
    """The driver's own connection under a SQLAlchemy one."""
    return cast(sqlite3.Connection, connection.connection.dbapi_connection)
