"""Instruments that cannot be asked for their edit buffer: dumps started on the panel, programs by their number."""

from __future__ import annotations

import threading

import pytest

from librarian.chart import Chart, load, loads, shipped
from librarian.errors import Refused
from librarian.standin import Behaviour
from librarian.transfer import InstrumentRefused, NoReply, backup, capture, capture_by_hand, capture_program
from librarian.wire.cable import CableLost
from tests.simulated import world

PARAMETERS = """
id = "pressed"
name = "Pressed"
section = [{ id = "tone", label = "Tone" }]
parameter = [
  { id = "tone.pitch", label = "Pitch", section = "tone", range = [0, 127] },
  { id = "tone.wave", label = "Wave", section = "tone", range = [0, 127] },
]
[identity]
manufacturer = "7D"
[layout.panel]
fields = ["tone.pitch", "tone.wave"]
"""
PRESSED = (
    PARAMETERS
    + """
[message.edit]
kind = "edit buffer"
answer = "F0 7D 31 {sound} {sum} F7"
parts.sound = { is = "data", layout = "panel" }
parts.sum = { is = "checksum", kind = "twos", from = "sound", to = "sound" }
"""
)
BANKED = (
    PARAMETERS
    + """
[memory]
programs = 2
banks = 3
[message.all]
kind = "bank"
request = "F0 7D 20 {bank} F7"
answer = "F0 7D 21 {bank} {sound} F7"
parts.sound = { is = "data", layout = "panel", times = 2 }
"""
)
STORED = (
    PARAMETERS
    + """
[memory]
programs = 8
display = "from_one"
[message.program]
kind = "program"
request = "F0 7D 10 {program} F7"
answer = "F0 7D 11 {program} {sound} F7"
parts.sound = { is = "data", layout = "panel" }
"""
)


def frame(pitch: int, wave: int, spoilt: int = 0) -> bytes:
    return bytes((0xF0, 0x7D, 0x31, pitch, wave, (-(pitch + wave) + spoilt) & 0x7F, 0xF7))


@pytest.fixture(scope="module")
def pressed() -> Chart:
    return loads(PRESSED)


@pytest.fixture(scope="module")
def stored() -> Chart:
    return loads(STORED)


def test_a_dump_started_on_the_instrument_is_captured(pressed: Chart) -> None:
    one = world(pressed)
    one.bad.at(101.0, lambda now: one.instrument.send(frame(12, 90, spoilt=1), now))
    one.bad.at(102.0, lambda now: one.instrument.send(frame(12, 90), now))
    got = capture_by_hand(one.line)
    assert dict(got.version.values) == {"tone.pitch": 12, "tone.wave": 90}
    assert got.version.received == (frame(12, 90),)
    assert (got.known, got.of, got.missing) == (2, 2, ())
    assert got.version.origin.detail.startswith("dump started on the instrument")
    assert len(got.refused) == 1
    assert "checksum" in got.refused[0]
    assert got.bytes_out == 0


def test_what_was_heard_before_the_cable_was_lost_is_no_less_heard() -> None:
    one = world(load(shipped()["lanternfish"]))
    one.bad.at(101.0, lambda now: one.instrument.turn("mixer.noise", 5, now))
    one.bad.at(101.0, lambda now: one.instrument.turn("filter.mode", 1, now))
    one.bad.at(102.0, lambda now: one.cable.lose("The interface was pulled out."))
    got = capture_by_hand(one.line)
    assert set(got.version.values) == {"mixer.noise", "filter.mode"}
    assert got.known == 2
    assert set(got.missing) == set(one.line.chart.parameters) - {"mixer.noise", "filter.mode"}
    assert got.broke_off == (
        "The interface was pulled out. What was heard before is kept: 2 of 52 parameters."
    )


def test_a_cable_that_is_lost_before_anything_was_heard_leaves_nothing_to_keep(pressed: Chart) -> None:
    one = world(pressed)
    one.bad.at(102.0, lambda now: one.cable.lose("The interface was pulled out."))
    with pytest.raises(CableLost, match=r"pulled out\. Nothing was kept\."):
        capture_by_hand(one.line)


def test_a_chart_without_request_says_what_to_do(pressed: Chart) -> None:
    with pytest.raises(Refused, match="knows no request") as refused:
        capture(world(pressed).line)
    assert refused.value.hint is not None
    assert "start the dump on the instrument" in refused.value.hint


def test_listening_for_a_dump_goes_on_until_the_person_says_enough(pressed: Chart) -> None:
    one = world(pressed)
    enough = threading.Event()
    one.bad.at(160.0, lambda now: enough.set())
    got = capture_by_hand(one.line, enough=enough)
    assert (got.known, got.version.received) == (0, ())


def test_a_stored_program_is_captured_by_its_number(stored: Chart) -> None:
    one = world(stored)
    held = one.instrument.memory.at(4, 0).values
    got = capture_program(one.line, 4)
    assert dict(got.version.values) == dict(held)
    assert one.line.known() is None, "the edit buffer is as unknown as before"
    assert got.way == "program"
    assert got.version.origin.detail.startswith("program 5 on ")
    assert got.readings >= 2


def test_what_cannot_be_asked_for_alone_is_refused(stored: Chart, pressed: Chart) -> None:
    with pytest.raises(Refused, match="only for the programs of its memory") as refused:
        capture(world(stored).line)
    assert refused.value.hint is not None
    assert "number" in refused.value.hint
    with pytest.raises(Refused, match="no program 8"):
        capture_program(world(stored).line, 8)
    with pytest.raises(Refused, match="no memory"):
        capture_program(world(pressed).line, 0)


def test_a_program_that_does_not_come_is_named_as_the_instrument_shows_it(stored: Chart) -> None:
    lettered = stored.text.replace("programs = 8", "programs = 16\nbanks = 2").replace("from_one", "letters")
    lettered = lettered.replace("F0 7D 10 {program}", "F0 7D 10 {bank} {program}")
    lettered = lettered.replace("F0 7D 11 {program}", "F0 7D 11 {bank} {program}")
    for chart, shown in ((stored, "program 5"), (loads(lettered), "program 1-A5")):
        with pytest.raises(NoReply, match=f": asked for {shown}, nothing came\\."):
            capture_program(world(chart, behaviour=Behaviour(refuse="silence")).line, 4)
        with pytest.raises(InstrumentRefused, match=f" refused the request for {shown}\\."):
            capture_program(world(chart, behaviour=Behaviour(refuse="nak")).line, 4)
    with pytest.raises(NoReply, match=r": asked for program 2-B3, nothing came\."):
        backup(world(loads(lettered), behaviour=Behaviour(refuse="silence")).line, programs=[26])


def test_a_bank_that_does_not_come_is_named(lanternfish: Chart) -> None:
    one_bank = BANKED.replace("banks = 3\n", "").replace("{bank} ", "")
    for text, asked in ((BANKED, "bank 2 of its memory"), (one_bank, "its memory")):
        one = world(loads(text), behaviour=Behaviour(refuse="silence"))
        with pytest.raises(NoReply, match=f": asked for {asked}, nothing came\\."):
            backup(one.line, programs=[2 if text == BANKED else 1])
    with pytest.raises(NoReply, match=r": asked for its sound, nothing came\."):
        capture(world(lanternfish, behaviour=Behaviour(refuse="silence")).line)
