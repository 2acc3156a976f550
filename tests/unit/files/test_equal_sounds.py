"""Bundles of equal sounds, and of a library that is damaged."""

from __future__ import annotations

import gc
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from librarian.collection import Library, LibraryProblem, NewPatch
from librarian.files import intake, merging, outgoing
from librarian.messages import Address
from tests.filesamples import chart, version


def take(library: Library, *paths: Path) -> Any:
    return intake.apply(library, intake.preview(library, list(paths), charts=()))


@pytest.mark.parametrize("portion", [1, 2, 1000])
def test_twins_stay_two(tmp_path: Path, empty: Library, monkeypatch: pytest.MonkeyPatch, portion: int) -> None:
    monkeypatch.setattr(merging, "PORTION", portion)
    with Library.open(tmp_path / "twins.sqlite") as library:
        left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        for name in ("A", "B", "A"):
            library.keep(left, name, version("Same"))
        outgoing.export_all(library, tmp_path / "twins.zip")
    take(empty, tmp_path / "twins.zip")
    assert [row.name for row in empty.rows(empty.find().ids)] == ["A", "A", "B"]
    assert not take(empty, tmp_path / "twins.zip").anything


def test_a_bundle_of_a_damaged_library_ends_with_its_sentence_alone(full: Library, tmp_path: Path) -> None:
    """Whatever else is complained of on the way, by the archive for instance, fails the test."""
    with sqlite3.connect(full.path) as connection:
        connection.execute("UPDATE layout SET parameters = '['")
    connection.close()
    with pytest.raises(LibraryProblem, match="damaged"):
        outgoing.export_all(full, tmp_path / "all.zip")
    gc.collect()
    assert not list(tmp_path.glob("all*"))


def test_very_many_equal_sounds_of_one_name_are_all_found_again(tmp_path: Path, empty: Library) -> None:
    left = empty.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
    empty.keep_many(NewPatch(left, "Init", version("Init")) for _ in range(300))
    outgoing.export_all(empty, tmp_path / "inits.zip")
    seen = intake.preview(empty, [tmp_path / "inits.zip"], charts=())
    assert (seen.count("same"), seen.count("new")) == (300, 0)
