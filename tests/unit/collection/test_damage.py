"""More kinds of damage to a library: cut off, numbers and kinds of values that were never written, the list of tables.

Whoever asks gets a sentence, and a repair ends, saves what is there, and says what is not.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.collection import Library, LibraryProblem, NewPatch, repair
from librarian.collection.backups import count
from librarian.messages import Version

AnySound = Callable[[int], Version]


@pytest.fixture
def filled(library: Library, lantern: int, any_sound: AnySound) -> Library:
    for start in range(0, 400, 50):  # so that the pages of the tables lie among each other
        library.keep_many(
            NewPatch(lantern, f"Sound {number}", any_sound(number), (f"n{number % 7}",), f"note {number}")
            for number in range(start, start + 50)
        )
    library.tag([3], add=["more"])
    return library


def copy_of(library: Library, folder: Path, *statements: str) -> Path:
    """The library as a single file, with these done to it, also against its own rules."""
    path = library.back_up(folder / "damaged.sqlite").path
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA ignore_check_constraints = ON")
    connection.execute("PRAGMA writable_schema = ON")
    for statement in statements:
        connection.execute(statement)
    connection.close()
    return path


def saved_names(path: Path) -> set[str]:
    with Library.open(path) as library:
        assert library.check() == ()
        return {row.name for row in library.rows(library.find().ids)}


@pytest.mark.parametrize("share", [0.95, 0.7])
def test_what_is_left_of_a_file_that_was_cut_off_is_saved(filled: Library, tmp_path: Path, share: float) -> None:
    """As when a stick was pulled or a disk was full while the file was copied."""
    path = copy_of(filled, tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(LibraryProblem, match="damaged"):
        Library.open(path)
    done = repair(path, tmp_path / "saved.sqlite")
    names = saved_names(done.into)
    assert len(names) > 400 * share / 2
    assert len(names) == 400 or done.lost
    assert path.read_bytes() == whole[: int(len(whole) * share)]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE sqlite_schema SET name = 'verzion', tbl_name = 'verzion' WHERE name = 'version'",
        "UPDATE sqlite_schema SET sql = 'CREATE TABLE nothing' WHERE name = 'content'",
        "DELETE FROM sqlite_schema WHERE tbl_name IN ('patch', 'received')",
        "UPDATE sqlite_schema SET rootpage = 99999 WHERE name = 'tag'",
    ],
)
def test_a_table_that_is_no_longer_in_the_list_is_saved(filled: Library, tmp_path: Path, statement: str) -> None:
    path = copy_of(filled, tmp_path, statement)
    done = repair(path, tmp_path / "saved.sqlite")
    assert len(saved_names(done.into)) == 400


def test_a_first_page_that_is_gone_costs_nothing(filled: Library, tmp_path: Path) -> None:
    path = copy_of(filled, tmp_path)
    path.write_bytes(bytes(4096) + path.read_bytes()[4096:])
    done = repair(path, tmp_path / "saved.sqlite")
    assert done.lost == ["The list of tables was damaged; it was taken to be that of every library."]
    assert len(saved_names(done.into)) == 400


def test_what_is_no_library_is_not_taken_for_one(tmp_path: Path) -> None:
    """Pages of another program where a library has its tables."""
    path = tmp_path / "other.sqlite"
    connection = sqlite3.connect(path)
    for number in range(40):
        connection.execute(f"CREATE TABLE t{number} (id INTEGER PRIMARY KEY, a, b, c, d)")
        connection.execute(f"INSERT INTO t{number} VALUES (1, 1, 2, 3, x'00')")
    connection.commit()
    connection.close()
    for data in (path.read_bytes(), bytes(4096) + path.read_bytes()[4096:], b"", b"\xff" * 400_000):
        path.write_bytes(data)
        with pytest.raises(LibraryProblem, match=r"can be read|not a library"):
            repair(path, tmp_path / "saved.sqlite")
        assert [each.name for each in tmp_path.iterdir()] == ["other.sqlite"]


@pytest.mark.parametrize("number", [1 << 62, (1 << 63) - 1, -(1 << 62)])
@pytest.mark.parametrize("table", ["patch", "version", "content", "intent"])
def test_a_number_that_was_never_given_does_not_hold_a_repair_up(
    filled: Library, tmp_path: Path, table: str, number: int
) -> None:
    path = copy_of(filled, tmp_path, f"UPDATE {table} SET id = {number} WHERE id = (SELECT max(id) FROM {table})")
    done = repair(path, tmp_path / "saved.sqlite")
    assert any(f"in the table {table} could not be read" in sentence for sentence in done.lost)
    assert len(saved_names(done.into)) >= 399
    with Library.open(done.into) as library:
        library.keep(1, "After", library.version(1))  # numbers go on where they were


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE patch SET instrument_id = 'x' WHERE id = 7",
        "UPDATE patch SET latest_id = 1.5 WHERE id = 7",
        "UPDATE patch SET name = 12 WHERE id = 7",
        "UPDATE patch SET tags = x'ff' WHERE id = 7",
        "UPDATE patch SET taken = 'never' WHERE id = 7",
        "UPDATE version SET patch_id = 'x' WHERE id = 7",
        "UPDATE version SET number = 'one' WHERE id = 7",
        "UPDATE version SET state = 9 WHERE id = 7",
        "UPDATE version SET received_id = -3 WHERE id = 7",
        "UPDATE version SET parent_id = 0 WHERE id = 7",
        "UPDATE content SET row = 5 WHERE id = 7",
        "UPDATE content SET layout_id = 'x' WHERE id = 7",
        "UPDATE layout SET widths = 11",
        "UPDATE chart_text SET text = 5",
        "UPDATE chart_text SET revision = 'x'",
        "UPDATE instrument SET chart_text_id = x'00'",
        "UPDATE instrument SET channel = 'x'",
        "UPDATE received SET lengths = 5",
    ],
)
def test_a_value_of_another_kind_stops_no_repair(filled: Library, tmp_path: Path, statement: str) -> None:
    path = copy_of(filled, tmp_path, statement)
    done = repair(path, tmp_path / "saved.sqlite")
    names = saved_names(done.into)
    assert len(names) == 400 or (done.lost and len(names) == 399)


@pytest.mark.parametrize(
    ("statement", "ask"),
    [
        ("UPDATE setting SET value = '{'", lambda library: library.backups_kept),
        ("UPDATE setting SET value = x'ff'", lambda library: library.settings("")),
        ("DELETE FROM patch WHERE id = 3", lambda library: library.undo()),
        ("DELETE FROM counter", lambda library: count(library.path)),
        (
            "UPDATE sqlite_schema SET sql = replace(sql, 'prefix', 'pbefix') WHERE name = 'word_index'",
            lambda library: library.find("sound"),
        ),
        (
            "UPDATE sqlite_schema SET sql = replace(sql, 'prefix', 'pbefix') WHERE name = 'word_index'",
            lambda library: library.complete("so"),
        ),
    ],
)
def test_whoever_asks_gets_a_sentence(
    filled: Library, tmp_path: Path, statement: str, ask: Callable[[Library], object]
) -> None:
    filled.keep_backups(number=5)
    path = copy_of(filled, tmp_path, statement)
    with Library.open(path) as library, pytest.raises(LibraryProblem, match=r"damaged|contradicts itself"):
        ask(library)


def test_a_chart_whose_text_is_damaged_costs_only_its_parameters(filled: Library, tmp_path: Path) -> None:
    path = copy_of(filled, tmp_path, "UPDATE chart_text SET text = 5")
    with Library.open(path) as library:
        assert len(library.find('"note 17"')) == 1
        assert library.find("cutoff > 1 kHz").problems
        assert any("text of chart lanternfish" in sentence for sentence in library.check())


def test_a_tag_or_instrument_that_became_a_number_is_offered_as_one(filled: Library, tmp_path: Path) -> None:
    path = copy_of(filled, tmp_path, "UPDATE tag SET name = 5, key = 5 WHERE id = 1", "UPDATE instrument SET name = 5")
    with Library.open(path) as library:
        assert "instrument:5" in {each.text for each in library.complete("5")}
        assert len(library.find("instrument:5")) == 400
        assert len(library.find("tag:5")) == 58
