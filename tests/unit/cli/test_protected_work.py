"""Who only works in the terminal is protected: a copy comes before the first change in some hours."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

from librarian.collection import backups
from tests.unit.cli.conftest import Run

READING = (("find",), ("show", 1), ("tags",), ("history",), ("library", "check"), ("trash", "list"))


def copies(library: Path) -> list[Path]:
    return sorted(backups.default_folder(library).glob("*"))


def aged(library: Path, by: timedelta) -> None:
    """As if every copy had been made so much earlier."""
    for path in copies(library):
        stem, _stamp, reason, end = path.name.rsplit(".", 3)
        stamp = (datetime.now(UTC) - by).strftime("%Y%m%d-%H%M%S-%f")
        path.rename(path.with_name(f"{stem}.{stamp}.{reason}.{end}"))


def test_what_only_reads_makes_no_copy(run: Run, small: dict[str, int], library_path: Path, tmp_path: Path) -> None:
    for words in (*READING, ("export", "1", "--to", tmp_path / "out.csv")):
        assert run(*words).code == 0, words
    assert copies(library_path) == []


def test_the_first_change_is_preceded_by_a_copy_of_what_was(
    run: Run, small: dict[str, int], library_path: Path
) -> None:
    ran = run("rename", "Low tide", "Ebb")
    assert (ran.code, ran.err) == (0, "")
    (copy,) = copies(library_path)
    with sqlite3.connect(copy) as connection:
        assert ("Low tide",) in connection.execute("SELECT name FROM patch").fetchall()
    connection.close()
    run("rename", "Ebb", "Low again")
    run("tag", "Flood", "loud")
    assert copies(library_path) == [copy]
    listed = run("--json", "library", "backups").answer["backups"]
    assert [row["reason"] for row in listed] == ["before-change"]


def test_some_hours_later_the_next_change_makes_another_one(
    run: Run, small: dict[str, int], library_path: Path
) -> None:
    run("rename", "Low tide", "Ebb")
    aged(library_path, timedelta(hours=7))
    run("tag", "Flood", "wild")
    assert len(copies(library_path)) == 2
    run("undo")
    assert len(copies(library_path)) == 2


def test_without_a_change_since_the_last_copy_there_is_no_other(
    run: Run, small: dict[str, int], library_path: Path
) -> None:
    run("rename", "Low tide", "Ebb")
    copies(library_path)[0].unlink()
    run("library", "keep-backups", "--number", 5)  # a setting is no change of what is kept, but it is written
    aged(library_path, timedelta(hours=7))
    before = copies(library_path)
    run("library", "keep-backups", "--number", 6)
    assert copies(library_path) == before


def test_a_clock_that_was_set_back_costs_no_copy_and_makes_none_for_every_verb(
    run: Run, small: dict[str, int], library_path: Path
) -> None:
    run("rename", "Low tide", "Ebb")
    aged(library_path, timedelta(days=-400))
    for name in ("One", "Two", "Three"):
        run("rename", small["Low tide"], name)
    assert len(copies(library_path)) == 2


def test_a_new_library_has_nothing_to_copy(run: Run, library_path: Path) -> None:
    assert run("library", "keep-backups", "--number", 5).code == 0
    assert copies(library_path) == []


def test_a_damaged_copy_is_no_reason_to_make_none(run: Run, small: dict[str, int], library_path: Path) -> None:
    run("rename", "Low tide", "Ebb")
    copies(library_path)[0].write_bytes(b"cut short")
    run("rename", "Ebb", "Low again")
    assert sorted(path.read_bytes()[:6] for path in copies(library_path)) == [b"SQLite", b"cut sh"]


def test_a_copy_that_cannot_be_made_is_said_and_the_work_goes_on(
    run: Run, small: dict[str, int], library_path: Path
) -> None:
    backups.default_folder(library_path).write_text("a file where the folder should be")
    ran = run("rename", "Low tide", "Ebb")
    assert ran.code == 0
    assert ran.err.startswith("No backup was made before this change; the work goes on. The folder for backups ")
    assert "Choose another folder" in ran.err
    assert [one["name"] for one in run("--json", "find", "ebb").answer["patches"]] == ["Ebb"]
    ran = run("--json", "rename", "Ebb", "Low again")
    assert ran.answer["ok"]
    assert "No backup was made" in ran.err


def test_a_full_disk_for_copies_stops_nothing(
    run: Run, small: dict[str, int], library_path: Path, no_room_for_copies: None
) -> None:
    ran = run("rename", "Low tide", "Ebb")
    assert ran.code == 0
    assert "full" in ran.err
    assert copies(library_path) == []


def test_a_risky_change_makes_one_copy_and_not_two(run: Run, small: dict[str, int], library_path: Path) -> None:
    run("rename", "Low tide", "Ebb")
    first = shutil.copy(copies(library_path)[0], library_path.with_name("kept.sqlite"))
    aged(library_path, timedelta(hours=7))
    run("library", "go-back", first)
    assert [path.name.rsplit(".", 2)[1] for path in copies(library_path)] == ["before-change", "before-restore"]
