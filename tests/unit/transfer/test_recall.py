"""Recall: what is sent, what is not, and that no result says more than what was read back."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart, load, loads, shipped
from librarian.errors import Cancelled, LibrarianError, Refused
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import Cancel, NoReply, capture, recall, verify
from librarian.wire.cable import CableLost
from tests.simulated import World, world

_SALTMARSH = Path(__file__).parents[2] / "data" / "instruments" / "saltmarsh.toml"


def other_sound(chart: Chart, seed: int) -> Version:
    """A complete version that is not what the instrument holds."""
    dice = random.Random(f"another sound {seed}")
    values = {name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}
    return Version(chart.id, chart.revision, Values(values))


def sound_of(one: World) -> dict[str, int]:
    return {name: one.sound[name] for name in one.line.chart.sound_ids}


def wanted(chart: Chart, version: Version) -> dict[str, int]:
    return dict(version.values.only(chart.sound_ids))


def test_a_dump_recall_is_proved_and_leaves_the_setup_alone(lanternfish: Chart) -> None:
    one = world(lanternfish, values={"voice.transpose": 7})
    version = other_sound(lanternfish, 1)
    result = recall(one.line, version, whole=True)
    assert result.state == "arrived"
    assert result.sentence == "50 of 50 sound parameters read back equal"
    assert (result.sent, result.of, result.equal) == (50, 50, 50)
    assert set(result.left_out) == {"voice.transpose", "voice.key-scale"}
    assert sound_of(one) == wanted(lanternfish, version)
    assert one.sound["voice.transpose"] == 7
    assert result.comparison is not None
    assert result.comparison.count("equal") == 50
    assert result.before is not None
    assert result.before.values["voice.transpose"] == 7


def test_setup_is_recalled_when_asked_for(lanternfish: Chart) -> None:
    one = world(lanternfish)
    version = other_sound(lanternfish, 2)
    result = recall(one.line, version, with_setup=True)
    assert result.sentence == "52 of 52 parameters read back equal"
    assert one.sound == dict(version.values)
    assert result.left_out == ()


@pytest.mark.parametrize("way", [None, "controllers", "dump"])
def test_unknowns_are_never_sent(lanternfish: Chart, way: str | None) -> None:
    one = world(lanternfish, seed=6)
    full = other_sound(lanternfish, 3)
    unknown = ["filter.cutoff", "aenv.attack", "osc1.tune"]
    version = Version(full.chart, full.revision, full.values.without(unknown), frozenset(unknown))
    before = one.sound
    result = recall(one.line, version, way=way)
    assert result.state == "arrived"
    assert result.of == 47
    assert {name: one.sound[name] for name in unknown} == {name: before[name] for name in unknown}


def test_a_dump_with_unknowns_is_refused_where_the_instrument_cannot_be_read(lanternfish: Chart) -> None:
    text = lanternfish.text.replace('request = "F0 7D {device} 11 F7"\n', "")
    start = text.index('[[capture]]\nway = "dump"')
    mute = loads(text[:start] + text[text.index("[[capture]]", start + 5) :])
    one = world(mute)
    version = Version(mute.id, mute.revision, other_sound(mute, 4).values.without(["filter.cutoff"]),
                      frozenset(["filter.cutoff"]))  # fmt: skip
    with pytest.raises(Refused, match="Transpose"):
        recall(one.line, version, way="dump")
    before = one.sound["filter.cutoff"]
    result = recall(one.line, version)
    assert result.state == "sent"
    assert result.sentence == "49 of 49 sound parameters sent, cannot be verified"
    assert one.sound["filter.cutoff"] == before


def test_controllers_are_proved(fogbell: Chart) -> None:
    one = world(fogbell)
    version = other_sound(fogbell, 5)
    result = recall(one.line, version)
    assert result.sentence == "22 of 22 sound parameters read back equal"
    assert one.sound == dict(version.values)


def test_only_what_differs_travels_unless_the_whole_is_asked_for(lanternfish: Chart) -> None:
    one = world(lanternfish, name="Same")
    held = capture(one.line).version
    changed = list(lanternfish.sound_ids)[::11][:5]
    for name in changed:
        parameter = lanternfish.parameters[name]
        one.turn(name, parameter.low if one.sound[name] != parameter.low else parameter.high)
    short = recall(one.line, held)
    assert short.state == "arrived"
    assert short.sent == 5
    assert short.saved > 200
    whole = recall(one.line, held, whole=True)
    assert whole.state == "arrived"
    assert whole.saved == 0
    assert whole.bytes_out > short.bytes_out + 200
    nothing = recall(one.line, held)
    assert (nothing.state, nothing.sent) == ("arrived", 0)


def _unexplained(chart: Chart, one: World, raw: bytes, place: int) -> bool:
    """True when another byte there, with the two's complement sum mended, decodes to the same values and name."""
    spoilt = bytearray(raw)
    change = 1 if raw[place] < 0x7F else -1
    spoilt[place] += change
    spoilt[-2] = (spoilt[-2] - change) & 0x7F
    before, after = (chart.codec.decode(bytes(each), one.line.address) for each in (raw, spoilt))
    return (before.values, before.name) == (after.values, after.name)


def test_bytes_that_no_field_explains_go_back_as_they_came(lanternfish: Chart) -> None:
    one, other = world(lanternfish, seed=1), world(lanternfish, seed=1)
    raw = capture(one.line).version.received[0]
    # The same values, with one of the bytes that belong to the memory of its voices different, and the sum mended.
    values = lanternfish.codec.decode(raw, one.line.address).values
    strange_raw = bytearray(raw)
    place = next(place for place in range(len(raw) - 4, 0, -1) if _unexplained(lanternfish, one, raw, place))
    change = 1 if raw[place] < 0x7F else -1
    strange_raw[place] += change
    strange_raw[-2] = (strange_raw[-2] - change) & 0x7F
    assert lanternfish.codec.decode(bytes(strange_raw), one.line.address).values == values
    other.instrument.feed(bytes(strange_raw), 99.0)
    strange = capture(other.line).version
    assert strange.received[0] == bytes(strange_raw)
    result = recall(one.line, strange)
    assert result.state == "arrived"
    assert capture(one.line).version.received[0] == bytes(strange_raw)


def test_a_sound_of_another_chart_or_revision_is_refused(lanternfish: Chart, fogbell: Chart) -> None:
    one = world(lanternfish)
    with pytest.raises(Refused, match="fogbell"):
        recall(one.line, other_sound(fogbell, 1))
    old = Version("lanternfish", 3, Values({"filter.cutoff": 1}))
    with pytest.raises(Refused, match="revision 3"):
        recall(one.line, old)
    with pytest.raises(Refused, match="Nothing of this sound is known"):
        recall(one.line, Version("lanternfish", 4, Values(), frozenset(lanternfish.parameters)))


def test_what_was_there_is_kept_before_the_first_byte(lanternfish: Chart) -> None:
    one = world(lanternfish)
    was = one.sound
    kept: list[Version] = []

    def keep(version: Version) -> None:
        assert one.sound == was, "kept before anything was sent"
        kept.append(version)

    result = recall(one.line, other_sound(lanternfish, 7), keep_before=keep)
    assert dict(kept[0].values) == was
    assert kept[0].origin.kind == "safety"
    assert recall(one.line, kept[0]).state == "arrived"
    assert one.sound == was, "the undo brings it back"
    assert result.before == kept[0]


def test_a_keeper_that_fails_stops_the_recall(lanternfish: Chart) -> None:
    one = world(lanternfish)
    was = one.sound

    def full(version: Version) -> None:
        raise Refused("The disk is full.")

    with pytest.raises(Refused, match="disk is full"):
        recall(one.line, other_sound(lanternfish, 7), keep_before=full)
    assert one.sound == was


def test_a_silent_instrument_gets_nothing(lanternfish: Chart) -> None:
    one = world(lanternfish, behaviour=Behaviour(refuse="silence"))
    with pytest.raises(NoReply):
        recall(one.line, other_sound(lanternfish, 1))
    assert one.cable.counts().bytes_out <= 10


def test_a_write_that_is_not_taken_is_never_called_arrived(lanternfish: Chart) -> None:
    one = world(lanternfish)
    version = other_sound(lanternfish, 8)
    # It answers requests and ignores writes: its checksum test is broken.
    one.instrument._answers._written = lambda *arguments: None  # type: ignore[method-assign]
    one.instrument._listener.feed = lambda raw, now=0.0: ()  # type: ignore[method-assign]
    result = recall(one.line, version)
    assert result.state == "differs"
    assert result.equal < 50
    assert result.rounds == 3
    assert "did not arrive" in result.sentence


def test_lost_controllers_are_sent_again_slower_and_that_is_remembered(fogbell: Chart) -> None:
    one = world(fogbell, behaviour=Behaviour(input_buffer=4, message_s=0.008))
    version = other_sound(fogbell, 9)
    result = recall(one.line, version)
    assert result.state == "arrived"
    assert result.rounds >= 1
    assert one.sound == dict(version.values)
    assert one.line.pace.slowed == result.slowed >= 1
    again = recall(one.line, other_sound(fogbell, 10))
    assert again.state == "arrived"


def test_a_knob_turned_meanwhile_is_told_apart_from_loss(fogbell: Chart) -> None:
    one = world(fogbell, values={"filter.cutoff": 5})
    version = other_sound(fogbell, 11)
    target = 90 if version.values["filter.cutoff"] != 90 else 91

    def turned_while_it_is_sent(_: Version) -> None:
        one.bad.at(one.clock.now() + 0.05, lambda now: one.instrument.turn("filter.cutoff", target, now))

    result = recall(one.line, version, keep_before=turned_while_it_is_sent)
    assert result.state == "differs"
    assert result.proof is not None
    assert (result.proof.moved, result.proof.differs) == (("filter.cutoff",), ())
    assert "moved on the panel" in result.sentence
    assert one.sound["filter.cutoff"] == target, "the player's hand is not overruled"


def test_a_knob_turned_before_anything_was_sent_explains_no_loss(lanternfish: Chart) -> None:
    one = world(lanternfish, values={"filter.cutoff": 5})
    one.bad.at(100.02, lambda now: one.instrument.turn("filter.cutoff", 90, now))

    def deaf_from_now_on(_: Version) -> None:
        one.instrument.set_sound = lambda values, now: None  # type: ignore[method-assign]

    result = recall(one.line, other_sound(lanternfish, 11), keep_before=deaf_from_now_on)
    assert one.sound["filter.cutoff"] == 90
    assert result.proof is not None
    assert "filter.cutoff" in result.proof.differs
    assert "moved on the panel" not in result.sentence


def test_thru_does_not_prove_anything(lanternfish: Chart) -> None:
    one = world(lanternfish, behaviour=Behaviour(thru=True, refuse="silence"))
    one.instrument.behave(Behaviour(thru=True))
    version = other_sound(lanternfish, 12)
    one.instrument._answers._written = lambda *arguments: None  # type: ignore[method-assign]
    one.instrument._listener.feed = lambda raw, now=0.0: ()  # type: ignore[method-assign]
    assert recall(one.line, version).state == "differs", "our own dump coming back is not the instrument's answer"
    honest = world(lanternfish, behaviour=Behaviour(thru=True))
    assert recall(honest.line, version).state == "arrived"


def test_a_name_that_the_instrument_cannot_show_whole_is_no_difference(lanternfish: Chart) -> None:
    one = world(lanternfish)
    full = other_sound(lanternfish, 15)
    version = Version(full.chart, full.revision, full.values, name="Harbour before the storm, second take")
    result = recall(one.line, version)
    assert result.state == "arrived"
    assert one.instrument.name == "Harbour before t"
    assert recall(one.line, version).sent == 0


def test_verify_writes_nothing(lanternfish: Chart) -> None:
    one = world(lanternfish)
    held = capture(one.line).version
    result = verify(one.line, held)
    assert (result.state, result.equal) == ("arrived", 50)
    name = lanternfish.sound_ids[3]
    parameter = lanternfish.parameters[name]
    one.turn(name, parameter.high if one.sound[name] != parameter.high else parameter.low)
    result = verify(one.line, held)
    assert result.state == "differs"
    assert result.comparison is not None
    assert [row.parameter for row in result.comparison.different] == [name]


@pytest.mark.parametrize("moment", [0.01, 0.1, 0.2, 0.25, 0.3, 0.35, 0.5])
def test_cancel_at_any_moment_is_quick_and_says_what_is_true(lanternfish: Chart, moment: float) -> None:
    one = world(lanternfish)
    was = sound_of(one)
    version = other_sound(lanternfish, 13)
    cancel = Cancel()
    one.bad.at(100.0 + moment, lambda now: cancel.set())
    try:
        recall(one.line, version, cancel=cancel, way="controllers")
    except Cancelled as ended:
        assert one.clock.now() - (100.0 + moment) <= 0.3
        sentence = ended.state
        one.cable.receive(0.2)
        now = sound_of(one)
        if sentence.startswith("Nothing was sent"):
            assert now == was
        elif sentence.startswith("Everything"):
            assert now == wanted(lanternfish, version)
        else:
            told = int(sentence.split()[0])
            assert "parameters were sent" in sentence
            goal = wanted(lanternfish, version)
            there = sum(now[name] == goal[name] and was[name] != goal[name] for name in goal)
            assert told <= there <= told + 1
    else:
        assert moment > 0.3


@pytest.mark.parametrize(
    ("moment", "says"),
    [
        (0.05, "Nothing was sent; Lanternfish is as it was"),
        (0.30, "parameters were sent"),
        (0.40, "not all of it was read"),
    ],
)
def test_a_cable_lost_in_the_middle_says_what_the_instrument_holds(
    lanternfish: Chart, moment: float, says: str
) -> None:
    one = world(lanternfish)
    one.bad.at(100.0 + moment, lambda now: one.cable.lose("The port Pit interface 1 has gone."))
    with pytest.raises(CableLost, match="has gone") as told:
        recall(one.line, other_sound(lanternfish, 14), way="controllers")
    assert says in str(told.value)


_CHARTS = {name: load(place) for name, place in shipped().items()}


@settings(max_examples=25)
@given(
    name=st.sampled_from(sorted(_CHARTS)),
    seed=st.integers(0, 10_000),
    flip=st.sampled_from([0.0, 0.002, 0.01]),
    lose=st.sampled_from([0.0, 0.002, 0.01]),
    swap=st.sampled_from([0.0, 0.005]),
)
def test_arrived_is_always_true(name: str, seed: int, flip: float, lose: float, swap: float) -> None:
    chart = _CHARTS[name]
    one = world(chart, seed=seed, faults=Faults(flip=flip, lose=lose, swap=swap))
    version = other_sound(chart, seed + 1)
    try:
        result = recall(one.line, version)
    except LibrarianError:
        return  # told, with a sentence
    if result.state == "arrived":
        assert sound_of(one) == wanted(chart, version)


def test_silence_after_everything_was_sent_says_so(lanternfish: Chart) -> None:
    one = world(lanternfish)
    wanted = Version("lanternfish", lanternfish.revision, Values({**one.sound, "osc1.octave": 0}))
    one.bad.at(one.clock.now() + 0.22, lambda now: one.instrument.behave(Behaviour(refuse="silence", identity=False)))
    with pytest.raises(NoReply, match=r"nothing came\. Everything was sent to Lanternfish"):
        recall(one.line, wanted, whole=True, way="dump")


_OWN_HANDSHAKE = (
    'style = "own", ack = "F0 7D {device} 7F {packet} F7", nak = "F0 7D {device} 7E {packet} F7", '
    'wait = "F0 7D {device} 7C {packet} F7", cancel = "F0 7D {device} 7D {packet} F7"'
)


@pytest.mark.parametrize("style", ['style = "universal"', _OWN_HANDSHAKE])
@pytest.mark.parametrize("answer_s", [0.02, 0.3])
def test_a_refused_packet_is_told_whether_it_is_refused_at_once_or_late(style: str, answer_s: float) -> None:
    """At once: the packet is sent again, and taken; late: it is sent on, and the refusal comes while reading back."""
    text = _SALTMARSH.read_text(encoding="utf-8")
    assert text.count('style = "universal"') == 1
    chart = loads(text.replace('style = "universal"', style))
    one = world(chart, behaviour=Behaviour(refuse_writes=True, answer_delay_s=answer_s))
    result = recall(one.line, other_sound(chart, 7), whole=True)
    assert result.state == "differs"
    assert result.sentence.endswith("; Saltmarsh refused it")
