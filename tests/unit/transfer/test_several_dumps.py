"""Sounds that travel as several dumps, and values that nothing in the chart can bring."""

from __future__ import annotations

from librarian.chart import loads
from librarian.transfer import capture, recall, verify
from tests.simulated import world

HEAD = """
id = "twofold"
name = "Twofold"
section = [{ id = "tone", label = "Tone" }]
parameter = [
  { id = "tone.colour", label = "Colour", section = "tone", range = [0, 99] },
  { id = "tone.weight", label = "Weight", section = "tone", range = [0, 99] },
]
[identity]
manufacturer = "7D"
"""
VOICE = """
[message.voice]
kind = "edit buffer"
request = "F0 7D 10 F7"
answer = "F0 7D 20 {data} F7"
parts.data = { is = "data", layout = "voice" }
[layout.voice]
fields = ["tone.colour"]
"""
MORE = """
[message.more]
kind = "edit buffer"
request = "F0 7D 11 F7"
answer = "F0 7D 21 {data} F7"
parts.data = { is = "data", layout = "more" }
[layout.more]
fields = ["tone.weight"]
"""


def test_all_dumps_of_a_sound_are_sent_and_read_back() -> None:
    chart = loads(HEAD + VOICE + MORE)
    wanted = capture(world(chart, seed=1).line).version
    for whole in (True, False):
        other = world(chart, seed=9)
        result = recall(other.line, wanted, whole=whole)
        assert (result.state, result.sent, result.of, result.left_out) == ("arrived", 2, 2, ())
        assert other.sound == dict(wanted.values)
        assert verify(other.line, wanted).state == "arrived"


def test_a_value_that_the_chosen_way_does_not_bring_is_said_and_not_called_arrived() -> None:
    chart = loads(HEAD.replace('"Colour",', '"Colour", bindings = [{ cc = 20 }],') + VOICE + MORE)
    wanted = capture(world(chart, seed=1).line).version
    other = world(chart, seed=9)
    result = recall(other.line, wanted, way="controllers")
    assert result.state == "differs"
    assert result.sentence == (
        "1 of 1 sound parameters read back equal; Weight could not be sent, because no way of recall in its chart "
        "carries it"
    )
    assert result.left_out == ("tone.weight",)
    other.instrument.turn("tone.weight", wanted.values["tone.weight"], other.clock.now())
    assert recall(other.line, wanted, way="controllers").state == "arrived"


def test_a_setup_that_the_chart_lists_for_capture_is_asked_for_as_well() -> None:
    listed = '[[capture]]\nway = "dump"\nmessage = "voice"\n[[capture]]\nway = "dump"\nmessage = "more"\n'
    setup = MORE.replace('kind = "edit buffer"', 'kind = "setup"')
    head = HEAD.replace('"Weight", section = "tone"', '"Weight", section = "tone", setup = true')
    one = world(loads(head + VOICE + setup + listed), seed=4)
    got = capture(one.line)
    assert (got.known, got.missing) == (2, ())
    assert dict(got.version.values) == one.sound
