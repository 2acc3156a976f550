"""Learning from the panel: what moved is recognised, and the chart that is written hears the same."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart import Chart, loads
from librarian.chart.learn import Control, Naming, PanelLearner
from librarian.chart.learn.nature import bins, nature_of
from librarian.errors import BadInput
from librarian.messages import Address
from librarian.standin import Instrument
from tests.dumped import invented


class Hand:
    """Moves controls of an instrument that is nothing but messages; a wire that carries 3125 bytes a second."""

    def __init__(self, known: Chart | None = None) -> None:
        self.learner = PanelLearner(known)
        self.heard: list[bytes] = []
        self.now = 0.0

    def move(self, values: Iterable[int], messages: Callable[[int], Sequence[bytes]], every: float = 0.02) -> None:
        for value in values:
            for raw in messages(value):
                self.learner.feed(raw, self.now)
                self.heard.append(raw)
                self.now += len(raw) / 3125
            self.now += every
        self.now += 1.0

    def named(self) -> tuple[Control, ...]:
        for control in self.learner.controls():
            self.learner.name(control.key, Naming(f"Knob {control.key}"))
        return self.learner.controls()

    def chart(self, existing: str = "") -> Chart:
        self.named()
        return loads(self.learner.chart_text(id="found", name="Found", existing=existing))


def sweep(high: int, low: int = 0, steps: int = 70) -> list[int]:
    """From end to end and part of the way back, as a hand turns a pot."""
    there = [low + round((high - low) * step / steps) for step in range(steps + 1)]
    return there + [max(low, value - 1) for value in reversed(there[steps // 2 :])]


def cc(number: int, channel: int = 0) -> Callable[[int], Sequence[bytes]]:
    return lambda value: [bytes([0xB0 | channel, number, value])]


def pair(msb: int, lsb: int, lsb_first: bool = False) -> Callable[[int], Sequence[bytes]]:
    def messages(value: int) -> Sequence[bytes]:
        both = [bytes([0xB0, msb, value >> 7]), bytes([0xB0, lsb, value & 0x7F])]
        return both[::-1] if lsb_first else both

    return messages


def nrpn(number: int, bits: int, again: bool = True) -> Callable[[int], Sequence[bytes]]:
    """`again`: the number before each value; else only before the first."""
    told = False

    def messages(value: int) -> Sequence[bytes]:
        nonlocal told
        select = [] if told and not again else [bytes([0xB0, 99, number >> 7]), bytes([0xB0, 98, number & 0x7F])]
        told = True
        if bits == 7:
            return [*select, bytes([0xB0, 6, value])]
        return [*select, bytes([0xB0, 6, value >> 7]), bytes([0xB0, 38, value & 0x7F])]

    return messages


def test_controllers_of_every_kind_are_told_apart():
    hand = Hand()
    hand.move(sweep(127), cc(74, channel=3))
    hand.move(sweep(16383), pair(16, 48))
    hand.move(sweep(16383), pair(17, 49, lsb_first=True))
    hand.move(sweep(16383), pair(80, 90))
    hand.move(sweep(127), nrpn(261, 7))
    hand.move(sweep(16383), nrpn(262, 14, again=False))
    hand.move([16, 48, 80, 112, 80, 48, 16], cc(21), every=0.3)
    hand.move([0, 1, 2, 3, 4, 3, 2, 1, 0], cc(22), every=0.3)
    hand.move([0, 127, 0], cc(23), every=0.5)
    found = [(control.texts, control.nature.kind, control.nature.low, control.nature.high) for control in hand.named()]
    assert found == [
        (("CC 74",), "continuous", 0, 127),
        (("CC 16 and 48",), "continuous", 0, 16383),
        (("CC 17 and 49",), "continuous", 0, 16383),
        (("CC 80 and 90",), "continuous", 0, 16383),
        (("NRPN 261, 7 bits",), "continuous", 0, 127),
        (("NRPN 262",), "continuous", 0, 16383),
        (("CC 21",), "stepped", 16, 112),
        (("CC 22",), "stepped", 0, 4),
        (("CC 23",), "switch", 0, 127),
    ]
    bindings = {one.label: one.binding_text for one in hand.chart().parameters.values()}
    assert list(bindings.values())[:3] == ["CC 74", "CC 16/48", "CC 17/49"]


def test_what_is_learnt_hears_what_was_sent():
    hand = Hand()
    hand.move(sweep(100), cc(74))
    hand.move([16, 48, 80, 112, 80, 48, 16], cc(21), every=0.3)
    hand.move(sweep(16383), pair(16, 48))
    chart = hand.chart()
    listener = chart.codec.listener(chart.default_address)
    last: dict[str, int] = {}
    for raw in hand.heard:
        last.update({heard.parameter: heard.value for heard in listener.feed(raw)})
    # sweep() ends at 49 of 0..100 and at 8191 of 0..16383; the steps end at the first of four
    assert list(last.values()) == [49, 0, 8191]
    assert chart.parameters["panel.knob-0"].high == 100


def test_a_control_that_sends_two_messages_is_one_control():
    hand = Hand()
    both = (cc(70), nrpn(5, 14))
    hand.move(sweep(16383), lambda value: [*both[0](value >> 7), *both[1](value)])
    hand.move(sweep(127), cc(71))
    assert [control.texts for control in hand.named()] == [("NRPN 5", "CC 70"), ("CC 71",)]
    assert len(hand.chart().parameters) == 2


@pytest.mark.parametrize("kind", ["twos", "xor", "sum", "ones", "none"])
@pytest.mark.parametrize("lsb_first", [False, True])
def test_single_parameter_messages(kind: str, lsb_first: bool):
    hand = Hand()

    def single(number: int) -> Callable[[int], Sequence[bytes]]:
        def messages(value: int) -> Sequence[bytes]:
            low, high = value & 0x7F, value >> 7
            body = [0x0A, number >> 7, number & 0x7F, *((low, high) if lsb_first else (high, low))]
            total, folded = sum(body), 0
            for byte in body:
                folded ^= byte
            check = {"twos": -total, "xor": folded, "sum": total, "ones": ~total}
            tail = [] if kind == "none" else [check[kind] & 0x7F]
            return [bytes([0xF0, 0x7D, 0x10, *body, *tail, 0xF7])]

        return messages

    for number, high in ((0x83, 16383), (0x84, 1000), (3, 8000)):
        hand.move(sweep(high), single(number))
    chart = hand.chart()
    assert [one.high for one in chart.parameters.values()] == [16383, 1000, 8000]
    first, second, _ = chart.parameters
    assert chart.codec.heard(single(0x84)(567)[0], Address(0, 0x10)) == ((second, 567),)
    assert chart.codec.set_one(first, 300, Address(0, 0x10)) == tuple(single(0x83)(300))


def test_the_device_of_the_identity_reply_becomes_the_device_of_the_messages():
    hand = Hand()
    # MIDI 1.0 Detailed Specification 4.2.1 p.40: device 16, maker 7D, family 130, member 2356
    hand.learner.feed(bytes.fromhex("F07E1006027D02013412 00010200F7"), 0.0)
    for number in (1, 2):
        hand.move(sweep(127), lambda value, number=number: [bytes([0xF0, 0x7D, 0x10, 0x0A, number, value, 0xF7])])
    chart = hand.chart()
    assert (chart.identity.family, chart.identity.member, chart.default_address.device) == (130, 2356, 16)
    assert chart.codec.set_one("panel.knob-1", 9, Address(0, 5)) == (bytes.fromhex("F07D050A0109F7"),)


def test_comments_and_form_of_an_existing_chart_survive():
    hand = Hand()
    hand.move(sweep(127), cc(74))
    before = hand.learner
    hand.named()
    text = before.chart_text(id="first", name="First").replace("[[section]]", "# a remark   \n[[section]] # of mine", 1)
    again = Hand(loads(text))
    again.move(sweep(127), cc(74))
    again.move(sweep(127), cc(75))
    again.named()
    assert [control.texts for control in again.learner.controls()] == [("CC 75",)]
    added = again.learner.chart_text(id="other", name="Other", existing=text)
    assert added.startswith(text.rstrip("\n"))
    assert [one.binding_text for one in loads(added).parameters.values()] == ["CC 74", "CC 75"]


def test_a_control_moved_by_mistake_is_forgotten_and_names_must_fit():
    hand = Hand()
    hand.move(sweep(127), cc(1))
    hand.move([0, 127, 0], cc(23), every=0.5)
    first, second = hand.learner.controls()
    hand.learner.leave_out(first.key)
    assert [control.texts for control in hand.learner.controls()] == [("CC 23",)]
    with pytest.raises(BadInput, match="3 names were given; Hold has 2 positions"):
        hand.learner.name(second.key, Naming("Hold", positions=("a", "b", "c")))
    with pytest.raises(BadInput, match="No control has a name yet"):
        hand.learner.chart_text(id="x", name="X")
    hand.learner.name(second.key, Naming("Hold", "Pedals", positions=("up", "down")))
    chart = loads(hand.learner.chart_text(id="x", name="X"))
    assert (chart.parameters["pedals.hold"].positions, chart.sections[0].label) == (("up", "down"), "Pedals")


def test_what_is_no_control_is_counted():
    hand = Hand()
    for raw in ("903C40", "E00040", "B07B00", "C005", "B00001", "F8", "FE", "B00610"):
        hand.learner.feed(bytes.fromhex(raw), 0.0)
    assert hand.learner.controls() == ()
    assert hand.learner.unused == {
        "notes": 1, "pitch bend": 1, "mode messages and data steps": 1, "program changes": 1, "bank select": 1,
        "data entry without a selected NRPN or RPN": 1,
    }  # fmt: skip


def test_one_value_alone_says_nothing_about_a_control():
    assert nature_of([5], 127).advice == "It sent one value only: turn it from end to end."
    assert not nature_of([0, 127], 127).certain


@pytest.mark.parametrize(("count", "numbers"), [(2, (32, 96)), (3, (21, 64, 107)), (5, (12, 38, 64, 89, 115))])
def test_middles_of_bins(count: int, numbers: tuple[int, ...]):
    # MIDI 2.0 Bit Scaling and Resolution 1.0.2, 5; for two positions the document has 0 and 127 instead
    assert bins(count) == numbers


@given(st.binary(max_size=30), st.lists(st.binary(min_size=1, max_size=12), max_size=40))
def test_no_bytes_stop_it(tail: bytes, some: list[bytes]):
    learner = PanelLearner()
    for at, raw in enumerate([*some, b"\xf0\x7d" + tail + b"\xf7"]):
        learner.feed(raw, at / 100)
    for control in learner.controls():
        learner.name(control.key, Naming("K"))
    if learner.controls():
        loads(learner.chart_text(id="x", name="X"))


def test_single_parameters_of_a_hidden_chart():
    hidden = invented("mortise")
    chance = random.Random(1)
    instrument = Instrument(hidden, seed=1)
    hand = Hand()
    for identity, one in hidden.parameters.items():
        for value in sweep(one.high, one.low) if one.high - one.low > 8 else [*range(one.low, one.high + 1), one.low]:
            raws = hidden.codec.set_one(identity, value, instrument.address)
            for raw in raws:
                hand.learner.feed(raw, hand.now)
            hand.now += 0.02
        hand.now += 1
    learnt = hand.chart()
    assert len(learnt.parameters) == len(hidden.parameters)
    for identity, mine in zip(hidden.parameters, learnt.parameters, strict=True):
        one = hidden.parameters[identity]
        value = chance.randint(one.low, one.high)
        (raw,) = hidden.codec.set_one(identity, value, instrument.address)
        assert [heard[0] for heard in learnt.codec.heard(raw, instrument.address)] == [mine]
