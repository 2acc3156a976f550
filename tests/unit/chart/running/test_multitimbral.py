"""A multitimbral unit with the same parameters on every part: each part is an instrument of its own, on its channel."""

from __future__ import annotations

import pytest

from librarian.messages import Address, Values, Version
from librarian.sounds import compare
from librarian.transfer import capture, recall, verify
from tests.dumped import invented
from tests.simulated import world

FIRST = {"part.level": 200, "part.pan": -5, "part.cutoff": 18}
LAST = {"part.level": 1, "part.pan": 127, "part.cutoff": 255}


@pytest.mark.parametrize(("channel", "sound"), [(0, FIRST), (15, LAST)])
def test_a_part_is_captured_changed_recalled_and_compared(channel: int, sound: dict[str, int]) -> None:
    chart = invented("parapet")
    one = world(chart, address=Address(channel, 16), values=sound)
    got = capture(one.line)
    assert got.version.values.only(sound) == Values(sound)
    other = FIRST if sound is LAST else LAST
    done = recall(one.line, Version(chart.id, chart.revision, Values(other)))
    assert done.state == "arrived", done.sentence
    assert {name: one.sound[name] for name in other} == other
    assert verify(one.line, Version(chart.id, chart.revision, Values(other))).state == "arrived"
    different = compare(chart, got.version.values, Values(other)).different
    assert [row.parameter for row in different] == list(sound)


def test_a_part_does_not_hear_what_is_meant_for_another() -> None:
    """The same bytes to two parts on one cable: only the one on that channel takes them."""
    chart = invented("parapet")
    third, fourth = Address(2, 16), Address(3, 16)
    (dump,) = chart.codec.encode("part", FIRST, third)
    parts = {at: world(chart, address=at, values=LAST) for at in (third, fourth)}
    for one in parts.values():
        one.cable.send(dump)
        assert one.cable.receive(1.0) is None
    assert {name: parts[third].sound[name] for name in FIRST} == FIRST
    assert {name: parts[fourth].sound[name] for name in FIRST} == LAST


def test_parameters_are_asked_for_one_after_the_other() -> None:
    chart = invented("parapet")
    one = world(chart, values={"system.tune": -3, "system.volume": 100})
    got = capture(one.line, way=next(way for way in chart.ways_in if way.kind == "parameters"))
    assert got.version.values.only(["system.tune", "system.volume"]) == Values(
        {"system.tune": -3, "system.volume": 100}
    )
