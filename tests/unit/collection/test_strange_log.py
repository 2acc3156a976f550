"""A log of another state beside a library file: SQLite would mix the two without a word, so it is refused, and kept."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.chart import Chart
from librarian.collection import Library, LibraryProblem, repair
from librarian.messages import Address, Version

AnySound = Callable[[int], Version]


def log_of(path: Path) -> Path:
    return Path(f"{path}-wal")


def as_left_by_a_killed_program(library: Library, folder: Path) -> Path:
    """File and log as they are on the disk at this moment."""
    folder.mkdir()
    left = folder / "library.sqlite"
    shutil.copy(library.path, left)
    shutil.copy(log_of(library.path), log_of(left))
    return left


def names(path: Path) -> list[str]:
    with Library.open(path) as library:
        assert library.check() == ()
        return sorted(row.name for row in library.rows(library.find().ids))


def write_into_the_file(library: Library) -> None:
    """All of the log; the next change begins it anew."""
    with library._store.read() as connection:
        connection.exec_driver_sql("COMMIT")
        assert connection.exec_driver_sql("PRAGMA wal_checkpoint(RESTART)").fetchone()[0] == 0
        connection.exec_driver_sql("BEGIN")


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture
def old_and_killed(library: Library, lantern: int, any_sound: AnySound, tmp_path: Path) -> tuple[Path, Path]:
    """An older copy, and a library whose program was killed, with changes in its log."""
    library.keep(lantern, "Old", any_sound(1))
    old = library.back_up(tmp_path / "old.sqlite").path
    library.keep(lantern, "Middle", any_sound(2))
    write_into_the_file(library)
    library.keep(lantern, "Late", any_sound(3))
    return old, as_left_by_a_killed_program(library, tmp_path / "killed")


def refused(path: Path) -> None:
    before = files(path.parent)
    for do in (
        lambda: Library.open(path),
        lambda: repair(path, path.with_name("repaired.sqlite")),
    ):
        with pytest.raises(LibraryProblem, match=r"its log library\.sqlite-wal do not belong together") as problem:
            do()
        assert "move library.sqlite-wal into another folder" in problem.value.hint
    assert files(path.parent) == before


def test_an_older_copy_over_a_library_that_was_not_closed(old_and_killed: tuple[Path, Path], tmp_path: Path) -> None:
    old, killed = old_and_killed
    own = tmp_path / "own.sqlite"
    shutil.copy(killed, own)
    shutil.copy(old, killed)
    refused(killed)
    # Both roads that the sentence names.
    log = tmp_path / "kept-wal"
    log_of(killed).rename(log)
    assert names(killed) == ["Old"]
    shutil.copy(own, killed)
    log.rename(log_of(killed))
    assert names(killed) == ["Late", "Middle", "Old"]


def test_the_log_of_another_library(
    old_and_killed: tuple[Path, Path], tmp_path: Path, lanternfish: Chart, any_sound: AnySound
) -> None:
    other = tmp_path / "other.sqlite"
    with Library.open(other) as library:
        unit = library.add_instrument(lanternfish, "Lanternfish", Address())
        for number in range(5):  # as many changes as the other one
            library.keep(unit, f"Other {number}", any_sound(number))
    shutil.copy(other, old_and_killed[1])
    refused(old_and_killed[1])


def test_a_copy_that_went_its_own_way(old_and_killed: tuple[Path, Path], tmp_path: Path, any_sound: AnySound) -> None:
    """As on a second computer: the same library, with as many changes, but others."""
    old, killed = old_and_killed
    for count in (1, 2, 3):
        with Library.open(old) as library:
            library.keep(1, f"Elsewhere {count}", any_sound(10 + count))
        shutil.copy(old, killed)
        refused(killed)


def test_an_older_log_beside_a_newer_file(old_and_killed: tuple[Path, Path], any_sound: AnySound) -> None:
    killed = old_and_killed[1]
    older = log_of(killed).read_bytes()
    with Library.open(killed) as library:
        library.keep(1, "Later", any_sound(4))
    log_of(killed).write_bytes(older)
    refused(killed)


def test_a_restored_library_has_marks_too(library: Library, lantern: int, any_sound: AnySound, tmp_path: Path) -> None:
    library.keep(lantern, "Old", any_sound(1))
    old = library.back_up(tmp_path / "old.sqlite").path
    library.keep(lantern, "Late", any_sound(2))
    write_into_the_file(library)
    library.restore_backup(old)
    killed = as_left_by_a_killed_program(library, tmp_path / "killed")
    assert names(killed) == ["Old"]
    killed = as_left_by_a_killed_program(library, tmp_path / "again")
    shutil.copy(old, killed)
    refused(killed)


@pytest.mark.parametrize("seed", range(4))
def test_a_killed_program_leaves_what_belongs_together(
    library: Library, lantern: int, any_sound: AnySound, tmp_path: Path, seed: int
) -> None:
    """After every change, with any part of the log written into the file, and with a log that was begun anew."""
    luck = random.Random(seed)
    kept: list[str] = []
    for count in range(25):
        what = luck.random()
        if what < 0.2 and kept:
            library.set_setting("any", count)  # a write that is no change
        elif what < 0.3 and kept:
            library.undo()
            library.redo()
        else:
            library.keep(lantern, f"n{count:02}", any_sound(count))
            kept.append(f"n{count:02}")
        if luck.random() < 0.25:
            write_into_the_file(library)
        killed = as_left_by_a_killed_program(library, tmp_path / str(count))
        torn = write_some_pages(killed, luck)
        assert names(torn) == sorted(kept)


def write_some_pages(path: Path, luck: random.Random) -> Path:
    """A program killed while it writes its log into the file: some pages of one state are in it already."""
    log = log_of(path).read_bytes()
    salts, frames = log[16:24], []
    for at in range(32, len(log), 24 + 4096):
        if log[at + 8 : at + 16] != salts:
            break
        frames.append((int.from_bytes(log[at : at + 4], "big"), log[at + 24 : at + 24 + 4096]))
    ends = [count + 1 for count in range(len(frames)) if int.from_bytes(log[32 + count * 4120 + 4 :][:4], "big")]
    pages = dict(frames[: luck.choice(ends)]) if ends else {}
    with path.open("r+b") as file:
        for page in luck.sample(sorted(pages), luck.randint(0, len(pages))):
            file.seek((page - 1) * 4096)
            file.write(pages[page])
    return path


def test_a_library_without_marks_goes_on(library: Library, lantern: int, any_sound: AnySound, tmp_path: Path) -> None:
    """As an earlier program left it, and as one goes on with it that knows of no marks."""
    library.keep(lantern, "Old", any_sound(1))
    with library._store.alone() as connection:
        connection.exec_driver_sql("DELETE FROM counter WHERE name IN ('mark', 'before')")
    old = library.back_up(tmp_path / "old.sqlite").path
    write_into_the_file(library)
    with library._store.alone() as connection:
        connection.exec_driver_sql("UPDATE counter SET value = value + 1 WHERE name = 'change'")
    assert names(as_left_by_a_killed_program(library, tmp_path / "first")) == ["Old"]
    library.keep(lantern, "Late", any_sound(2))
    assert names(as_left_by_a_killed_program(library, tmp_path / "second")) == ["Late", "Old"]
    write_into_the_file(library)
    library.keep(lantern, "Later", any_sound(3))
    killed = as_left_by_a_killed_program(library, tmp_path / "third")
    shutil.copy(old, killed)
    refused(killed)


def test_it_opens_while_another_program_writes_and_empties_its_log(library_path: Path, lanternfish: Chart) -> None:
    with Library.open(library_path) as library:
        library.add_instrument(lanternfish, "Lanternfish", Address())
    script = f"""
        import pathlib
        from librarian.collection import Library
        with Library.open(pathlib.Path({str(library_path)!r})) as library:
            print("open", flush=True)
            for count in range(150):
                library.update_instrument(1, name=f"L{{count}}")
                with library._store.read() as connection:
                    connection.exec_driver_sql("COMMIT")
                    connection.exec_driver_sql("PRAGMA busy_timeout = 0")
                    connection.exec_driver_sql("PRAGMA wal_checkpoint(RESTART)")
                    connection.exec_driver_sql("BEGIN")
    """
    opened = 0
    command = [sys.executable, "-c", textwrap.dedent(script)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "open\n"
        while writer.poll() is None:
            with Library.open(library_path) as library:
                assert library.instrument(1).name.startswith("L")
            opened += 1
    assert writer.returncode == 0
    assert opened > 0


def test_a_copy_that_is_used_as_a_library_gets_its_log(
    library: Library, lantern: int, any_sound: AnySound, tmp_path: Path
) -> None:
    """A copy is a single file. In use, who reads must not wait for who writes, nor the other way round."""
    library.keep(lantern, "Old", any_sound(1))
    copy = library.back_up(tmp_path / "copy.sqlite").path
    before = copy.read_bytes()
    # Whoever only reads it leaves it as it is.
    with Library.open(copy) as opened:
        assert len(opened.find()) == 1
    assert copy.read_bytes() == before
    with Library.open(copy) as opened:
        # While another program reads it as it is, that has to end first, as ever; the change is made all the same.
        reader = sqlite3.connect(copy, isolation_level=None, check_same_thread=False)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM patch").fetchone()
        end = threading.Timer(0.3, reader.close)
        end.start()
        opened.rename(1, "Newer")
        end.join()
        opened.rename(1, "Newest")
    with Library.open(copy) as opened, opened._store.read() as connection:
        assert opened.patch(1).name == "Newest"
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        connection.exec_driver_sql("SELECT count(*) FROM patch").scalar_one()
        other = sqlite3.connect(copy, timeout=0)
        other.execute("UPDATE counter SET value = value + 1 WHERE name = 'change'")
        other.commit()
        other.close()
