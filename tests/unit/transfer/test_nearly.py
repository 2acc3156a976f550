"""Controllers that a chart declares lossy: as near as they set a value has arrived, and that is told."""

from __future__ import annotations

import pytest

from librarian.chart import Chart, loads
from librarian.messages import Values, Version
from librarian.transfer import recall, verify
from tests.simulated import world

CHART = """
id = "rounds"
name = "Rounds"
section = [{ id = "tone", label = "Tone" }]
parameter = [
  { id = "fine", label = "Fine", section = "tone", range = [0, 1023], bindings = [{ cc = 20, map = "MAP" }] },
  { id = "plain", label = "Plain", section = "tone", range = [0, 127], bindings = [{ cc = 21 }] },
]
[identity]
manufacturer = "7D"
[message.edit]
request = "F0 7D 01 F7"
answer = "F0 7D 02 {data} F7"
writable = false
parts.data = { is = "data", layout = "sound" }
[layout.sound]
fields = [{ of = "fine", bytes = 2 }, "plain"]
"""
SINGLE = """
[message.one]
kind = "parameter"
answer = "F0 7D 03 {number} {value} F7"
parts.number = { is = "parameter" }
parts.value = { is = "value", bytes = 2 }
numbers = { fine = 1 }
"""
ASKED = """
[[capture]]
way = "dump"
message = "edit"
[[capture]]
way = "controllers"
request = [{ cc = 119, value = 127 }]
"""


def rounds(how: str = "scaled", more: str = "") -> Chart:
    return loads(CHART.replace("MAP", how) + more)


def a_sound(chart: Chart, fine: int, plain: int) -> Version:
    return Version(chart.id, chart.revision, Values({"fine": fine, "plain": plain}))


@pytest.mark.parametrize("how", ["scaled", "top_bits", "centred"])
def test_as_near_as_controllers_set_a_value_has_arrived(how: str) -> None:
    chart = rounds(how)
    one = world(chart, values={"fine": 5, "plain": 5})
    wanted = a_sound(chart, 787, 10)
    result = recall(one.line, wanted)
    assert one.sound["fine"] != 787
    assert result.state == "arrived"
    assert result.sentence == "2 of 2 sound parameters read back equal, Fine as nearly as controllers set it"
    assert result.rounds == 0
    assert result.comparison is not None
    assert [row.b for row in result.comparison.rows if row.parameter == "fine"] == [one.sound["fine"]]
    assert verify(one.line, wanted).sentence == result.sentence
    again = recall(one.line, wanted)
    assert (again.state, again.sent) == ("arrived", 0)


def test_what_is_not_even_near_did_not_arrive() -> None:
    chart = rounds()
    one = world(chart, values={"fine": 5, "plain": 5})
    assert verify(one.line, a_sound(chart, 787, 5)).state == "differs"
    assert verify(one.line, a_sound(chart, 5, 5)).sentence == "2 of 2 sound parameters read back equal"


def test_a_message_that_sets_the_value_exactly_goes_before_a_controller_that_does_not() -> None:
    chart = rounds(more=SINGLE)
    one = world(chart, values={"fine": 5, "plain": 5})
    result = recall(one.line, a_sound(chart, 787, 10))
    assert (result.state, result.sentence) == ("arrived", "2 of 2 sound parameters read back equal")
    assert one.sound == {"fine": 787, "plain": 10}
    one.turn("fine", 789)
    assert verify(one.line, a_sound(chart, 787, 10)).state == "differs"


def test_a_dump_that_says_another_value_is_believed_though_controllers_would_not_show_it() -> None:
    chart = rounds(more=SINGLE + ASKED)
    one = world(chart, values={"fine": 788, "plain": 10})
    result = verify(one.line, a_sound(chart, 787, 10))
    assert (result.state, result.sentence) == ("differs", "1 of 2 sound parameters read back equal; Fine differs")
