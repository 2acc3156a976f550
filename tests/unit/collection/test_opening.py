"""Wrong paths are refused with a sentence, and left as they were to the byte; schemas move up whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic import command, op
from alembic.config import Config
from alembic.script import ScriptDirectory

from librarian.collection import Library, LibraryProblem, NewerLibrary, default_path, migrating, opening, sqlite
from librarian.collection.schema import HEAD, REVISIONS, Base
from librarian.messages import Address, Values
from tests.jackd import bound


@contextlib.contextmanager
def plain(path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()


def listing(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.is_file()}


def refused(path: Path, match: str, kind: type[LibraryProblem] = LibraryProblem, **more) -> LibraryProblem:
    """Opening is refused with this sentence, and nothing in the folder changed."""
    before = listing(path.parent)
    with pytest.raises(kind, match=match) as caught:
        opening.open_store(path, **more)
    assert listing(path.parent) == before
    assert str(caught.value).endswith(".")
    return caught.value


def test_without_a_path_it_is_the_platforms_own_place() -> None:
    with Library.open() as library:
        assert library.path == default_path()
        assert library.path.parent.name == "librarian"
        assert os.environ["XDG_DATA_HOME"] in str(library.path)


def test_the_folders_of_a_new_library_are_made(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b ü?%41#" / "my library"
    with Library.open(path) as library:
        assert library.total() == 0
    assert path.is_file()
    with Library.open(path) as library:
        assert library.total() == 0


def test_a_folder_is_no_library(tmp_path: Path) -> None:
    refused(tmp_path, "is a folder, not a library")


def test_a_file_that_is_not_sqlite(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("these are notes, much longer than a page header of SQLite " * 50)
    assert "new name" in refused(path, "no SQLite file").hint


def test_an_sqlite_file_of_somebody_else(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with plain(path) as connection:
        connection.execute("CREATE TABLE patch (id INTEGER PRIMARY KEY)")
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
    refused(path, "an SQLite file, but not a library")


def test_an_empty_file_becomes_a_library(tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite"
    path.touch()
    with Library.open(path) as library:
        assert library.total() == 0


def test_a_newer_library_is_left_alone(library_path: Path) -> None:
    Library.open(library_path).close()
    with plain(library_path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    problem = refused(library_path, r"written by a newer Librarian \(its format is 9999\)", NewerLibrary)
    assert "newer Librarian" in problem.hint


@pytest.mark.parametrize(
    ("start", "put"),
    [(100, bytes(3996)), (44, b"\x00\x00\x00\x09")],
    ids=["a page of zeroes", "the number of the format: SQLite's file format, 1.3.13"],
)
def test_a_damaged_file(library_path: Path, start: int, put: bytes) -> None:
    Library.open(library_path).close()
    with plain(library_path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    raw = bytearray(library_path.read_bytes())
    raw[start : start + len(put)] = put
    library_path.write_bytes(raw)
    refused(library_path, "is damaged")


def test_a_file_whose_list_of_tables_is_damaged(library_path: Path) -> None:
    Library.open(library_path).close()
    with plain(library_path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    raw = library_path.read_bytes()
    library_path.write_bytes(raw.replace(b"alembic_version", b"alembic_varsion"))
    refused(library_path, "is damaged")


def test_a_special_file(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    with pytest.raises(LibraryProblem, match="not a file"):
        opening.open_store(path)


def test_a_path_below_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(LibraryProblem, match="cannot be opened"):
        opening.open_store(tmp_path / "file" / "library.sqlite")


def test_a_library_held_by_another_program(library_path: Path) -> None:
    Library.open(library_path).close()
    with plain(library_path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("BEGIN EXCLUSIVE")
        problem = None
        with pytest.raises(LibraryProblem, match="Another program") as caught:
            opening.open_store(library_path, patience_s=0.1)
        problem = caught.value
        connection.execute("ROLLBACK")
    assert "database is locked" not in f"{problem}{problem.hint}"


FORBIDDEN = {
    "path.chmod(0o000)": "cannot be read",
    "path.chmod(0o444)": "cannot be written",
    "path.parent.chmod(0o555)": "cannot be written",
    "path.unlink(); path.parent.chmod(0o555)": "folder cannot be written",
}


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="becomes another user, which only root may")
def test_what_the_file_system_forbids(tmp_path: Path) -> None:
    """In a process of a user without rights, as root may read and write everything."""
    above = [folder for folder in tmp_path.parents if folder not in Path(tempfile.gettempdir(), "any").parents]
    outermost = above[-1]
    places = [tmp_path / str(number) / "library.sqlite" for number in range(len(FORBIDDEN))]
    for path in places:
        path.parent.mkdir()
        Library.open(path).close()
    script = f"""
        import os, pathlib
        from librarian.collection import opening, LibraryProblem
        places = {[str(path) for path in places]!r}
        for path, prepare in zip(map(pathlib.Path, places), {list(FORBIDDEN)!r}):
            for folder in [path.parent, *path.parent.parents]:
                if str(folder).startswith({str(outermost)!r}):
                    folder.chmod(0o777)
            for file in path.parent.iterdir():
                file.chmod(0o666)
            exec(prepare)
        os.setgid(65534); os.setuid(65534)
        for path in places:
            try:
                opening.open_store(pathlib.Path(path), patience_s=0.1)
            except LibraryProblem as problem:
                print(problem)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)], capture_output=True, text=True, timeout=60, check=False
    )
    for path in places:
        path.parent.chmod(0o777)
    assert done.stderr == ""
    for said, sentence in zip(done.stdout.splitlines(), FORBIDDEN.values(), strict=True):
        assert sentence in said


def test_the_disk_is_full(library_path: Path, any_sound, lanternfish) -> None:
    """SQLite's own limit of pages stands for a full disk: it gives the same error code."""
    with Library.open(library_path) as library:
        lantern = library.add_instrument(lanternfish, "Lanternfish", Address())
        library.keep(lantern, "First", any_sound(1))
        with library._store.read() as connection:
            driver = sqlite.raw(connection)
            driver.execute(f"PRAGMA max_page_count = {driver.execute('PRAGMA page_count').fetchone()[0]}")
        with pytest.raises(LibraryProblem, match=r"disk with the library .* is full; this change was not kept"):
            library.keep(lantern, "Second", any_sound(2), note="long " * 50_000)
        assert [row.name for row in library.rows(library.find().ids)] == ["First"]
        assert library.undo_label() == "Keep “First”"


@pytest.mark.parametrize("how", ["gone", "another file"])
def test_the_folder_vanishes(tmp_path: Path, any_sound, lanternfish, how: str) -> None:
    """An open file outlives its folder on some systems; what is written to it then would be lost without a word."""
    path = tmp_path / "stick" / "library.sqlite"
    with Library.open(path) as library:
        lantern = library.add_instrument(lanternfish, "Lanternfish", Address())
        shutil.rmtree(path.parent)
        if how == "another file":
            Library.open(path).close()
        with pytest.raises(LibraryProblem, match="is no longer the file that was opened"):
            library.keep(lantern, "Lost", any_sound(1))
        # A copy would be one of another library, under the name of this one.
        for copy in (
            lambda: library.back_up(tmp_path / "copy.sqlite"),
            library.back_up_if_changed,
            library.empty_trash,
        ):
            with pytest.raises(LibraryProblem, match="is no longer the file that was opened"):
                copy()
    assert not list(tmp_path.rglob("*.sqlite.part")) + list(tmp_path.glob("copy*"))


# ---- schemas ------------------------------------------------------------------------------------------------------


def config(connection: sa.Connection | None = None, path: Path | None = None) -> Config:
    made = Config()
    made.set_main_option("script_location", str(migrating.migrations_folder()))
    made.attributes["connection"] = connection
    return made


def test_a_library_that_has_gone_is_not_made_anew_by_looking_at_it(library_path: Path, any_sound, lanternfish) -> None:
    with Library.open(library_path) as library:
        library.keep(library.add_instrument(lanternfish, "Lanternfish", Address(0, 16)), "One", any_sound(1))
        library_path.rename(library_path.with_name("moved.sqlite"))
        store = library._store
        with contextlib.ExitStack() as stack, ThreadPoolExecutor(1) as others:
            for _ in range(8):  # whatever connections there are, are in use
                with contextlib.suppress(LibraryProblem):
                    stack.enter_context(store.read())
            with pytest.raises(LibraryProblem, match="no longer there"):
                others.submit(library.total).result()
        assert not library_path.exists()


def test_the_program_knows_every_migration() -> None:
    scripts = ScriptDirectory.from_config(config())
    assert scripts.get_heads() == [HEAD]
    assert tuple(revision.revision for revision in reversed(list(scripts.walk_revisions()))) == REVISIONS


def test_a_fresh_library_is_what_the_tables_say(library_path: Path) -> None:
    """`alembic check`: nothing to migrate."""
    Library.open(library_path).close()
    engine = sqlite.open_engine(library_path, pooled=False)
    with engine.connect() as connection:
        command.check(config(connection))
    engine.dispose()


def test_every_constraint_has_a_name(library: Library) -> None:
    for table in Base.metadata.tables.values():
        for constraint in table.constraints:
            assert constraint.name, f"{table.name}: {constraint}"
    with plain(library.path) as connection:
        unnamed = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'index' AND name LIKE 'sqlite_autoindex%' AND sql IS NOT NULL"
        ).fetchall()
        statements = [sql for (sql,) in connection.execute("SELECT sql FROM sqlite_master WHERE type = 'table'") if sql]
    assert unnamed == []
    for statement in statements:
        if (
            not statement.startswith("CREATE VIRTUAL")
            and "word_index" not in statement
            and "sqlite_seq" not in statement
        ):
            assert len(re.findall(r"(?:FOREIGN KEY|UNIQUE|CHECK|PRIMARY KEY)\s*\(", statement)) == statement.count(
                "CONSTRAINT "
            )


def test_pragmas_are_as_promised(library: Library) -> None:
    with library._store.read() as connection:
        driver = sqlite.raw(connection)
        asked = {
            name: driver.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "foreign_keys", "synchronous", "application_id")
        }
    assert asked == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": 2,
        "application_id": sqlite.APPLICATION_ID,
    }


class Older:
    """A library file whose schema looks one step older, so that opening it has something to do."""

    def __init__(self, path: Path, monkeypatch: pytest.MonkeyPatch, upgrade) -> None:
        self.path = path
        self.before = b""
        monkeypatch.setattr(opening, "REVISIONS", (*REVISIONS, "next"))
        monkeypatch.setattr(opening, "HEAD", "next")
        monkeypatch.setattr(opening, "upgrade", upgrade)

    def dump(self) -> list[str]:
        with plain(self.path) as connection:
            return [line for line in connection.iterdump() if "word_index" not in line]

    def copies(self) -> list[Path]:
        return [file for file in self.path.parent.iterdir() if "before-upgrade" in file.name]


def moving(connection: sa.Connection, steps) -> None:
    """A migration as Alembic would run it: batch operations in the caller's transaction."""
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    context = MigrationContext.configure(connection, opts={"render_as_batch": True, "transactional_ddl": True})
    with Operations.context(context):
        steps()
        connection.execute(sa.text("UPDATE alembic_version SET version_num = 'next'"))


def filled(path: Path, lanternfish, any_sound) -> None:
    with Library.open(path) as library:
        lantern = library.add_instrument(lanternfish, "Lanternfish", Address())
        for number in range(5):
            library.keep(lantern, f"Sound {number}", any_sound(number), ("a/b",))


def add_a_column() -> None:
    with op.batch_alter_table("patch") as batch:
        batch.add_column(sa.Column("extra", sa.Integer(), nullable=False, server_default="7"))
        batch.drop_column("origin")


def test_an_upgrade_is_backed_up_first_and_happens(library_path: Path, monkeypatch, lanternfish, any_sound) -> None:
    filled(library_path, lanternfish, any_sound)
    older = Older(library_path, monkeypatch, lambda connection: moving(connection, add_a_column))
    before = older.dump()
    opening.open_store(library_path).close()
    with plain(library_path) as connection:
        assert connection.execute("SELECT count(*), sum(extra) FROM patch").fetchone() == (5, 35)
        assert connection.execute("SELECT count(*) FROM patch_tag").fetchone() == (5,)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    (copy,) = older.copies()
    older.path = copy
    assert older.dump() == before
    opening.open_store(library_path).close()
    assert len(list(library_path.parent.glob("*before-upgrade*"))) == 1


@pytest.mark.parametrize("fault", ["error", "dangling", "killed"])
def test_a_failing_upgrade_does_not_happen(library_path: Path, monkeypatch, lanternfish, any_sound, fault: str) -> None:
    filled(library_path, lanternfish, any_sound)

    def steps() -> None:
        add_a_column()
        if fault == "error":
            op.execute("INSERT INTO no_such_table VALUES (1)")
        if fault == "dangling":
            op.execute("UPDATE version SET content_id = 999")
        if fault == "killed":
            raise KeyboardInterrupt

    older = Older(library_path, monkeypatch, lambda connection: moving(connection, steps))
    before = older.dump()
    expected = {"error": sa.exc.OperationalError, "dangling": LibraryProblem, "killed": KeyboardInterrupt}[fault]
    with pytest.raises(expected):
        opening.open_store(library_path)
    assert older.dump() == before
    assert len(older.copies()) == 1


def test_two_programs_make_one_library(library_path: Path) -> None:
    """Both start at once on a path where nothing is yet."""
    script = (
        "import pathlib, sys; from librarian.collection import Library; "
        "library = Library.open(pathlib.Path(sys.argv[1])); print(library.total()); library.close()"
    )
    both = [
        subprocess.Popen(bound([sys.executable, "-c", script, str(library_path)]), stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    assert [process.communicate(timeout=60)[0] for process in both] == ["0\n"] * 3


RELEASED = Path(__file__).parents[2] / "data" / "libraries"


def test_every_released_schema_has_its_file() -> None:
    assert [file.stem for file in sorted(RELEASED.glob("*.sqlite"))] == list(REVISIONS)


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_library_of_every_released_schema_is_read_back(tmp_path: Path, revision: str) -> None:
    """The files were written by the program of that time (tests/data/libraries/make.py)."""
    path = tmp_path / "library.sqlite"
    path.write_bytes((RELEASED / f"{revision}.sqlite").read_bytes())
    with Library.open(path) as library:
        rows = library.rows(library.find().ids)
        assert [row.name for row in rows] == ["Fog, rolling in", "Harbour before the storm", "Storm, first gust"]
        storm = rows[2]
        assert (storm.tags, storm.note, storm.versions, storm.unknown) == (
            ("scene/storm", "loud"),
            "gusts from the left",
            2,
            1,
        )
        first, second = library.versions(storm.id)
        assert (first.note, second.note) == ("", "brighter")
        assert library.version(first.id).values == Values({"cutoff": 100, "attack": 5, "fine": -300})
        assert library.version(first.id).received == (b"\xf0\x7d\x01\x02\xf7", b"\xb0\x4a\x64")
        assert library.version(second.id).unknown == {"attack"}
        assert [row.name for row in library.rows(library.find(trash=True).ids)] == ["Thrown away"]
        assert [one.name for one in library.instruments()] == ["Lanternfish in the pit"]
        assert library.chart_text("lanternfish", 4) == "# the chart's text\n"
        assert library.saved_searches()[0].text == "tag:storm"
        assert library.unread()[0].messages == (b"\xf0\x7d\x55\xf7",)
        assert library.find("gust").ids == [storm.id]
        assert library.undo() == "Delete “Thrown away”"
        assert library.total() == 4
