"""What an instrument held before it was written over: one patch for each sound, whatever the set-up says."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.messages import Values, Version
from librarian.transfer.before import before_bring_up, keep_what_was_there

CHART = load(shipped()["lanternfish"])


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.open(tmp_path / "patches.library") as made:
        made.add_instrument(CHART, "Lanternfish", CHART.default_address, "", "")
        yield made


def version(chart: Chart = CHART, **moved: int) -> Version:
    values = {name: each.low for name, each in chart.parameters.items()}
    values |= {name.replace("__", "."): value for name, value in moved.items()}
    return Version(chart.id, chart.revision, Values(values))


def keep(library: Library, content: Version, *, with_setup: bool = False) -> int:
    keep_what_was_there(library, 1, CHART, content, "Harbour", with_setup=with_setup)
    return library.total()


def test_it_is_kept_once_and_says_before_what(library: Library) -> None:
    assert keep(library, version()) == 1
    assert keep(library, version()) == 1
    assert keep(library, version(filter__cutoff=9)) == 2
    (row, *_) = library.rows(library.find('tag:"before a recall"').ids)
    assert row.tags == ("before a recall",)
    assert library.patch(row.id).note == "Before the recall of “Harbour”"


def test_another_set_up_is_no_other_sound_unless_the_recall_changes_it(library: Library) -> None:
    setup = CHART.setup_ids[0]
    other = version(**{setup.replace(".", "__"): CHART.parameters[setup].high})
    assert keep(library, version()) == 1
    assert keep(library, other) == 1
    assert keep(library, other, with_setup=True) == 2


def test_of_another_revision_the_same_numbers_may_be_another_sound(library: Library) -> None:
    keep(library, version())
    later = Version(CHART.id, CHART.revision + 1, version().values)
    assert keep(library, later) == 2


def test_nothing_that_was_read_makes_no_patch(library: Library) -> None:
    unknown = Version(CHART.id, CHART.revision, Values(), unknown=frozenset(CHART.parameters))
    assert keep(library, unknown) == 0


def test_a_bring_up_keeps_what_it_writes_over(library: Library) -> None:
    kept = before_bring_up(library, 1, CHART)
    kept("", version())
    kept("program 64", version(filter__cutoff=9))
    kept("program 64", version(filter__cutoff=9))
    rows = library.rows(library.find('tag:"before a bring-up"').ids)
    assert len(rows) == 2
    assert {library.patch(row.id).note for row in rows} == {"In the edit buffer before it", "In program 64 before it"}
    assert "Program 64" in {row.name for row in rows}
