"""Which instruments of the library the sounds of a bundle go to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from librarian.collection import Library
from librarian.files import intake, outgoing
from librarian.messages import Address
from tests.filesamples import chart, rewritten, version


def take(library: Library, path: Path) -> Any:
    return intake.apply(library, intake.preview(library, [path], charts=()))


@pytest.mark.parametrize("name", ["a\x00b", " Left\x1b[31m", "\x07", "\ud800", "x" * 5000])
def test_instruments_of_nasty_names_are_found_again(empty: Library, bundle: Path, name: str) -> None:
    def rename(inside: str, data: bytes) -> bytes:
        if inside != "instruments.jsonl":
            return data
        rows = [json.loads(line) for line in data.splitlines()]
        next(row for row in rows if row.get("removed"))["name"] = name
        return b"".join(json.dumps(row).encode() + b"\n" for row in rows)

    path = rewritten(bundle, rename)
    take(empty, path)
    again = intake.preview(empty, [path])
    assert (again.count("new"), again.count("changed"), again.added) == (0, 0, ())


@pytest.mark.parametrize("named", ["Lanternfish", "Left"])
def test_two_units_of_one_name_stay_two(tmp_path: Path, empty: Library, named: str) -> None:
    lantern = chart("lanternfish")
    with Library.open(tmp_path / "other.sqlite") as other:
        for number, name in enumerate(("Lanternfish", named, "Lanternfish")):
            unit = other.add_instrument(lantern, name, Address(2, 17 + number))
            other.keep(unit, f"Sound {number}", version("Harbour", number))
        other.remove_instrument(unit)
        outgoing.export_all(other, tmp_path / "two.zip")
    take(empty, tmp_path / "two.zip")
    owners = {row.name: empty.instrument(row.instrument) for row in empty.rows(empty.find().ids)}
    assert {name: (owner.name, owner.removed) for name, owner in owners.items()} == {
        "Sound 0": ("Lanternfish", False), "Sound 1": (named, False), "Sound 2": ("Lanternfish", True),
    }  # fmt: skip
    assert len(empty.instruments(removed=True)) == 3
    again = intake.preview(empty, [tmp_path / "two.zip"])
    assert (again.count("same"), again.count("new"), again.added) == (3, 0, ())
