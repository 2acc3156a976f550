"""A line of which one condition cannot be understood: the rest of it is answered, unit and all left aside."""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.files.demo import DemoSounds
from librarian.transfer.connections import add_stand_in


@pytest.mark.parametrize(
    "line", ["storm cutuff > 900 Hz", "cutuff > 900 Hz storm", "cutuff = saw storm", "storm cutuff < 2.5 kHz"]
)
def test_the_readable_part_finds_what_it_finds_alone(library_path: Path, line: str) -> None:
    chart = load(shipped()["lanternfish"])
    with Library.open(library_path) as library:
        made = add_stand_in(library, chart)
        DemoSounds({"lanternfish": chart}).keep(library, {"lanternfish": made})
        found = library.find(line)
        assert len(found.problems) == 1
        assert found.problems[0].replacement == "Cutoff"
        assert found.ids == library.find("storm").ids
        assert len(found) > 5
