"""Check, backups, restore and repair: damage is named, copies are whole, what is readable is saved."""

from __future__ import annotations

import os
import random
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.collection import Library, LibraryProblem, NewerLibrary, NewPatch, backups, repair, sqlite
from librarian.errors import BadInput, Refused
from librarian.messages import Values, Version

AnySound = Callable[[int], Version]


@pytest.fixture
def filled(library: Library, lantern: int, any_sound: AnySound) -> Library:
    sounds = (
        NewPatch(lantern, f"Sound {number}", any_sound(number), ("scene/storm", f"n{number % 7}"), f"note {number}")
        for number in range(60)
    )
    made = library.keep_many(sounds)
    library.add_version(made[0], any_sound(1000), "newer")
    library.delete(made[5:8])
    return library


def shown(library: Library) -> list[tuple]:
    rows = [*library.rows(library.find().ids), *library.rows(library.find(trash=True).ids)]
    return [(row.id, row.name, row.tags, row.note, row.place, library.version(row.latest)) for row in rows]


def break_it(library: Library, statement: str) -> None:
    with sqlite3.connect(library.path) as connection:
        connection.execute(statement)
    connection.close()


def test_a_library_in_use_is_whole(filled: Library) -> None:
    assert filled.check() == ()
    filled.undo()
    filled.tag(filled.find().ids, add=["more"])
    filled.empty_trash()
    assert filled.check() == ()


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE version SET content_id = 9999 WHERE id = 3", "point to nothing, in version"),
        ("UPDATE patch SET latest_id = 9999 WHERE id = 4", r"1 patch \(number 4\) have no latest version"),
        ("UPDATE patch SET latest_id = 7 WHERE id = 4", "no latest version"),
        ("UPDATE patch SET unknown = unknown + 1 WHERE id = 9", r"\(number 9\) show something else"),
        ("UPDATE patch SET versions = 5 WHERE id = 1", "miscount their versions"),
        ("UPDATE patch SET tags = 'x' WHERE id = 2", "spell their tags"),
        ("DELETE FROM patch_tag WHERE patch_id = 2", "spell their tags"),
        ("UPDATE content SET row = zeroblob(length(row)) WHERE id = 5", "do not have the values that were kept"),
        ("UPDATE content SET unknown = 77 WHERE id = 5", "miscount what is unknown"),
        ("UPDATE content SET layout_id = 77 WHERE id = 5", "point to nothing, in content"),
        ("UPDATE content SET row = 'text' WHERE id = 5", "values that were kept"),
        ("UPDATE layout SET parameters = '[\"a'", r"1 list \(number 1\) of which parameter a value belongs to"),
        ("UPDATE layout SET widths = '1,x'", r"1 list \(number 1\) of which parameter a value belongs to"),
        ("UPDATE chart_text SET text = text || ' '", "chart lanternfish revision"),
        ("UPDATE chart_text SET text = x'ff'", "damaged and cannot be read|chart lanternfish revision"),
        ("UPDATE patch SET name = 'Other' WHERE id = 10", r"index of words disagrees with 1 patch \(number 10\)"),
        ("DELETE FROM word_index WHERE rowid = 11", "index of words disagrees"),
        ("INSERT INTO word_index(rowid, name, tags, note) VALUES (777, 'a', 'b', 'c')", r"number 777"),
        ("DELETE FROM word_index_data WHERE id > 10", "index of words is damaged|SQLite finds"),
    ],
)
def test_every_broken_promise_is_named(filled: Library, statement: str, said: str) -> None:
    break_it(filled, statement)
    sentences = filled.check()
    assert any(re.search(said, sentence) for sentence in sentences), sentences
    assert all(sentence.endswith(".") for sentence in sentences)


@pytest.mark.parametrize(
    ("statement", "ask"),
    [
        ("UPDATE layout SET parameters = '['", lambda library: library.find("storm")),
        ("UPDATE layout SET widths = '5'", lambda library: library.find("cutoff > 1 kHz")),
        ("UPDATE content SET row = x'00'", lambda library: library.reasons(library.find("cutoff unknown"), [1])),
        ("UPDATE content SET row = x'00'", lambda library: library.warm()),
        ("UPDATE intent SET at = 1e300", lambda library: library.history()),
        ("UPDATE intent SET changes = x'0011'", lambda library: library.history(patch=1)),
        ("UPDATE intent SET changes = x'0011'", lambda library: library.undo()),
        (
            "UPDATE chart_text SET parameters = '['",
            lambda library: library.add_version(1, Version("lanternfish", 4, Values())),
        ),
        ("DELETE FROM counter", lambda library: library.find()),
        ("DELETE FROM counter WHERE name = 'change'", lambda library: library.rename(1, "Other")),
        ("ALTER TABLE patch RENAME COLUMN note TO n0te", lambda library: library.rows([1])),
        ("ALTER TABLE layout RENAME TO lay0ut", lambda library: library.versions(1) and library.version(1)),
    ],
)
def test_what_is_damaged_is_said_in_a_sentence(
    filled: Library, statement: str, ask: Callable[[Library], object]
) -> None:
    break_it(filled, statement)
    with pytest.raises(LibraryProblem, match="damaged"):
        ask(filled)


def test_a_table_whose_key_has_another_name_is_a_sentence_of_the_check(filled: Library, tmp_path: Path) -> None:
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    head = b"CREATE TABLE instrument (\n\ti"
    data = source.read_bytes()
    assert head + b"d" in data
    source.write_bytes(data.replace(head + b"d", head + b"e"))
    with Library.open(source) as library, pytest.raises(LibraryProblem, match="damaged"):
        library.check()


def test_a_damaged_list_of_tables_leaves_no_copy(filled: Library, tmp_path: Path) -> None:
    break_it(filled, "PRAGMA wal_checkpoint(TRUNCATE)")
    data = filled.path.read_bytes()
    assert b"CREATE TABLE saved_search" in data
    filled.path.write_bytes(data.replace(b"CREATE TABLE saved_search", b"CREATE TABLE \xe3aved_search"))
    with pytest.raises(LibraryProblem, match="damaged"):
        sqlite.back_up(filled.path, tmp_path / "copy.sqlite")
    assert not list(tmp_path.glob("copy*"))


def test_received_bytes_are_proved_by_their_hash(library: Library, lantern: int, sound) -> None:
    library.keep(lantern, "With bytes", sound())
    assert library.check() == ()
    break_it(library, "UPDATE received SET raw = x'f07d02f7'")
    assert "not the bytes that were kept" in library.check()[0]
    break_it(library, "UPDATE received SET lengths = 'five'")
    assert any("damaged and cannot be read" in sentence for sentence in library.check())


def test_the_index_is_made_anew(filled: Library) -> None:
    break_it(filled, "DELETE FROM word_index")
    assert len(filled.find("sound")) == 0
    assert filled.rebuild_index() == 57
    assert len(filled.find("sound")) == 57
    assert filled.check() == ()


# ---- backups ------------------------------------------------------------------------------------------------------


def test_a_backup_is_a_whole_library(filled: Library, tmp_path: Path) -> None:
    before = shown(filled)
    row = filled.back_up(tmp_path / "new folder" / "copy.sqlite")
    assert (row.patches, row.change) == (57, filled.stamp())
    with Library.open(row.path) as copy:
        assert shown(copy) == before
        assert copy.check() == ()
    with pytest.raises(Refused, match="exists already"):
        filled.back_up(row.path)
    assert not list(row.path.parent.glob("*.part"))


def test_backups_are_made_when_something_changed_and_take_turns(filled: Library, lantern: int, any_sound) -> None:
    filled.keep_backups(number=3)
    assert filled.back_up_if_changed() is not None
    assert filled.back_up_if_changed() is None
    for number in range(5):
        filled.keep(lantern, f"More {number}", any_sound(number))
        made = filled.back_up_if_changed()
        assert made is not None
        assert filled.backups()[0] == made
    rows = filled.backups()
    assert [row.patches for row in rows] == [62, 61, 60]
    assert {row.reason for row in rows} == {"start"}
    with pytest.raises(BadInput, match="0 backups"):
        filled.keep_backups(number=0)


def test_a_clock_set_back_does_not_cost_the_newest_copy(filled: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    import datetime as clock

    filled.keep_backups(number=1)
    filled.back_up_if_changed()

    class Earlier(clock.datetime):
        @classmethod
        def now(cls, tz=None):
            return clock.datetime(2001, 1, 1, tzinfo=tz)

    filled.rename(filled.find().ids[0], "Changed")
    monkeypatch.setattr(backups, "datetime", Earlier)
    made = filled.back_up_if_changed()
    assert [row.path for row in filled.backups()] == [made.path]
    assert made.change == filled.stamp()


def test_the_folder_of_backups_is_a_setting(filled: Library, tmp_path: Path) -> None:
    filled.keep_backups(folder=tmp_path / "elsewhere")
    assert filled.back_up_if_changed().path.parent == tmp_path / "elsewhere"
    (tmp_path / "file").write_text("x")
    filled.keep_backups(folder=tmp_path / "file")
    with pytest.raises(LibraryProblem, match="folder for backups"):
        filled.back_up_if_changed()


def test_restoring_is_one_step_and_can_be_gone_back(filled: Library, lantern: int, any_sound) -> None:
    early = shown(filled)
    backup = filled.back_up_if_changed().path
    filled.set_setting("some", [1, "two"])
    filled.rename(filled.find().ids[0], "Renamed")
    extra = filled.keep(lantern, "Kept later", any_sound(5000))
    late, stamp = shown(filled), filled.stamp()
    with Library.open(filled.path) as other:
        other.warm()
        filled.restore_backup(backup)
        assert shown(filled) == early == shown(other)
        assert filled.check() == ()
        assert filled.stamp() > stamp
        assert filled.setting("some") == [1, "two"]
        assert filled.undo_label().startswith("Restore the backup of ")
        assert other.undo().startswith("Restore the backup of ")
        assert shown(filled) == late == shown(other)
        assert filled.undo_label() == "Keep “Kept later”"
        assert filled.redo().startswith("Restore the backup of ")
        assert shown(filled) == early
        filled.undo()
    assert filled.undo() == "Keep “Kept later”"
    assert filled.keep(lantern, "New", any_sound(1)) > extra
    assert filled.check() == ()


def test_copies_that_undo_needs_do_not_give_way(filled: Library, lantern: int, any_sound) -> None:
    filled.keep_backups(number=1)
    early = shown(filled)
    backup = filled.back_up_if_changed().path
    filled.rename(filled.find().ids[0], "Renamed")
    late = shown(filled)
    before = filled.restore_backup(backup)
    for number in range(3):
        filled.keep(lantern, f"More {number}", any_sound(number))
        filled.back_up_if_changed()
    assert {backup, before} < {row.path for row in filled.backups()}
    for _ in range(3):
        filled.undo()
    assert shown(filled) == early
    filled.undo()
    assert shown(filled) == late
    filled.redo()
    assert shown(filled) == early


def test_what_was_left_behind_of_a_copy_goes(filled: Library, tmp_path: Path) -> None:
    made = filled.back_up_if_changed()
    old, young = (made.path.with_name(f"{made.path.name}{number}.sqlite.part") for number in range(2))
    for part in (old, young):
        part.write_bytes(b"begun")
    os.utime(old, (1, 1))
    filled.rename(filled.find().ids[0], "Changed")
    filled.back_up_if_changed()
    assert (old.exists(), young.exists()) == (False, True)


@pytest.mark.parametrize("name", ["other one.sqlite", "{stem}.library", "{stem}"])
def test_two_libraries_may_keep_their_copies_in_one_folder(filled: Library, tmp_path: Path, name: str) -> None:
    with Library.open(filled.path.with_name(name.format(stem=filled.path.stem))) as other:
        assert other.path != filled.path
        for each in (filled, other):
            each.keep_backups(folder=tmp_path / "copies", number=1)
            assert each.back_up_if_changed() is not None
            assert each.back_up_if_changed() is None
        filled.rename(filled.find().ids[0], "Changed")
        filled.back_up_if_changed()
        assert len(other.backups()) == 2


def test_what_cannot_be_restored_changes_nothing(filled: Library, tmp_path: Path) -> None:
    before = shown(filled)
    other = tmp_path / "other.sqlite"
    with pytest.raises(LibraryProblem, match="There is no backup"):
        filled.restore_backup(other)
    other.write_text("no library " * 1000)
    with pytest.raises(LibraryProblem, match="no SQLite file"):
        filled.restore_backup(other)
    copy = filled.back_up(tmp_path / "copy.sqlite").path
    with sqlite3.connect(copy) as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'later'")
    connection.close()
    with pytest.raises(NewerLibrary):
        filled.restore_backup(copy)
    assert shown(filled) == before
    assert filled.check() == ()


def test_emptying_the_trash_leaves_a_backup(filled: Library) -> None:
    thrown = list(filled.find(trash=True).ids)
    assert filled.empty_trash() == 3
    assert filled.rows(thrown) == []
    backup = filled.backups()[0]
    assert backup.reason == "before-emptying"
    with Library.open(backup.path) as copy:
        assert list(copy.find(trash=True).ids) == thrown


# ---- repair -------------------------------------------------------------------------------------------------------


def whole_file(library: Library, path: Path) -> Path:
    return library.back_up(path).path


def test_an_undamaged_library_is_saved_whole(filled: Library, tmp_path: Path) -> None:
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    before = source.read_bytes()
    done = repair(source, tmp_path / "saved.sqlite")
    assert done.lost == []
    assert done.saved["patch"] == 60
    assert source.read_bytes() == before
    with Library.open(done.into) as saved:
        assert shown(saved) == shown(filled)
        assert saved.check() == ()
        assert saved.undo_label() is None
    with pytest.raises(Refused, match="exists already"):
        repair(source, done.into)


@pytest.mark.parametrize(
    "statement", ["DELETE FROM layout", "UPDATE layout SET parameters = '['", "UPDATE layout SET widths = x'05'"]
)
def test_without_the_layouts_all_values_are_saved_by_the_kept_chart(
    filled: Library, tmp_path: Path, statement: str
) -> None:
    before = shown(filled)
    break_it(filled, statement)
    done = repair(filled.path, tmp_path / "saved.sqlite")
    with Library.open(done.into) as saved:
        assert shown(saved) == before
        assert saved.check() == ()


def spoil(path: Path, luck: random.Random, *, schema: bool) -> None:
    """Fill pages with noise: three of those with rows, or all that hold the list of tables."""
    with sqlite3.connect(path) as connection:
        pages = connection.execute("SELECT pageno, name FROM dbstat").fetchall()
    connection.close()
    wanted = [number for number, name in pages if (name == "sqlite_schema") == schema and number > 1]
    raw = bytearray(path.read_bytes())
    for page in wanted if schema else luck.sample(wanted, 3):
        raw[(page - 1) * 4096 : page * 4096] = luck.randbytes(4096)
    path.write_bytes(raw)


def test_without_its_list_of_tables_all_is_saved_by_that_of_every_library(filled: Library, tmp_path: Path) -> None:
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    spoil(source, random.Random(1), schema=True)
    done = repair(source, tmp_path / "saved.sqlite")
    assert [sentence[:31] for sentence in done.lost] == ["The list of tables was damaged;"]
    with Library.open(done.into) as saved:
        assert (saved.check(), shown(saved)) == ((), shown(filled))


@pytest.mark.parametrize("seed", range(6))
def test_damaged_pages_cost_only_what_was_on_them(filled: Library, tmp_path: Path, seed: int) -> None:
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    spoil(source, random.Random(seed), schema=False)
    kept = {row[0]: [filled.version(one.id).values for one in filled.versions(row[0])] for row in shown(filled)}
    done = repair(source, tmp_path / "saved.sqlite")
    wanted = {row[0]: row for row in shown(filled)}
    with Library.open(done.into) as saved:
        assert saved.check() == ()
        for row in shown(saved):
            number, name, tags, note, _, version = row
            assert (name, tags, note) == wanted[number][1:4]
            # An older version may have become the latest where the newest was lost; never values that were not kept.
            assert version.values in kept[number]
        assert len(shown(saved)) == len(wanted) or done.lost


def test_values_that_were_changed_are_not_saved_as_true(filled: Library, tmp_path: Path) -> None:
    break_it(filled, "UPDATE content SET row = zeroblob(length(row)) WHERE id IN (5, 6)")
    break_it(filled, "UPDATE patch SET latest_id = 99999 WHERE id = 20")
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    done = repair(source, tmp_path / "saved.sqlite")
    assert "2 sets of values were damaged." in done.lost
    assert "2 patches without any version." in done.lost
    with Library.open(done.into) as saved:
        assert saved.check() == ()
        assert len(shown(saved)) == 58


def test_no_sound_goes_with_its_instrument_or_chart(filled: Library, tmp_path: Path) -> None:
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    with sqlite3.connect(source) as connection:
        connection.execute("DELETE FROM instrument")
        connection.execute("DELETE FROM chart_text")
    connection.close()
    done = repair(source, tmp_path / "saved.sqlite")
    assert any("Lost instrument 1" in sentence for sentence in done.lost)
    with Library.open(done.into) as saved:
        assert saved.check() == ()
        assert shown(saved) == shown(filled)
        assert [(row.name, row.chart) for row in saved.instruments()] == [("Lost instrument 1", "lanternfish")]


def test_nothing_to_repair(tmp_path: Path) -> None:
    path = tmp_path / "text"
    path.write_text("text " * 2000)
    with pytest.raises(LibraryProblem, match=r"Nothing of .* can be read"):
        repair(path, tmp_path / "saved.sqlite")
    with sqlite3.connect(tmp_path / "other.sqlite") as connection:
        connection.execute("CREATE TABLE x (y)")
    connection.close()
    with pytest.raises(LibraryProblem, match="not a library"):
        repair(tmp_path / "other.sqlite", tmp_path / "saved.sqlite")
    assert not (tmp_path / "saved.sqlite").exists()


def test_a_copy_that_cannot_be_written_names_its_own_place(
    filled: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_room_for_copies: None
) -> None:
    target = tmp_path / "copy.sqlite"
    with pytest.raises(LibraryProblem, match=r"No backup could be written to .*copy\.sqlite: the disk is full"):
        filled.back_up(target)
    monkeypatch.undo()
    (tmp_path / "copy.sqlite.part").mkdir()
    with pytest.raises(LibraryProblem, match=r"No backup could be written to .*copy\.sqlite"):
        filled.back_up(target)
    assert not target.exists()
    assert filled.check() == ()


@pytest.mark.parametrize("indexed", [True, False], ids=["with the index", "without it"])
def test_a_sound_that_lost_its_name_is_saved_all_the_same(filled: Library, tmp_path: Path, indexed: bool) -> None:
    before = {row[0]: row for row in shown(filled)}
    source = whole_file(filled, tmp_path / "damaged.sqlite")
    with sqlite3.connect(source) as connection:
        connection.execute("DELETE FROM patch WHERE id IN (20, 21)")
        if not indexed:
            connection.execute("DELETE FROM word_index WHERE rowid IN (20, 21)")
    connection.close()
    done = repair(source, tmp_path / "saved.sqlite")
    assert [one for one in done.lost if one.startswith("2 sounds lost tags and note")]
    with Library.open(done.into) as saved:
        assert saved.check() == ()
        after = {row[0]: row for row in shown(saved)}
        assert set(after) == set(before)
        assert [after[patch][1] for patch in (20, 21)] == (
            ["sound 19", "sound 20"] if indexed else ["Lost name 20", "Lost name 21"]
        )
        assert [after[patch][5] for patch in (20, 21)] == [before[patch][5] for patch in (20, 21)]
        assert {saved.patch(patch).instrument for patch in (20, 21)} == {saved.patch(1).instrument}
