"""Single cells that hold something else than their column may: said in sentences, and the rest is saved."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from librarian.collection import Library, NewPatch, repair
from librarian.collection.schema import Base
from librarian.errors import LibrarianError
from librarian.messages import Version

_SQL = {int: "integer", str: "text", bytes: "blob"}
#: How it is written in SQL, and what SQLite then keeps in a column of each kind.
_WRONG = {
    "'strange'": {int: "text", str: "text", bytes: "text"},
    "x'ff00'": {int: "blob", str: "blob", bytes: "blob"},
    "NULL": {int: "null", str: "null", bytes: "null"},
}
CELLS = [
    (table.name, column.name, wrong)
    for table in Base.metadata.sorted_tables
    for column in table.columns
    for wrong, kept in _WRONG.items()
    if not column.primary_key
    and kept[column.type.python_type] != _SQL[column.type.python_type]
    and not (column.nullable and wrong == "NULL")
]
SOUNDS = 5


@pytest.fixture
def whole(library: Library, lantern: int, any_sound: Callable[[int], Version]) -> Path:
    """A closed library with something in every table."""
    made = library.keep_many(
        [NewPatch(lantern, f"Sound {n}", any_sound(n), ("storm",), f"note {n}") for n in range(SOUNDS)]
    )
    library.add_version(made[0], any_sound(1000), "newer")
    library.tag(made[1:3], add=["harbour/low"])
    library.save_search("loud", "tag:storm")
    library.keep_unread([((b"\xf0\x01\xf7",), "old.syx", "nobody knows it")])
    library.set_setting("shown", 1)
    library.close()
    return library.path


def test_every_table_has_a_row_to_spoil(whole: Path) -> None:
    with sqlite3.connect(whole) as connection:
        for table in Base.metadata.tables:
            assert connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0, table
    connection.close()


def test_the_check_of_kinds_finds_nothing_in_a_whole_library(whole: Path) -> None:
    with Library.open(whole) as library:
        assert library.check() == ()


@pytest.mark.parametrize(("table", "column", "wrong"), CELLS, ids=map("-".join, CELLS))
def test_a_cell_of_a_wrong_kind_is_said_and_costs_no_other_sound(
    whole: Path, any_sound: Callable[[int], Version], tmp_path: Path, table: str, column: str, wrong: str
) -> None:
    with Library.open(whole) as library:
        before = {row.id: library.version(row.latest).values for row in library.rows(library.find().ids)}
    spoil(whole, table, column, wrong)
    damaged = tmp_path / "damaged.sqlite"
    shutil.copy(whole, damaged)

    for ask in asked(damaged, any_sound, tmp_path):
        answered_or_said(ask)
    with Library.open(whole) as library:
        assert any(table in line or "counters" in line for line in library.check()), library.check()

    result = repair(whole, tmp_path / "saved.sqlite")
    with Library.open(tmp_path / "saved.sqlite") as saved:
        assert saved.check() == (), result.lost
        after = {row.id: saved.version(row.latest).values for row in saved.rows(saved.find().ids)}
    still = [patch for patch in before if after.get(patch) == before[patch]]
    assert len(still) >= SOUNDS - 1, (still, result.lost)
    assert len(still) == SOUNDS or result.lost


def test_a_row_that_points_beyond_every_table_is_said(whole: Path) -> None:
    spoil(whole, "patch", "content_id", "99999999999999999")
    with Library.open(whole) as library:
        with pytest.raises(LibrarianError, match="damaged"):
            library.value_table("lanternfish")
        assert any("point to nothing" in line for line in library.check())


def answered_or_said(ask: Callable[[], object]) -> None:
    """Anything but an answer or a sentence fails the test."""
    with suppress(LibrarianError):
        ask()


def asked(path: Path, any_sound: Callable[[int], Version], folder: Path) -> Iterator[Callable[[], object]]:
    """What a person may ask of a library and do to it, one after the other."""
    try:
        library = Library.open(path)
    except LibrarianError:
        return
    ids = range(1, SOUNDS + 1)
    with library:
        yield library.check
        for text in ("", "cutoff > 200 Hz", "sound tag:storm", "before:2020 or note", "has:unknown", "from:file"):
            yield lambda text=text: library.rows(library.find(text).ids)
            yield lambda text=text: library.reasons(library.find(text), ids)
        for number in ids:
            yield lambda number=number: library.patch(number)
            yield lambda number=number: library.version(number)
            yield lambda number=number: library.versions(number)
            yield lambda number=number: library.touched(number)
        yield lambda: library.histories(ids)
        yield lambda: library.version_contents(ids)
        yield lambda: library.instruments(removed=True)
        yield lambda: [library.chart_text(chart, revision) for chart, revision, _ in library.charts()]
        yield lambda: library.value_table("lanternfish")
        yield lambda: library.tag_counts(library.find())
        for by in ("tag", "instrument"):
            yield lambda by=by: library.groups(library.find(), by)
        for begun in ("tag:s", "cut", "instrument:", "so"):
            yield lambda begun=begun: library.complete(begun)
        yield lambda: library.called(1, ["Sound 1"])
        yield lambda: library.holders([any_sound(0), any_sound(1)], trash=True)
        yield from (
            library.history, library.same_values, library.unread, library.saved_searches, library.stamp, library.total,
            library.warm, library.undo_label, library.redo_label, library.backups, library.back_up_if_changed,
        )  # fmt: skip
        yield lambda: library.settings("")
        yield lambda: library.back_up(folder / "asked.sqlite")
        yield lambda: library.keep(1, "new", any_sound(77))
        yield lambda: library.keep(1, "again", any_sound(0))
        yield lambda: library.add_version(2, any_sound(78))
        yield lambda: library.set_note(1, "x")
        yield lambda: library.tag(ids, add=["z"])
        yield lambda: library.rename_tag("storm", "wind")
        yield lambda: library.rename_many({1: "q", 3: "z"})
        yield lambda: library.merge(1, [2])
        yield lambda: library.revert(1, 1)
        yield lambda: library.update_instrument(1, name="other")
        yield lambda: library.remove_instrument(1)
        for _ in range(3):
            yield library.undo
        yield library.redo
        yield library.rebuild_index
        yield lambda: library.delete(ids)
        yield library.empty_trash


def spoil(path: Path, table: str, column: str, wrong: str) -> None:
    """Put `wrong` into that cell of the table's first row, past every promise of the table."""
    key = ", ".join(each.name for each in Base.metadata.tables[table].primary_key)
    first = f"({key}) IN (SELECT {key} FROM {table} ORDER BY {key} LIMIT 1)"
    with sqlite3.connect(path, isolation_level=None) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        described = connection.execute("SELECT sql FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
        describe(connection, table, described.replace(" NOT NULL", ""))
        connection.execute(f"UPDATE {table} SET {column} = {wrong} WHERE {first}")
        describe(connection, table, described)
    connection.close()


def describe(connection: sqlite3.Connection, table: str, sql: str) -> None:
    """What SQLite's own list of tables says of one."""
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (sql, table))
    connection.execute("PRAGMA writable_schema = RESET")


@pytest.mark.parametrize("number", ["9223372036854775807", "-9223372036854775808", "9.3e18"])
@pytest.mark.parametrize("counter", ["change", "epoch"])
def test_a_counter_that_nobody_has_counted_to_is_said(
    whole: Path, any_sound: Callable[[int], Version], tmp_path: Path, counter: str, number: str
) -> None:
    with sqlite3.connect(whole) as connection:
        connection.execute(f"UPDATE counter SET value = {number} WHERE name = ?", (counter,))
    connection.close()
    with Library.open(whole) as library:
        assert any("counters" in line for line in library.check())
    for ask in asked(whole, any_sound, tmp_path):
        answered_or_said(ask)


@pytest.mark.parametrize("option", ["prefix", "tokenize"])
def test_a_damaged_description_of_the_index_of_words_is_said(whole: Path, option: str) -> None:
    with sqlite3.connect(whole, isolation_level=None) as connection:
        described = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'word_index'").fetchone()[0]
        describe(connection, "word_index", described.replace(option, "MThdix"))
    connection.close()
    with Library.open(whole) as library:
        with pytest.raises(LibrarianError, match="damaged"):
            library.rows(library.find("storm").ids)
        assert any("word_index" in line for line in library.check())
    repair(whole, whole.with_name("saved.sqlite"))
    with Library.open(whole.with_name("saved.sqlite")) as saved:
        assert len(saved.find("storm").ids) == SOUNDS
