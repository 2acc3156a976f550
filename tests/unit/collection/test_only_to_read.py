"""A library that cannot be written, as on a disc or in somebody else's folder."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from itertools import takewhile
from pathlib import Path

import pytest

from librarian.collection import Library
from librarian.messages import Address


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="becomes another user, which only root may")
def test_a_library_that_cannot_be_written_is_read_all_the_same(tmp_path: Path, any_sound, lanternfish) -> None:
    """As in somebody else's folder: nothing is written there, every change is refused, and what changes is not told."""
    folder = tmp_path / "theirs"
    folder.mkdir()
    path, used, old = folder / "library.sqlite", folder / "in use.sqlite", folder / "old.sqlite"
    for place in (path, used):
        with Library.open(place) as library:
            library.keep(library.add_instrument(lanternfish, "Lanternfish", Address()), "Storm", any_sound(1))
    shutil.copy(path, old)
    with sqlite3.connect(old) as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'earlier'")
    connection.close()
    owner = Library.open(used)
    owner.rename(1, "Storm, in the log yet")
    for place in [folder, *folder.parents]:
        if place != Path(tempfile.gettempdir()) and Path(tempfile.gettempdir()) in place.parents:
            place.chmod(0o755)
    before = sorted(file.name for file in folder.iterdir())
    script = f"""
        import os, pathlib, sys
        from librarian.collection import Library, LibraryProblem, opening
        from librarian.chart import load, shipped
        opening.REVISIONS = (*opening.REVISIONS, "earlier")
        load(shipped()["lanternfish"])  # whatever that imports, the other user may not read
        folder = pathlib.Path({str(folder)!r})
        os.setgid(65534); os.setuid(65534)
        def told(ask):
            try:
                print(ask())
            except LibraryProblem as problem:
                print(problem, problem.hint)
        for name in ("library.sqlite", "in use.sqlite"):
            with Library.open(folder / name, only_to_read=True) as library:
                told(lambda: [row.name for row in library.rows(library.find("storm").ids)])
                told(lambda: library.rename(1, "Other"))
                told(lambda: library.undo())
        told(lambda: Library.open(folder / "old.sqlite", only_to_read=True))
        told(lambda: Library.open(folder / "library.sqlite"))
        with Library.open(folder / "library.sqlite", only_to_read=True) as library:
            print("ready", flush=True)
            sys.stdin.readline()
            told(lambda: library.total())
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as reader:
        assert reader.stdout is not None
        said = list(takewhile(lambda line: line != "ready\n", reader.stdout))
        assert sorted(file.name for file in folder.iterdir()) == before
        with Library.open(path) as library:
            library.rename(1, "Calm")
        rest, _ = reader.communicate("\n", timeout=60)
    owner.close()
    assert said[0] == "['Storm']\n"
    assert said[3] == "['Storm, in the log yet']\n"
    assert all("cannot be written" in said[place] for place in (1, 2, 4, 5, 7))
    assert "is of an older Librarian" in said[6]
    assert "changed while it was read" in rest
