"""Repair of single cells that hold something else than their column may: the rest of the row is saved."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.collection import Library, NewPatch, repair
from librarian.collection.schema import Base
from librarian.messages import Version

CELLS = [
    (table.name, column.name)
    for table in Base.metadata.sorted_tables
    for column in table.columns
    if not column.primary_key and table.name not in {"counter", "tag", "patch_tag"}
]


@pytest.mark.parametrize("wrong", ["'strange'", "x'ff00'", "1.5", "NULL"])
@pytest.mark.parametrize(("table", "column"), CELLS, ids=map(".".join, CELLS))
def test_a_cell_of_a_wrong_kind_costs_no_other_sound(
    library: Library, lantern: int, any_sound: Callable[[int], Version], tmp_path: Path,
    table: str, column: str, wrong: str,
) -> None:  # fmt: skip
    made = library.keep_many(
        [NewPatch(lantern, f"Sound {number}", any_sound(number), ("storm",), f"note {number}") for number in range(5)]
    )
    library.add_version(made[0], any_sound(1000), "newer")
    before = {row.id: library.version(row.latest).values for row in library.rows(library.find().ids)}
    library.close()
    spoil(library.path, table, column, wrong)
    result = repair(library.path, tmp_path / "saved.sqlite")
    saved = Library.open(tmp_path / "saved.sqlite")
    try:
        assert saved.check() == (), result.lost
        after = {row.id: saved.version(row.latest).values for row in saved.rows(saved.find().ids)}
        whole = {patch for patch in before if after.get(patch) == before[patch]}
        assert len(whole) >= len(before) - 1, (whole, result.lost)
        assert len(whole) == len(before) or result.lost
    finally:
        saved.close()


def spoil(path: Path, table: str, column: str, wrong: str) -> None:
    """Put `wrong` into that cell of the table's first row, past every promise of the table."""
    with sqlite3.connect(path, isolation_level=None) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute("UPDATE sqlite_master SET sql = replace(sql, ' NOT NULL', '') WHERE name = ?", (table,))
        connection.execute("PRAGMA writable_schema = RESET")
        for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute(f"UPDATE {table} SET {column} = {wrong} WHERE rowid = (SELECT min(rowid) FROM {table})")
    connection.close()
