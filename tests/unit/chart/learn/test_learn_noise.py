"""Learning from the panel while other things happen on the cable, and from controls that do not behave."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Sequence

import pytest

from librarian.chart import loads
from librarian.chart.learn import Naming, PanelLearner
from librarian.messages import Message
from librarian.wire.assembler import Assembler

Bytes = Callable[[int], bytes]


class Cable:
    """Bytes as they come from a port, through the assembler, into a learner."""

    def __init__(self) -> None:
        self.learner = PanelLearner()
        self.assembler = Assembler()
        self.now = 0.0

    def come(self, data: bytes) -> None:
        for arrival in self.assembler.feed(data, self.now):
            assert isinstance(arrival, Message), arrival
            self.learner.feed(arrival.raw, arrival.at)
        self.now += len(data) / 3125

    def move(self, values: Sequence[int], data: Bytes, every: float = 0.02) -> None:
        for value in values:
            self.come(data(value))
            self.now += every
        self.now += 1.0

    @property
    def found(self) -> list[tuple[tuple[str, ...], str, int, int]]:
        return [(one.texts, one.nature.kind, one.nature.low, one.nature.high) for one in self.learner.controls()]

    def bindings(self) -> list[str]:
        for one in self.learner.controls():
            self.learner.name(one.key, Naming(f"K{one.key}"))
        chart = loads(self.learner.chart_text(id="x", name="X"))
        return [one.binding_text for one in chart.parameters.values()]


def turned(high: int, step: int) -> list[int]:
    return [*range(0, high, step), high, *range(high - 1, 0, -step - 1), 0]


def cc(number: int) -> Bytes:
    return lambda value: bytes([0xB0, number, value])


def test_clock_active_sensing_and_notes_between_and_inside_the_messages():
    cable, chance = Cable(), random.Random(3)
    for value in turned(127, 3):
        noise = chance.choice((b"\xf8", b"\xfe", b"\xf8\xf8", b""))
        cable.come(b"\xb0" + noise + bytes([74]) + noise + bytes([value]))
        if chance.random() < 0.3:
            cable.come(bytes([0x90, 60, 64]))
            cable.come(bytes([0x80, 60, 0, 0xE0, 0, 64]))
        cable.now += 0.02
    assert cable.found == [(("CC 74",), "continuous", 0, 127)]
    assert set(cable.learner.unused) == {"notes", "pitch bend"}


def test_an_hour_of_clock_does_not_fill_the_session():
    cable = Cable()
    for _ in range(250_000):
        cable.learner.feed(b"\xf8", cable.now)
    cable.move(turned(127, 3), cc(74))
    assert cable.found == [(("CC 74",), "continuous", 0, 127)]


@pytest.mark.parametrize("seed", range(4))
def test_two_controls_moved_at_once_stay_two(seed: int):
    chance = random.Random(seed)
    cable = Cable()
    steps = sorted(
        [(0.02 * at + chance.random() * 0.01, 70, value) for at, value in enumerate(turned(127, 2))]
        + [(0.02 * at + chance.random() * 0.01, 71, value) for at, value in enumerate(turned(127, 3))]
    )
    for at, number, value in steps:
        cable.now = at
        cable.come(bytes([0xB0, number, value]))
    assert [texts for texts, *_ in cable.found] in ([("CC 70",), ("CC 71",)], [("CC 71",), ("CC 70",)])


def test_msb_and_lsb_numbers_of_two_controls_moved_one_after_the_other_are_no_pair():
    cable = Cable()
    cable.move(turned(127, 3), cc(16))
    cable.move(turned(127, 3), cc(48))
    assert cable.found == [(("CC 16",), "continuous", 0, 127), (("CC 48",), "continuous", 0, 127)]


def test_a_pot_that_trembles_between_two_values_is_no_switch_until_it_is_turned():
    cable = Cable()
    cable.move([63, 64] * 20, cc(74))
    (only,) = cable.learner.controls()
    assert (only.nature.kind, only.nature.certain) == ("continuous", False)
    assert only.nature.advice == "It only trembles between two values: turn it from end to end."
    cable.move([*turned(127, 3), *[63, 64] * 10], cc(74))
    (only,) = cable.learner.controls()
    assert (only.nature.kind, only.nature.low, only.nature.high, only.nature.certain) == ("continuous", 0, 127, True)


def test_a_pot_that_jumps_is_a_pot():
    cable = Cable()
    cable.move([5, 90, 33, 127, 2, 61, 0, 110, 18, 77], cc(74))
    assert cable.found == [(("CC 74",), "continuous", 0, 127)]


def test_nrpn_with_running_status_and_a_null_after_each():
    # MIDI 1.0 Detailed Specification 4.2.1 p.17; one status byte for the whole group
    cable = Cable()
    cable.move(turned(16383, 300), lambda v: bytes([0xB0, 99, 2, 98, 5, 6, v >> 7, 38, v & 0x7F, 101, 127, 100, 127]))
    cable.move(turned(127, 3), lambda v: bytes([0xB0, 99, 2, 98, 6, 6, v]))
    assert cable.found == [(("NRPN 261",), "continuous", 0, 16383), (("NRPN 262, 7 bits",), "continuous", 0, 127)]


def test_the_msb_alone_of_fourteen_bits_is_a_control_of_seven():
    cable = Cable()
    cable.move(turned(127, 3), lambda v: bytes([0xB0, 99, 2, 98, 5, 6, v]))
    cable.move(turned(127, 3), cc(16))
    assert cable.bindings() == ["NRPN 261", "CC 16"]


def test_pairs_with_the_lsb_first_and_pairs_whose_halves_come_only_when_they_change():
    cable = Cable()
    cable.move(turned(16383, 300), lambda v: bytes([0xB0, 48, v & 0x7F, 0xB0, 16, v >> 7]))
    before = [None]

    def changed(value: int) -> bytes:
        halves = b"" if before[0] == value >> 7 else bytes([0xB0, 17, value >> 7])
        before[0] = value >> 7
        return halves + bytes([0xB0, 49, value & 0x7F])

    cable.move(turned(16383, 50), changed)
    assert [(texts, kind) for texts, kind, *_ in cable.found] == [
        (("CC 16 and 48",), "continuous"), (("CC 17 and 49",), "continuous"),
    ]  # fmt: skip
    assert cable.bindings() == ["CC 16/48", "CC 17/49"]


def test_forty_controls_are_followed_without_waiting():
    """Forty controls in ten minutes: what is known is asked for twenty times a second, so what that takes grows with
    the number of controls and not with the number of messages (7,600 here)."""
    cable = Cable()
    most = 0
    for number in [*range(1, 6), *range(7, 32), *range(64, 74)]:
        for at, value in enumerate(turned(127, 1)):
            cable.come(bytes([0xB0, number, value]))
            cable.now += 0.02
            if at % 20 == 0:
                most = max(most, calls_of(cable.learner.controls))
        cable.now += 2
    assert len(cable.found) == 40
    assert most < 40 * 1_000, most


def calls_of(what: Callable[[], object]) -> int:
    """How many functions are called by this: its work, whatever the machine does besides."""
    count = 0

    def noted(_frame: object, event: str, _argument: object) -> None:
        nonlocal count
        count += event == "call"

    before = sys.getprofile()
    sys.setprofile(noted)
    try:
        what()
    finally:
        sys.setprofile(before)
    return count
