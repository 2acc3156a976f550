"""Every state of the chain says what happened, to what, and what next, and draws the fault at its place. No Qt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from librarian.window.chain import transfers, troubles
from librarian.window.chain.facts import Setting
from librarian.window.chain.state import ChainState

PIT = Setting("Lanternfish", "ALSA", 2, "Pit interface 1", "Pit interface 1", "2.1", 3, 17, 1, 2)
PEDAL = Setting("Fogbell", "ALSA", 2, "Pit interface 2", "Pit interface 2", "1.2", 1, None, 2, 2)

# Sentence by sentence the table of the window's design.
TABLE: dict[str, tuple[ChainState, str]] = {
    "no MIDI system": (troubles.no_system(PIT), (
        "No MIDI system runs on this computer, so no port can be opened. Search, compare and files work; start it, "
        "then look again.")),
    "nothing connected": (troubles.nothing_connected(), (
        "No MIDI port found. Plug in an interface; this line looks again every second.")),
    "ports, none chosen": (troubles.none_chosen(PIT, 3), (
        "3 ports found, none chosen for Lanternfish. Choose ports; each is only asked who is there.")),
    "no answer": (troubles.no_answer(PIT, asked=3, last_answer="19:46"), (
        "Lanternfish does not answer on Pit interface 1; it last answered at 19:46. Check its power and the cable in "
        "its MIDI IN, then look again.")),
    "identified": (transfers.identified(PIT, answered_ago_s=0.2, revision=4), (
        "Lanternfish answered on Pit interface 1. Its firmware is 2.1, and chart revision 4 describes it. Ready to "
        "capture or recall.")),
    "capturing": (transfers.capturing(PIT, received=31, of=52, left_s=2), (
        "Capturing from Lanternfish: 31 of 52 parameters received, about 2 s left. Leave the knobs still until it "
        "ends.")),
    "capture by hand": (transfers.capturing_by_hand(PIT, moved=9, of=52), (
        "Listening to Lanternfish: 9 of 52 controls have moved. Move each remaining control a little; the panel shows "
        "which.")),
    "captured, incomplete": (transfers.captured_incomplete(PIT, missing=("Drift", "Touch", "Wheel"), known=49, of=52), (
        "Captured from Lanternfish, but Drift, Touch and Wheel did not arrive. They are kept as unknown; move them a "
        "little, or ask again.")),
    "recalling": (transfers.recalling(PIT, name="Storm, first gust", sent=27, of=48, left_s=1.2,
                                      kept_as="Panel, 12 Mar 20:04"), (
        "Recalling “Storm, first gust” to Lanternfish: 27 of 48 sent, about 1 s left. What was in it before is kept "
        "as “Panel, 12 Mar 20:04”.")),
    "proved": (transfers.proved(PIT, name="Harbour before the storm", equal=50, of=50, at="19:42", setup_left=2), (
        "Recall of “Harbour before the storm” is proved: 50 of 50 sound parameters read back equal at 19:42. Two setup "
        "parameters were left as they are.")),
    "m differ": (transfers.differs(PIT, labels=("Cutoff", "Drive", "Glide"), equal=47, of=50), (
        "Recalled to Lanternfish, but 3 of 50 read back different: Cutoff, Drive and Glide. Send these 3 again, "
        "slower, or keep what is there.")),
    "compared": (transfers.compared(PIT, name="Harbour", equal=49, of=50, mark="different",
                                    sentence="49 of 50 sound parameters read back equal; Glide differs"), (
        "Lanternfish was compared with “Harbour”: 49 of 50 sound parameters read back equal; Glide differs.")),
    "sent, one moved": (transfers.ended_otherwise(
        PIT, name="Harbour", equal=49, of=50, mark="different",
        sentence="49 of 50 sound parameters read back equal; Glide was moved on the panel meanwhile"), (
        "“Harbour” was recalled to Lanternfish: 49 of 50 sound parameters read back equal; Glide was moved on the "
        "panel meanwhile.")),
    "sent, unprovable": (transfers.sent_unprovable(PEDAL, sent=22, of=22), (
        "Sent 22 of 22 to Fogbell, but firmware 1.2 cannot be read back, so nothing proves it. Listen, or match the "
        "panel.")),
    "foreign messages": (troubles.foreign(PIT, asked=3, heard="notes on channel 10"), (
        "Messages arrive on Pit interface 1, but none from Lanternfish: notes on channel 10. Another instrument may be "
        "on this input; choose other ports.")),
    "lost server": (troubles.lost_system(PIT, stopped="19:51"), (
        "The MIDI system of this computer stopped at 19:51; nothing can be sent or heard. Start it again, and the "
        "ports reopen by themselves.")),
    "port held": (troubles.port_held(replace(PIT, open_ports=1)), (
        "Pit interface 1 is held by another program, perhaps a sequencer. Close the port there, then look again.")),
    "echo loop": (troubles.echo(PIT, requests=3), (
        "Pit interface 1 returns what is sent to it: thru is on, or OUT is wired to IN. Switch thru off or rewire; "
        "nothing more is sent until then.")),
    "wrong firmware": (troubles.wrong_firmware(replace(PIT, firmware="3.0"), described="2.x"), (
        "Lanternfish answered with firmware 3.0, but the chart describes 2.x. Capture keeps the bytes; recall waits "
        "until a chart for 3.0 is chosen.")),
    "other instrument": (troubles.other_instrument(replace(PEDAL, output="Pit interface 1", input="Pit interface 1"),
                                                   expected="Lanternfish"), (
        "Fogbell answered on Pit interface 1, where Lanternfish was expected. Use Fogbell here, or choose other ports "
        "for Lanternfish.")),
    "dump broke off": (troubles.dump_broke_off(PIT, came=212, of=263), (
        "A dump from Lanternfish broke off after 212 of 263 bytes; no patch was made of it. Ask again, slower; the "
        "bytes are in the traffic.")),
}
PLATES = {
    "identified": ("agrees", "answered 0.2 s ago"), "capturing": ("to computer", "31 of 52 received"),
    "captured, incomplete": ("question", "49 of 52, 3 unknown"), "recalling": ("to instrument", "27 of 48 sent"),
    "proved": ("equal", "50 of 50 read back equal"), "m differ": ("different", "47 of 50 equal, 3 differ"),
    "compared": ("different", "49 of 50 equal"), "sent, one moved": ("different", "49 of 50 read back equal"),
    "sent, unprovable": ("question", "22 sent, not proved"), "wrong firmware": ("different", "chart is for 2.x"),
    "other instrument": ("different", "Lanternfish expected"), "dump broke off": ("alarm", "212 of 263 bytes"),
}


@pytest.mark.parametrize("name", TABLE)
def test_the_sentence_is_the_designs(name):
    state, sentence = TABLE[name]
    assert state.sentence == sentence
    assert sentence.startswith(state.first)
    assert state.first[-1] in ".,:;"


@pytest.mark.parametrize("name", TABLE)
def test_the_plate_holds_the_proof_or_nothing(name):
    plate = TABLE[name][0].plate
    if name == "capture by hand":
        assert plate is not None
        assert plate.mark == "to computer"
    elif name in PLATES:
        assert plate is not None
        assert (plate.mark, plate.text) == PLATES[name]
        assert plate.broken == (plate.mark in {"different", "alarm"})
    else:
        assert plate is None, "a claim must not survive where the line is broken"


@pytest.mark.parametrize("name", TABLE)
def test_at_most_one_button_is_proposed_and_each_has_its_words(name):
    buttons = TABLE[name][0].buttons
    assert sum(button.primary for button in buttons) <= 1
    assert all(button.text and button.name for button in buttons)
    assert "panic" not in {button.name for button in buttons}


def test_the_fault_is_drawn_where_it_is():
    courses = {name: (state.out.course, state.back.course, state.box.outline, state.leader)
               for name, (state, _) in TABLE.items()}
    assert courses["no MIDI system"][:2] == ("absent", "absent")
    assert courses["nothing connected"] == ("dotted", "dotted", "dashed", "none")
    assert courses["no answer"] == ("broken at instrument", "broken at instrument", "dashed", "gap")
    assert courses["foreign messages"][:2] == ("broken at instrument", "whole")
    assert TABLE["foreign messages"][0].back.foreign
    assert courses["lost server"] == ("broken at computer", "broken at computer", "dashed", "computer")
    assert courses["port held"][:2] == ("broken at computer", "whole")
    assert courses["echo loop"] == ("returning", "returning", "dashed", "loop")
    assert courses["wrong firmware"] == ("whole", "whole", "broken", "box")
    assert courses["proved"] == ("whole", "whole", "whole", "none")


def test_only_the_strand_that_carries_is_thick():
    assert TABLE["capturing"][0].back.thick
    assert not TABLE["capturing"][0].out.thick
    assert TABLE["recalling"][0].out.thick
    assert not TABLE["recalling"][0].back.thick
    assert TABLE["capturing"][0].plate is not None
    assert TABLE["capturing"][0].plate.share == pytest.approx(31 / 52)


def test_panic_can_be_pressed_unless_no_output_is_open():
    impossible = {name for name, (state, _) in TABLE.items() if state.panic_reason}
    assert impossible == {"no MIDI system", "nothing connected", "ports, none chosen", "lost server", "port held"}


def test_nothing_moves_on_a_broken_line():
    running = replace(PIT, out_rate=900, in_rate=900)
    for state in (troubles.no_answer(running, asked=1), troubles.lost_system(running, stopped="19:51"),
                  troubles.echo(running, requests=1)):
        assert not state.out.moving
        assert not state.back.moving


@pytest.mark.parametrize(("state", "words"), [
    (troubles.none_chosen(PIT, 1), "1 port found, none chosen"),
    (troubles.no_answer(PIT, asked=1), "it has not answered yet"),
    (transfers.captured_incomplete(PIT, missing=("Drift",), known=51, of=52), "It is kept as unknown; move it"),
    (transfers.captured_incomplete(PIT, missing=tuple("ABCDEFG"), known=45, of=52), "A, B, C and 4 more"),
    (transfers.differs(PIT, labels=("Glide",), equal=49, of=50), "Send this one again"),
    (transfers.proved(PIT, name="x", equal=50, of=50, at="19:42", setup_left=1), "One setup parameter was left"),
    (transfers.proved(PIT, name="x", equal=50, of=50, at="19:42", setup_left=0), "equal at 19:42."),
    (transfers.capturing(PIT, received=1, of=52, left_s=None), "1 of 52 parameters received. Leave"),
    (transfers.capturing(PIT, received=1, of=52, left_s=240), "about 4 min left"),
    (transfers.sent_unprovable(replace(PEDAL, firmware=""), sent=22, of=22), "but it cannot be read back"),
    (transfers.identified(replace(PIT, firmware=""), answered_ago_s=75, revision=4), "Chart revision 4 describes it"),
    (troubles.dump_broke_off(PIT, came=1, of=None), "broke off after 1 byte;"),
    (transfers.captured(PIT, known=52, of=52, at="19:38"), "52 of 52 parameters received at 19:38"),
    (transfers.verifying(PIT, name="x", read=3, of=50, left_s=1), "3 of 50 read, about 1 s left."),
    (transfers.cancelled(PIT, what="The capture", state="Nothing was kept."), "was cancelled. Nothing was kept."),
    (troubles.port_gone(PIT, at="19:50"), "Pit interface 1 disappeared at 19:50;"),
])
def test_grammar_follows_the_facts(state, words):
    assert words in state.sentence


def test_two_different_ports_are_both_named():
    apart = replace(PIT, output="Rack out", input="Rack in")
    assert "on Rack out and Rack in;" in troubles.no_answer(apart, asked=2).sentence


def test_thousands_have_a_thin_space_and_rates_their_unit():
    assert transfers.capturing(replace(PIT, in_rate=2940), received=1, of=2, left_s=1).back.remark == "2\u2009940 B/s"


def test_an_instrument_that_only_starts_dumps_by_itself_is_listened_to_in_other_words():
    state = transfers.capturing_by_hand(PIT, moved=0, of=52, by_dump=True)
    assert state.sentence.endswith("Start the dump on the instrument; it is taken as soon as it is whole.")
