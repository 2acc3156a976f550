"""Learning from dumps: hidden charts are found; what cannot be known is said."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import load, loads, shipped
from librarian.chart.learn.dumps import Dial, DumpLearner, Question, dials_of
from librarian.chart.learn.sums import SumForm, checksums
from librarian.errors import BadInput, LibrarianError, Refused
from librarian.messages import Address
from tests.bench.learn import learn, run, trouble
from tests.hidden import STRUCTURES, hidden, of_chart

TWO = (Dial("panel.a", "A", 0, 127), Dial("panel.b", "B", -64, 63))
START = """
id = "two"   # mine
name = "Two"

[[section]]
id = "panel"
label = "Panel"

[[parameter]]
id = "panel.a"
label = "A"
section = "panel"
range = [0, 127]
by_hand = true

[[parameter]]
id = "panel.b"
label = "B"
section = "panel"
kind = "bipolar"
range = [-64, 63]
by_hand = true
"""


def dump(a: int, b: int, extra: int = 0) -> bytes:
    """F0 7D 10 21, A, a byte without meaning, B with offset 64, XOR of these three, F7."""
    data = bytes([a, extra, b + 64])
    return b"\xf0\x7d\x10\x21" + data + bytes([data[0] ^ data[1] ^ data[2], 0xF7])


@pytest.mark.parametrize("structure", STRUCTURES)
def test_a_hidden_chart_is_learnt(structure: str):
    instrument = hidden(structure, seed=7, controls=5)
    learner, person = learn(instrument, seed=7)
    found = loads(learner.chart_text(instrument.start, request=person.request, device=16))
    assert trouble(instrument.chart, found, person, seed=3, secret=instrument.secret) == ""
    assert bool(learner.notes) == instrument.secret
    slots = {"program": 5} if instrument.frame == "program" else {}
    theirs = instrument.chart.codec.request("edit", Address(0, 5), **slots)
    assert found.codec.request("edit", Address(0, 5), **slots) == theirs


@pytest.mark.parametrize("seed", range(3))
def test_instruments_whose_structure_is_drawn_are_learnt(seed: int):
    assert run(0, seed + 40, drawn=1)["learnt"] == 1


def test_the_bench_counts():
    found = run(2, seed=3)
    assert (found["instruments"], found["learnt"]) == (2, 2)
    assert 0 < found["per_control_max"] <= 6


def test_questions_lead_from_dump_to_chart():
    learner = DumpLearner(TWO, others=0)
    state = {"panel.a": 5, "panel.b": 5}
    sentences = []
    while (question := learner.question()) is not None:
        sentences.append(question.sentence)
        if question.kind == "move":
            state[question.control] = question.value
        learner.answer(question, dump(state["panel.a"], state["panel.b"]))
    assert sentences == [
        "Send a dump of the sound as it is.",
        "Move A to its lowest position and nothing else, then send a dump.",
        "Move A to its highest position and nothing else, then send a dump.",
        "Move B to its lowest position and nothing else, then send a dump.",
        "Move B to its highest position and nothing else, then send a dump.",
        "Move A to 49 and nothing else, then send a dump.",
        "Move B to -17 and nothing else, then send a dump.",
    ]
    text = learner.chart_text(START, device=16)
    assert text.startswith('\nid = "two"   # mine\n')
    chart = loads(text)
    decoded = chart.codec.decode(dump(99, -3, extra=77), Address(0, 16))
    assert dict(decoded.values) == {"panel.a": 99, "panel.b": -3}
    assert chart.codec.encode("edit", {"panel.a": 1, "panel.b": 2}, Address(0, 16), base=dump(99, -3, 77)) == (
        dump(1, 2, 77),
    )
    with pytest.raises(BadInput, match="checksum"):
        chart.codec.decode(dump(99, -3)[:-2] + b"\x00\xf7", Address(0, 16))


def test_moves_of_which_only_the_control_is_known_find_the_bits():
    learner = DumpLearner(TWO, others=0)
    learner.sound(dump(5, 5))
    learner.moved("panel.a", None, dump(100, 5))
    learner.moved("panel.b", None, dump(100, -60))
    learner.moved("panel.a", None, dump(27, -60))
    finding = learner.finding()
    assert [found.moved for found in finding.controls.values()] == [True, True]
    assert [sum_.kind for sum_ in finding.sums] == ["xor"]
    with pytest.raises(Refused, match="None of the controls was found"):
        learner.chart_text(START)


def test_a_checksum_that_is_no_known_kind_is_told():
    learner = DumpLearner(TWO, others=0)
    state = {"panel.a": 5, "panel.b": 5}
    while (question := learner.question()) is not None:
        if question.kind == "move":
            state[question.control] = question.value
        plain = dump(state["panel.a"], state["panel.b"])
        odd = sum((place + 3) * byte * byte for place, byte in enumerate(plain[4:7])) * 37 >> 3 & 0x7F
        learner.answer(question, plain[:-2] + bytes([odd, 0xF7]))
    finding = learner.finding()
    assert finding.sums == ()
    assert finding.tried == () or all(one.agree < one.of for one in finding.tried)
    chart = loads(learner.chart_text(START))
    (note,) = learner.notes
    assert "changes with every control, and no checksum that is known fits" in note
    assert "# " + note[:40] in chart.text
    assert not any(way.message == "edit" for way in chart.ways_out)
    raw = dump(3, 4)[:-2] + bytes([0x55, 0xF7])
    decoded = chart.codec.decode(raw, chart.default_address)
    assert chart.codec.encode("edit", decoded.values, chart.default_address, base=raw, form="answer") == (raw,)


def test_a_control_that_changes_nothing_is_left_to_the_hand():
    learner = DumpLearner(TWO, others=0)
    state = {"panel.a": 5}
    while (question := learner.question()) is not None:
        if question.control == "panel.a":
            state["panel.a"] = question.value
        learner.answer(question, dump(state["panel.a"], 5))
    chart = loads(learner.chart_text(START))
    assert (chart.parameters["panel.a"].by_hand, chart.parameters["panel.b"].by_hand) == (False, True)


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        (dump(1, 1)[:-1], "no whole SysEx message"),
        (dump(1, 1)[:-2] + b"\xf7", "has 8 bytes, those before have 9"),
        (b"\xf0\x7c" + dump(1, 1)[2:], "another manufacturer"),
    ],
)
def test_a_dump_that_does_not_belong_is_refused(raw: bytes, sentence: str):
    learner = DumpLearner(TWO)
    learner.sound(dump(2, 2))
    with pytest.raises(BadInput, match=sentence):
        learner.sound(raw)
    assert learner.question() == Question("other", "Choose a quite different sound, and send a dump of it.")


def test_moves_that_cannot_be_are_refused():
    learner = DumpLearner(TWO)
    with pytest.raises(BadInput, match="without a dump before it"):
        learner.moved("panel.a", 3, dump(3, 3))
    learner.sound(dump(2, 2))
    with pytest.raises(BadInput, match=r"no control panel\.c"):
        learner.moved("panel.c", 3, dump(3, 3))
    with pytest.raises(BadInput, match="from 0 to 127"):
        learner.moved("panel.a", 128, dump(3, 3))
    with pytest.raises(BadInput, match="no control to learn"):
        DumpLearner(())


def test_checksums_by_hand():
    # bytes 10 00 2A 7F 05: XOR 40, sum 3E, two's complement 42, one's complement 41 (worked by hand, column by column)
    for kind, value in (("xor", 0x40), ("sum", 0x3E), ("twos", 0x42), ("ones", 0x41)):
        rows = [bytes([0xF0, 0x7D, 0x10, 0x00, 0x2A, 0x7F, 0x05, value, 0xF7]), bytes([0xF0, 0x7D, *[0] * 5])]
        empty = {"xor": 0, "sum": 0, "twos": 0, "ones": 0x7F}[kind]
        rows[1] += bytes([empty, 0xF7])
        table = np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(2, -1)
        best = [one for one in checksums(table, 7, [SumForm(1)], [2], [7]) if one.fits]
        assert [one.kind for one in best] == [kind]


def test_dials_come_from_a_chart():
    assert dials_of(loads(START)) == TWO


@settings(max_examples=3)
@given(
    st.integers(6, 60).flatmap(
        lambda size: st.lists(
            st.tuples(
                st.sampled_from(["", "panel.a", "panel.b"]),
                st.none() | st.integers(0, 63),
                st.binary(min_size=size, max_size=size),
            ),
            min_size=1,
            max_size=12,
        )
    )
)
def test_no_dumps_stop_it(some: list[tuple[str, int | None, bytes]]):
    learner = DumpLearner(TWO, others=0)
    for control, value, body in some:
        raw = b"\xf0\x7d" + bytes(byte & 0x7F for byte in body[3:]) + b"\xf7"
        try:
            learner.moved(control, value, raw) if control else learner.sound(raw)
        except BadInput:
            continue
    with suppress(LibrarianError):
        learner.question()
        loads(learner.chart_text(START))


@pytest.mark.slow
def test_the_shipped_chart_is_learnt_though_its_data_is_plain_at_the_front_and_packed_behind():
    instrument = of_chart(load(shipped()["lanternfish"]))
    learner, person = learn(instrument, seed=1)
    found = loads(learner.chart_text(instrument.start, request=person.request, device=16))
    assert trouble(instrument.chart, found, person, seed=3) == ""


def address_dump(values: bytes, start: int = 0x2000) -> tuple[bytes, ...]:
    """Two data-set messages of 8 bytes with 3-byte addresses; twos over address and data (common practice)."""
    made = []
    for place in (0, 8):
        at = start + place
        body = bytes([at >> 14 & 0x7F, at >> 7 & 0x7F, at & 0x7F]) + values[place : place + 8]
        made.append(b"\xf0\x7d\x10\x12" + body + bytes([-sum(body) & 0x7F, 0xF7]))
    return tuple(made)


def test_address_messages_written_by_hand_are_learnt_as_one_range():
    values = bytearray(range(16))
    learner = DumpLearner(TWO, others=2)
    chance = np.random.default_rng(5)
    while (question := learner.question()) is not None:
        if question.kind == "move":
            place, zero = {"panel.a": (3, 0), "panel.b": (12, 64)}[question.control]
            values[place] = question.value + zero
        elif question.kind == "other":
            values = bytearray(int(one) for one in chance.integers(0, 128, 16))
        learner.answer(question, *address_dump(bytes(values)))
    chart = loads(learner.chart_text(START))
    values[3], values[12] = 77, 64 - 20
    raws = address_dump(bytes(values))
    assert dict(chart.codec.decode_all(raws, Address(0, 16)).values) == {"panel.a": 77, "panel.b": -20}
    assert chart.codec.encode("edit", {"panel.a": 77, "panel.b": -20}, Address(0, 16), base=raws) == raws
    message = chart.text[chart.text.index("[message.edit]") :]
    assert '{start = "00 40 00", size = 16}' in message.replace("0x", "")


def test_messages_that_nothing_numbers_are_refused_in_a_sentence():
    learner = DumpLearner(TWO)
    with pytest.raises(BadInput, match="came as 2 messages that are numbered in no way"):
        learner.sound(b"\xf0\x7d\x10\x12\x01\x02\xf7", b"\xf0\x7d\x10\x12\x07\x02\xf7")
    assert learner.evidence.shots == []


def test_a_name_in_a_table_of_its_own():
    """A = 1, blank = 0, a = 33, 0 = 68: common practice, no source."""

    def code(char: str) -> int:
        if char == " ":
            return 0
        return ord(char) - 64 if char.isupper() else ord(char) - 64 if char.islower() else ord(char) + 20

    state = {"panel.a": 5, "panel.b": 5}
    name = "OLD ONE"

    def raw() -> bytes:
        letters = bytes(code(char) for char in name[:9].ljust(9))
        data = bytes([state["panel.a"], *letters, state["panel.b"] + 64])
        return b"\xf0\x7d\x10\x21" + data + bytes([sum(data) & 0x7F, 0xF7])

    learner = DumpLearner(TWO, others=0, names=True)
    while (question := learner.question()) is not None:
        if question.kind == "move":
            state[question.control] = question.value
        elif question.kind == "name":
            name = question.text
        learner.answer(question, raw(), text=question.text)
    chart = loads(learner.chart_text(START))
    name = "Harbour 7"
    decoded = chart.codec.decode(raw(), Address(0, 16))
    assert decoded.name == "Harbour 7"
    name = "Fog"
    assert chart.codec.encode("edit", decoded.values, Address(0, 16), base=decoded.raw, name="Fog") == (raw(),)


def test_what_was_skipped_is_not_asked_again_and_a_dump_can_be_taken_back():
    learner = DumpLearner(TWO, others=0)
    learner.answer(learner.question(), dump(5, 5))
    question = learner.question()
    learner.skip(question)
    assert learner.question() != question
    learner.answer(learner.question(), dump(127, 5))
    learner.take_back()
    assert len(learner.evidence.shots) == 1
    learner.take_back()
    with pytest.raises(Refused, match="There is no dump to take back"):
        learner.take_back()


def test_what_the_panel_tells_goes_before_what_was_asked_for():
    learner = DumpLearner(TWO, others=0)
    learner.answer(learner.question(), dump(5, 5))
    learner.heard("panel.a", 100)
    learner.answer(Question("move", "", "panel.a", 0), dump(100, 5))
    assert learner.evidence.known("panel.a") == [(1, 100)]
