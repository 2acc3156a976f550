"""The index of words: FTS5, fed with words that are folded already, so that it has no opinion of its own."""

from __future__ import annotations

import sqlite3
from collections.abc import Generator, Iterable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Integer, Select, literal_column, select, table

from .connections import raw
from .rows import apart, listed

WORD_INDEX = (
    "CREATE VIRTUAL TABLE word_index USING fts5(name, tags, note, tokenize = 'ascii', prefix = '1 2 3', detail = full)"
)
#: Tables that SQLite makes for itself; Alembic's comparison leaves them out.
OWN_TABLES = frozenset({"word_index", "word_index_data", "word_index_idx", "word_index_content", "word_index_docsize",
                        "word_index_config", "sqlite_sequence"})  # fmt: skip
#: Stands between two tags in the index, so that a phrase never runs from one into the next. No word contains it.
BETWEEN = "\ue000"


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


def indexed(connection: Connection) -> Generator[tuple[int, str, str, str], None, None]:
    """What the index holds, by id."""
    yield from raw(connection).execute("SELECT rowid, name, tags, note FROM word_index ORDER BY rowid")


def indexed_portions(connection: Connection, size: int) -> Iterator[list[tuple[int, str, str, str]]]:
    """The same, so many rows at a time."""
    rows = raw(connection).execute("SELECT rowid, name, tags, note FROM word_index ORDER BY rowid")
    while portion := rows.fetchmany(size):
        yield portion


def indexed_of(connection: Connection, ids: Iterable[int]) -> list[tuple[int, str, str, str]]:
    """The same of these patches only; those that are not in it are left out."""
    query = "SELECT rowid, name, tags, note FROM word_index WHERE rowid IN (SELECT value FROM json_each(?))"
    return raw(connection).execute(query, (listed(ids),)).fetchall()


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
    return apart(found.fetchone()[0])


def phrase(words: Sequence[str], column: str = "", *, begun: bool = False) -> str:
    """Folded words that follow each other in one column; with `begun` the last one may go on."""
    return (f"{{{column}}} : " if column else "") + '"' + " ".join(words) + '"' + (" *" if begun else "")
