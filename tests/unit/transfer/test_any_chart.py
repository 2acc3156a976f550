"""Every invented chart of the tests, whatever its packing, checksums and addresses: captured, changed, recalled."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from librarian.chart import Chart, load
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer import capture, recall, refusal
from tests.simulated import world

_FOLDERS = [Path(__file__).parents[2] / "data" / name for name in ("charts", "instruments")]
_PLACES = sorted(place for folder in _FOLDERS for place in folder.glob("*.toml"))


def version_of(chart: Chart, seed: int) -> Version:
    dice = Random(seed)
    return Version(
        chart.id,
        chart.revision,
        Values({name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}),
    )


def can_be_asked(chart: Chart) -> bool:
    """By a dump of the edit buffer, by a request for controllers, or one parameter after the other."""
    messages = chart.codec.messages
    for way in chart.ways_in:
        if way.kind == "dump" and way.requested and messages[way.message].kind == "edit buffer":
            return True
        if way.kind == "controllers" and way.requested:
            return True
    return any(chart.codec.ask_one(name, chart.default_address) for name in chart.codec.single_ids)


def can_be_told(chart: Chart) -> bool:
    """By a dump into the edit buffer, by controllers, or one parameter after the other."""
    messages = chart.codec.messages
    return any(way.kind != "dump" or messages[way.message].kind == "edit buffer" for way in chart.ways_out)


@pytest.mark.parametrize("place", _PLACES, ids=lambda place: place.stem)
def test_a_chart_alone_is_enough(place: Path) -> None:
    chart = load(place)
    one = world(chart, seed=3)
    if can_be_asked(chart):
        got = capture(one.line)
        assert got.version.values
        assert all(one.sound[name] == value for name, value in got.version.values.items())
    else:
        with pytest.raises(Refused, match="cannot be asked") as told:
            capture(one.line)
        assert "by hand" in told.value.hint
    version = version_of(chart, 8)
    if not can_be_asked(chart):
        assert (refusal(one.line, version, with_setup=True) is None) == can_be_told(chart)
    if can_be_told(chart):
        result = recall(one.line, version, with_setup=True)
        assert result.state == ("arrived" if can_be_asked(chart) else "sent"), result.sentence
        assert result.proof is None or all(one.sound[name] == value for name, value in result.proof.wanted.items())
    else:
        with pytest.raises(Refused, match="only into its memory"):
            recall(one.line, version, with_setup=True)
