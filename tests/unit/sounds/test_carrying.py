"""Sounds of a library carried over when the chart of their instrument is another revision."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, loads
from librarian.collection import Library
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.sounds import compare_versions
from librarian.sounds.carrying import behind, carried_over, keep_carried

SECTION = '[[section]]\nid = "s"\nlabel = "S"\n'
OLD = f"""
id = "box"
name = "Box"
{SECTION}
[[parameter]]
id = "depth"
label = "Depth"
section = "s"
range = [0, 127]
bindings = [{{ cc = 20 }}]
[[parameter]]
id = "spread"
label = "Spread"
section = "s"
range = [0, 127]
bindings = [{{ cc = 21 }}]
"""
NEW = f"""
id = "box"
name = "Box"
revision = 2
{SECTION}
[[parameter]]
id = "depth"
label = "Depth"
section = "s"
range = [0, 254]
bindings = [{{ nrpn = 20 }}]
"""
HISTORY = """
[[history]]
number = 2
changes = [{ rescaled = "depth", was = [0, 127], lossless = true }, { removed = "spread", was = [0, 127] }]
"""
CHARTS = {1: loads(OLD), 2: loads(NEW + HISTORY)}


def revision(_chart: str, number: int) -> Chart:
    return CHARTS[number]


def sound(depth: int, spread: int) -> Version:
    return Version("box", 1, Values({"depth": depth, "spread": spread}))


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.open(tmp_path / "patches.library") as opened:
        opened.add_instrument(CHARTS[1], "Box", CHARTS[1].default_address)
        yield opened


def test_they_become_next_versions_in_one_step_of_undo_and_lose_nothing(library: Library) -> None:
    ids = [library.keep(1, name, sound(number, 9)) for number, name in ((50, "Low"), (100, "High"))]
    assert behind(library, 1) == []
    library.update_instrument(1, chart=CHARTS[2])
    rows = behind(library, 1)
    assert {row.id for row in rows} == set(ids)
    found = carried_over(library, revision, rows)
    assert {row.sentence for each in found for row in each.carried.lost} == {
        "spread is not in revision 2; its value is kept aside."
    }
    keep_carried(library, found)
    for patch, depth in zip(ids, (50, 100), strict=True):
        now = library.version(library.patch(patch).latest)
        assert (now.revision, now.known, now.values["depth"]) == (2, 1, 2 * depth)
        first, second = library.versions(patch)
        assert library.version(first.id).values == sound(depth, 9).values
        assert (second.origin.kind, second.parent) == ("carried", first.id)
    assert behind(library, 1) == []
    assert library.undo() == "Carry over 2 patches"
    assert [len(library.versions(patch)) for patch in ids] == [1, 1]


def test_back_to_the_earlier_chart_takes_up_what_was_left_aside(library: Library) -> None:
    patch = library.keep(1, "Low", sound(50, 9))
    for chart in (CHARTS[2], CHARTS[1]):
        library.update_instrument(1, chart=chart)
        keep_carried(library, carried_over(library, revision, behind(library, 1)))
    assert library.version(library.patch(patch).latest).values == sound(50, 9).values
    assert len(library.versions(patch)) == 3


def test_a_chart_that_does_not_tell_its_history_is_refused_and_nothing_is_kept(library: Library) -> None:
    patch = library.keep(1, "Low", sound(50, 9))
    untold = loads(NEW)
    library.update_instrument(1, chart=untold)
    with pytest.raises(Refused, match="“Low” cannot be carried over") as refused:
        carried_over(library, lambda _chart, number: untold if number == 2 else CHARTS[1], behind(library, 1))
    assert "[[history]]" in refused.value.hint
    assert len(library.versions(patch)) == 1


def test_two_revisions_are_compared_as_the_later_one_explains_them() -> None:
    later = Version("box", 2, Values({"depth": 100}))
    assert compare_versions(CHARTS[2], sound(50, 9), later).different == ()
    assert [row.text_difference for row in compare_versions(CHARTS[2], later, sound(51, 9)).different] == ["+2"]
