"""The simulated instrument by itself: bytes in with their times, bytes out with theirs, no cable and no transfer."""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.messages import ALL_CALL, Address, Values
from librarian.standin import Behaviour, Instrument
from librarian.wire import universal


@pytest.fixture(scope="module")
def fogbell() -> Chart:
    return load(shipped()["fogbell"])


@pytest.fixture(scope="module")
def lanternfish() -> Chart:
    return load(shipped()["lanternfish"])


def outgoing(instrument: Instrument, until: float) -> list[bytes]:
    """What it sends until then, one entry for each message."""
    sent: list[bytes] = []
    while (moment := instrument.next_due()) is not None and moment <= until:
        sent += [raw for _, raw in instrument.due(moment)]
    return sent


def test_the_same_seed_is_the_same_instrument_and_another_seed_is_not(fogbell: Chart) -> None:
    assert Instrument(fogbell, seed=4).state() == Instrument(fogbell, seed=4).state()
    assert Instrument(fogbell, seed=4).sound != Instrument(fogbell, seed=5).sound


def test_values_are_inside_their_ranges_and_setup_stands_at_its_default(lanternfish: Chart) -> None:
    one = Instrument(lanternfish, seed=2)
    assert set(one.sound) == set(lanternfish.parameters)
    assert all(lanternfish.parameters[name].holds(value) for name, value in one.sound.items())
    for name in lanternfish.setup_ids:
        assert one.sound[name] == lanternfish.parameters[name].default
    assert one.memory.size == 64


def test_identity_is_answered_to_all_call_and_to_its_own_device_only(lanternfish: Chart) -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.40: F0 7E dev 06 02, maker, family and member LSB first, revision, F7.
    expected = bytes.fromhex("F0 7E 11 06 02 7D 02 01 01 00 00 00 02 00 F7")
    for device, answers in ((ALL_CALL, [expected]), (17, [expected]), (16, [])):
        one = Instrument(lanternfish)
        one.feed(universal.identity_request(device), 1.0)
        assert outgoing(one, 2.0) == answers
    silent = Instrument(lanternfish, behaviour=Behaviour(identity=False))
    silent.feed(universal.identity_request(), 1.0)
    assert outgoing(silent, 2.0) == []


def test_a_controller_changes_the_sound_and_leaves_the_pot_where_it_is(fogbell: Chart) -> None:
    one = Instrument(fogbell, values={"filter.cutoff": 10})
    number = fogbell.parameters["filter.cutoff"].bindings[0].number
    one.feed(bytes((0xB0 | fogbell.channel, number, 99)), 1.0)
    assert one.sound["filter.cutoff"] == 99
    assert one.panel["filter.cutoff"] == 10
    one.feed(bytes((0xB0 | (fogbell.channel + 1) % 16, number, 7)), 2.0)
    assert one.sound["filter.cutoff"] == 99, "another channel is not for it"


def test_a_pot_turned_by_hand_sends_its_controller_and_sounds(fogbell: Chart) -> None:
    one = Instrument(fogbell, values={"filter.cutoff": 10})
    number = fogbell.parameters["filter.cutoff"].bindings[0].number
    one.turn("filter.cutoff", 45, 3.0)
    assert one.sound["filter.cutoff"] == one.panel["filter.cutoff"] == 45
    assert outgoing(one, 4.0) == [bytes((0xB0 | fogbell.channel, number, 45))]
    with pytest.raises(ValueError, match="no control"):
        one.turn("filter.cutof", 1, 5.0)
    with pytest.raises(ValueError, match="from 0 to 127"):
        one.turn("filter.cutoff", 128, 5.0)


def test_a_pot_that_waits_takes_over_where_it_passes_the_sound(lanternfish: Chart) -> None:
    assert lanternfish.parameters["filter.cutoff"].takeover == "waits"
    one = Instrument(lanternfish, values={"filter.cutoff": 20})
    one.set_sound({"filter.cutoff": 80}, 1.0)  # a recall: the pot still stands at 20
    one.turn("filter.cutoff", 60, 2.0)
    assert one.sound["filter.cutoff"] == 80, "not passed yet"
    one.turn("filter.cutoff", 90, 3.0)
    assert one.sound["filter.cutoff"] == 90, "passed and caught"


def test_a_controller_dump_carries_the_sound_not_the_pots(fogbell: Chart) -> None:
    one = Instrument(fogbell, seed=3)
    one.set_sound({"filter.cutoff": 127 - one.panel["filter.cutoff"]}, 0.5)
    for raw in fogbell.codec.controller_request(one.address):
        one.feed(raw, 1.0)
    listener = fogbell.codec.listener(one.address)
    heard = {found.parameter: found.value for raw in outgoing(one, 2.0) for found in listener.feed(raw)}
    assert heard == one.sound


def test_a_dump_answers_its_request_and_a_written_one_is_taken_whole(lanternfish: Chart) -> None:
    one, other = Instrument(lanternfish, seed=1, name="Harbour"), Instrument(lanternfish, seed=2)
    one.feed(lanternfish.codec.request("edit", one.address), 1.0)
    (dump,) = outgoing(one, 2.0)
    decoded = lanternfish.codec.decode(dump, one.address)
    assert dict(decoded.values) == one.sound
    assert decoded.name.rstrip() == "Harbour"
    other.feed(dump, 3.0)
    assert other.sound == one.sound
    assert other.panel != one.panel
    other.feed(lanternfish.codec.request("edit", other.address), 4.0)
    assert outgoing(other, 5.0) == [dump]


@pytest.mark.parametrize("place", [5, 100, 261])
def test_a_damaged_dump_changes_nothing(lanternfish: Chart, place: int) -> None:
    one, other = Instrument(lanternfish, seed=1), Instrument(lanternfish, seed=2)
    one.feed(lanternfish.codec.request("edit", one.address), 1.0)
    dump = bytearray(outgoing(one, 2.0)[0])
    dump[place] ^= 0x01
    before = dict(other.sound)
    other.feed(bytes(dump), 3.0)
    assert other.sound == before
    assert other.refused


@pytest.mark.parametrize("pieces", [True, False])
def test_one_message_of_a_dump_at_addresses_is_obeyed_alone_or_waits_for_the_others(pieces: bool) -> None:
    chart = load(Path(__file__).parents[2] / "data" / "instruments" / "kelpline.toml")
    one = Instrument(chart, behaviour=Behaviour(takes_pieces=pieces))
    was, new = dict(one.memory[3].values), Instrument(chart, seed=9).memory[3]
    messages = chart.codec.encode("program", new.values, one.address, form="write", name="Gulls", program=3)
    one.feed(messages[1], 1.0)
    one.feed(messages[1][:-2] + bytes([messages[1][-2] ^ 1, 0xF7]), 2.0)
    now = dict(one.memory[3].values)
    assert (now == was) is not pieces
    assert len(one.refused) == 1
    if pieces:
        first = set(was) - {name for name in was if now[name] == new.values[name]}
        assert first
        assert {name: now[name] for name in first} == {name: was[name] for name in first}
        one.feed(messages[0], 3.0)
        assert dict(one.memory[3].values) == new.values
        assert one.memory[3].name.rstrip() == "Gulls"


@pytest.mark.parametrize("name", ["haycock", "gallowmere"])
def test_a_whole_dump_is_taken_by_one_that_obeys_each_message_alone(name: str) -> None:
    """Frames around the messages, blocks of one size, and numbered packets, which mean nothing alone."""
    charts = Path(__file__).parents[1] / "chart" / "published" / "charts"
    chart = load(charts / f"{name}.toml")
    one = Instrument(chart, behaviour=Behaviour(takes_pieces=True))
    other = Instrument(chart, seed=9)
    message, info = next((name, info) for name, info in chart.codec.messages.items() if info.kind == "edit buffer")
    assert info.messages > 1
    for count, raw in enumerate(chart.codec.encode(message, other.sound, one.address, form="write")):
        one.feed(raw, 1.0 + count / 10)
    assert {name: one.sound[name] for name in info.carries} == {name: other.sound[name] for name in info.carries}
    assert one.refused == []


@pytest.mark.parametrize(
    ("name", "message", "first", "slots"),
    [("thimblerig", "pattern", 4, {"program": 3, "bank": 2}), ("cobnut", "bank", 5, {"bank": 1})],
)
def test_what_is_asked_for_in_a_bank_that_cannot_be_is_not_answered(
    name: str, message: str, first: int, slots: dict[str, int]
) -> None:
    chart = load(Path(__file__).parents[1] / "chart" / "published" / "charts" / f"{name}.toml")
    one = Instrument(chart)
    asked = chart.codec.request(message, one.address, **slots)
    for place in range(first, len(asked) - 1):
        one.feed(asked[:place] + b"\x7f" + asked[place + 1 :], 1.0)
    assert outgoing(one, 5.0) == []
    one.feed(asked, 6.0)
    assert len(outgoing(one, 9.0)) == 1


def test_a_program_change_loads_a_program_and_leaves_the_setup(lanternfish: Chart) -> None:
    one = Instrument(lanternfish, values={"voice.transpose": 5})
    one.feed(bytes((0xC0 | lanternfish.channel, 9)), 1.0)
    stored = one.memory[9]
    assert all(one.sound[name] == stored.values[name] for name in lanternfish.sound_ids)
    assert one.sound["voice.transpose"] == 5
    assert one.name == stored.name == "Program 10"


def test_refusing_and_silence(lanternfish: Chart) -> None:
    dump = lanternfish.codec.encode("edit", Values(Instrument(lanternfish, seed=9).sound), Address(2, 17), name="x")
    nak = universal.handshake("nak", 17)
    for refuse, answers in (("nak", [nak]), ("silence", [])):
        one = Instrument(lanternfish, behaviour=Behaviour(refuse=refuse))  # type: ignore[arg-type]
        before = dict(one.sound)
        one.feed(dump[0], 1.0)
        assert outgoing(one, 2.0) == answers
        assert one.sound == before
    careless = Instrument(lanternfish, behaviour=Behaviour(refuse="nak", refused_write_changes=True))
    before = dict(careless.sound)
    careless.feed(dump[0], 1.0)
    changed = [name for name in before if careless.sound[name] != before[name]]
    assert 1 <= len(changed) <= 3


def test_a_small_buffer_overflows_while_it_is_busy_and_not_otherwise(fogbell: Chart) -> None:
    burst = b"".join(bytes((0xB0 | fogbell.channel, 20 + index, 1)) for index in range(20))
    free = Instrument(fogbell, behaviour=Behaviour(input_buffer=6))
    free.feed(burst, 1.0)
    assert free.overflowed == 0
    busy = Instrument(fogbell, behaviour=Behaviour(input_buffer=6, message_s=0.005))
    busy.feed(burst, 1.0)
    assert busy.overflowed > 0
    slow = Instrument(fogbell, behaviour=Behaviour(input_buffer=6, message_s=0.005))
    for index in range(20):
        slow.feed(burst[3 * index : 3 * index + 3], 1.0 + index * 0.006)
    assert slow.overflowed == 0, "the same messages with a gap are all taken"


def test_deaf_until_its_answer_has_ended(fogbell: Chart) -> None:
    number = fogbell.parameters["filter.cutoff"].bindings[0].number
    one = Instrument(
        fogbell, values={"filter.cutoff": 10}, behaviour=Behaviour(deaf_until_answered=True, input_buffer=0)
    )
    for raw in fogbell.codec.controller_request(one.address):
        one.feed(raw, 1.0)
    one.feed(bytes((0xB0 | fogbell.channel, number, 99)), 1.01)
    outgoing(one, 1.5)
    assert one.sound["filter.cutoff"] == 10
    one.feed(bytes((0xB0 | fogbell.channel, number, 99)), 1.5)
    assert one.sound["filter.cutoff"] == 99


def test_thru_returns_everything_before_the_answer(lanternfish: Chart) -> None:
    one = Instrument(lanternfish, behaviour=Behaviour(thru=True))
    request = universal.identity_request()
    one.feed(request, 1.0)
    assert outgoing(one, 2.0)[0] == request


def test_active_sensing_begins_with_the_first_thing_heard_whatever_the_clock_says(fogbell: Chart) -> None:
    one = Instrument(fogbell, behaviour=Behaviour(active_sensing_s=0.3))
    assert one.next_due() is None
    one.feed(b"\xb0\x07\x40", 5000.0)
    assert outgoing(one, 5001.0) == [b"\xfe"] * 3
