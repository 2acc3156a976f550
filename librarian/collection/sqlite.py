"""Everything that only SQLite has: connections, pragmas, the word index, id lists, the backup call, its errors.

A second database would be a second module with these names; nothing else in the collection knows which one it is.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import (
    Connection,
    Engine,
    Integer,
    Select,
    bindparam,
    create_engine,
    event,
    func,
    literal,
    literal_column,
    select,
    table,
    text,
)
from sqlalchemy.exc import DatabaseError, DBAPIError
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.pool import NullPool, QueuePool
from sqlalchemy.sql.elements import ColumnElement

from .problems import BusyLibrary, LibraryProblem
from .schema import Base

Column = ColumnElement[Any] | InstrumentedAttribute[Any]

#: "Libr" in ASCII, in the header of every library file (PRAGMA application_id).
APPLICATION_ID = 0x4C696272
#: Seconds that a read or the start of a write waits for another program before it gives up.
PATIENCE_S = 30.0
#: What one connection may keep of the file in memory.
_CACHE_KIB = 32768

WORD_INDEX = (
    "CREATE VIRTUAL TABLE word_index USING fts5(name, tags, note, tokenize = 'ascii', prefix = '1 2 3', detail = full)"
)
#: Tables that SQLite makes for itself; Alembic's comparison leaves them out.
OWN_TABLES = frozenset({"word_index", "word_index_data", "word_index_idx", "word_index_content", "word_index_docsize",
                        "word_index_config", "sqlite_sequence"})  # fmt: skip
#: Stands between two tags in the index, so that a phrase never runs from one into the next. No word contains it.
BETWEEN = "\ue000"


def open_engine(path: Path, *, patience_s: float = PATIENCE_S, pooled: bool = True) -> Engine:
    """Connections to one file, safe to use from several threads (each statement block checks one out).

    BEGIN is ours, so that schema changes roll back too; foreign keys are on; commits are synced to the disk.
    """

    def connect() -> sqlite3.Connection:
        # Given by ourselves, not by URL: a path may hold any sign, a question mark too.
        return sqlite3.connect(path, timeout=patience_s, check_same_thread=False, isolation_level=None)

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


def write_ahead(connection: sqlite3.Connection) -> None:
    """Readers and one writer at once. Stays with the file."""
    connection.execute("PRAGMA journal_mode = WAL")


# ---- errors -------------------------------------------------------------------------------------------------------


@contextmanager
def as_sentences(path: Path) -> Iterator[None]:
    """Turn what SQLite says into what the person needs to know. Our own errors pass through."""
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


def explain(error: BaseException, path: Path) -> LibraryProblem | None:
    """The sentence for an error of the file or the disk; None when it is a fault of ours."""
    name = getattr(error, "sqlite_errorname", None) or ""
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return BusyLibrary(f"Another program has been writing to the library {path} for {PATIENCE_S:g} s.")
    if name.startswith("SQLITE_NOTADB"):
        return LibraryProblem(
            f"{path} is not a library: it is no SQLite file.", "Choose another file, or a new name to start one."
        )
    if name.startswith("SQLITE_CORRUPT"):
        return LibraryProblem(
            f"The library {path} is damaged.",
            "Restore a backup, or let “librarian library repair” save what is readable into a new file.",
        )
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


# ---- plumbing -----------------------------------------------------------------------------------------------------


def raw(connection: Connection) -> sqlite3.Connection:
    """The driver's own connection under a SQLAlchemy one."""
    return cast(sqlite3.Connection, connection.connection.dbapi_connection)


def insert_many(
    connection: Connection, into: type[Base], columns: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Many rows of one table at the driver's own speed; `rows` in the order of `columns`."""
    names, places = ", ".join(columns), ", ".join("?" for _ in columns)
    raw(connection).executemany(f"INSERT INTO {into.__tablename__} ({names}) VALUES ({places})", rows)


def update_many(connection: Connection, statement: str, rows: Iterable[Sequence[Any]]) -> None:
    """One statement with `?` for many rows, at the driver's own speed."""
    raw(connection).executemany(statement, rows)


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


def next_id(connection: Connection, of: type[Base]) -> int:
    """The first id that was never used in this table; only inside a write, where nobody else inserts."""
    last = connection.execute(
        text("SELECT seq FROM sqlite_sequence WHERE name = :name"), {"name": of.__tablename__}
    ).scalar()
    return int(last or 0) + 1


def in_ids(column: Column, ids: Iterable[int]) -> ColumnElement[bool]:
    """`column` is one of any number of ids, as one bound value."""
    return _in_listing(column, literal(listed(ids)))


def in_named_ids(column: Column) -> ColumnElement[bool]:
    """The same for a statement that is made once: execute it with `{"ids": listed(ids)}`."""
    return _in_listing(column, bindparam("ids"))


def listed(ids: Iterable[int]) -> str:
    """Ids as one value."""
    return json.dumps(list(ids))


def _in_listing(column: Column, value: ColumnElement[Any]) -> ColumnElement[bool]:
    listing = func.json_each(value).table_valued("value")
    return column.in_(select(listing.c.value))


def in_texts(column: Column, texts: Iterable[str]) -> ColumnElement[bool]:
    """`column` is one of any number of texts, as one bound value."""
    listing = func.json_each(json.dumps(list(texts))).table_valued("value")
    return column.in_(select(listing.c.value))


def in_digests(column: Column, digests: Iterable[bytes]) -> ColumnElement[bool]:
    """`column` is one of any number of 16-byte digests, bound as one BLOB that a recursive query cuts."""
    joined = b"".join(digests)
    place = select(literal(1).label("at")).cte("place", recursive=True)
    place = place.union_all(select(place.c.at + 16).where(place.c.at + 16 <= len(joined)))
    return column.in_(select(func.substr(joined, place.c.at, 16)).where(literal(len(joined) > 0)))


def id_array(connection: Connection, query: Select[Any]) -> NDArray[np.int64]:
    """All ids that `query` (one integer column, named `id`) finds, in its order.

    SQLite joins them into one text itself: five times faster than a Python row for each of 200,000.
    """
    inner = query.subquery()
    return _apart(connection.execute(select(func.group_concat(next(iter(inner.c))))).scalar())


def _apart(joined: str | None) -> NDArray[np.int64]:
    if not joined:
        return np.empty(0, np.int64)
    return np.fromstring(joined, dtype=np.int64, sep=",")


def cursor(connection: Connection, query: Any, given: dict[str, object] | None = None) -> sqlite3.Cursor:
    """The driver's own cursor on a query of plain columns, where rows are many or time is short."""
    return cast(sqlite3.Cursor, connection.execute(query, given or {}).cursor)


def unindexed(column: InstrumentedAttribute[Any]) -> ColumnElement[Any]:
    """The column, for a condition by which SQLite shall not choose its way (an index of all live patches, say)."""
    return literal_column(f"+{column.class_.__tablename__}.{column.key}", column.type)


# ---- the word index -----------------------------------------------------------------------------------------------


def index_words(connection: Connection, rows: Iterable[tuple[int, str, str, str]]) -> None:
    """Add patches: id, then folded words of name, tags and note, each joined by spaces."""
    raw(connection).executemany("INSERT INTO word_index(rowid, name, tags, note) VALUES (?, ?, ?, ?)", rows)


def forget_words(connection: Connection, ids: Iterable[int]) -> None:
    """Take patches out of the index."""
    raw(connection).executemany("DELETE FROM word_index WHERE rowid = ?", ((patch,) for patch in ids))


def empty_words(connection: Connection) -> None:
    """Throw the index away and make it anew, empty."""
    connection.exec_driver_sql("DROP TABLE IF EXISTS word_index")
    connection.exec_driver_sql(WORD_INDEX)


def indexed(connection: Connection) -> Iterator[tuple[int, str, str, str]]:
    """What the index holds, by id."""
    yield from raw(connection).execute("SELECT rowid, name, tags, note FROM word_index ORDER BY rowid")


def known_words(connection: Connection, begun: str, most: int = 20) -> list[tuple[str, int]]:
    """Words in the index that begin so, with the number of patches that have them, most frequent first."""
    driver = raw(connection)
    driver.execute("CREATE VIRTUAL TABLE IF NOT EXISTS temp.known_word USING fts5vocab('main', 'word_index', 'row')")
    rows = driver.execute(
        "SELECT term, doc FROM temp.known_word WHERE term >= ? AND term < ? ORDER BY doc DESC, term LIMIT ?",
        (begun, begun + "\U0010ffff", most),
    )
    return [(str(term), int(count)) for term, count in rows]


def check_words(connection: Connection) -> str:
    """Empty, or what SQLite says about the inside of the index (asked by an insert that inserts nothing)."""
    try:
        raw(connection).execute("INSERT INTO word_index(word_index, rank) VALUES ('integrity-check', 0)")
    except sqlite3.DatabaseError as error:
        return str(error)
    return ""


def matching(expression: str) -> Select[Any]:
    """Ids of the patches whose words match; `expression` made of `phrase` with AND and OR only."""
    return (
        select(literal_column("rowid", Integer).label("id"))
        .select_from(table("word_index"))
        .where(literal_column("word_index").op("MATCH")(expression))
    )


def matching_ids(connection: Connection, expression: str) -> NDArray[np.int64]:
    """The same as an array, ascending. Asked with every letter typed, so without any layer between."""
    found = raw(connection).execute(
        "SELECT group_concat(rowid) FROM word_index WHERE word_index MATCH ?", (expression,)
    )
    return _apart(found.fetchone()[0])


def phrase(words: Sequence[str], column: str = "", *, begun: bool = False) -> str:
    """Folded words that follow each other in one column; with `begun` the last one may go on."""
    return (f"{{{column}}} : " if column else "") + '"' + " ".join(words) + '"' + (" *" if begun else "")


# ---- taking another library in ------------------------------------------------------------------------------------


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


# ---- whole files --------------------------------------------------------------------------------------------------


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
        part.unlink(missing_ok=True)
        raise (explain(error, target) or LibraryProblem(f"No backup of {source} could be made: {error}.")) from error
    except OSError as error:
        raise LibraryProblem(
            f"No backup could be written to {target}: {error.strerror or error}.",
            "Check the folder and its free space.",
        ) from error
    except LibraryProblem:
        part.unlink(missing_ok=True)
        raise


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
