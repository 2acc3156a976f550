"""Who is there, and each kind of silence and noise told apart."""

from __future__ import annotations

import pytest

from librarian.chart import Chart, loads
from librarian.messages import Address
from librarian.standin import Behaviour, Instrument
from librarian.standin.faults import Faults
from librarian.transfer import EchoLoop, ForeignOnly, NoReply, WrongInstrument, capture, identify, recall
from librarian.transfer.line import Line
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable
from tests.simulated import World, world


class Wire:
    """A far end without an instrument: says what it is told to, or returns what it hears."""

    def __init__(self, says: tuple[bytes, ...] = (), *, returns: bool = False, every: float = 0.05) -> None:
        self._says = says
        self._returns = returns
        self._every = every
        self._next = 100.0
        self._out: list[tuple[float, bytes]] = []

    def feed(self, data: bytes, now: float) -> None:
        if self._returns:
            self._out.append((now, data))

    def due(self, now: float) -> list[tuple[float, bytes]]:
        ready, self._out = [one for one in self._out if one[0] <= now], [one for one in self._out if one[0] > now]
        while self._says and self._next <= now:
            ready += [(self._next, raw) for raw in self._says]
            self._next += self._every
        return ready

    def next_due(self) -> float | None:
        return min([moment for moment, _ in self._out] + ([self._next] if self._says else []), default=None)


def line_to(far_end: object, chart: Chart) -> Line:
    clock = VirtualClock(100.0)
    return Line(EmbeddedCable(far_end, clock, name="Pit interface 1"), chart)  # type: ignore[arg-type]


def test_the_instrument_answers_to_all_and_to_its_own_device(lanternfish: Chart) -> None:
    one = world(lanternfish)
    for device in (None, 17):
        found = identify(one.line, device=device)
        assert found.fits == "fits"
        assert found.address == Address(2, 17)
        assert found.firmware == "2.0"
        assert found.reply is not None
        # 6 bytes out, 15 back: 6.72 ms of wire (standards.md section 5), and the stand-in's own delay.
        assert 0.00672 <= found.waited_s < 0.1


def test_the_device_is_learnt_from_the_reply(lanternfish: Chart) -> None:
    one = world(lanternfish, address=Address(2, 5))
    line = Line(one.cable, lanternfish, Address(2, 17))
    assert identify(line).address.device == 5
    assert line.address == Address(2, 5)
    assert capture(line).known == 52


def test_no_answer_is_said_within_the_time_given(fogbell: Chart) -> None:
    line = line_to(Wire(), fogbell)
    before = line.clock.now()
    with pytest.raises(NoReply, match="Fogbell does not answer on Pit interface 1") as told:
        identify(line, timeout_s=1.0)
    assert "power" in told.value.hint
    assert line.clock.now() - before < 5.0


def test_another_device_than_the_one_asked_is_no_answer(lanternfish: Chart) -> None:
    one = world(lanternfish, address=Address(2, 5), behaviour=Behaviour(obeys_device=True))
    line = Line(one.cable, lanternfish, Address(2, 17))
    with pytest.raises(NoReply):
        identify(line, device=17)


def test_a_loop_is_named_and_a_thru_with_an_instrument_works(lanternfish: Chart) -> None:
    with pytest.raises(EchoLoop, match="returns what is sent to it"):
        identify(line_to(Wire(returns=True), lanternfish))
    one = world(lanternfish, behaviour=Behaviour(thru=True))
    found = identify(one.line)
    assert found.fits == "fits"
    assert found.thru


def test_only_foreign_messages(fogbell: Chart) -> None:
    line = line_to(Wire((b"\x99\x24\x40",)), fogbell)
    with pytest.raises(ForeignOnly, match="notes on channel 10"):
        identify(line)
    assert line.foreign > 0


def test_active_sensing_alone_is_no_foreign_instrument(fogbell: Chart) -> None:
    with pytest.raises(NoReply):
        identify(line_to(Wire((b"\xfe",)), fogbell))


def test_another_instrument_and_another_firmware(lanternfish: Chart, fogbell: Chart) -> None:
    one = world(fogbell)
    line = Line(one.cable, lanternfish)
    found = identify(line)
    assert found.fits == "other instrument"
    assert "where Lanternfish was expected" in found.sentence
    with pytest.raises(WrongInstrument):
        capture(line)

    new = world(lanternfish, behaviour=Behaviour(revision=bytes((0, 0, 3, 0))))
    found = identify(new.line)
    assert (found.fits, found.firmware) == ("other firmware", "3.0")
    kept = capture(new.line)
    assert kept.known == 0
    assert kept.version.received, "the bytes are kept"
    with pytest.raises(WrongInstrument) as told:
        recall(new.line, kept.version)
    assert "3.0" in told.value.hint


def test_an_instrument_without_identity_is_known_by_its_sound(lanternfish: Chart, fogbell: Chart) -> None:
    for chart in (lanternfish, fogbell):
        found = identify(world(chart, behaviour=Behaviour(identity=False)).line)
        assert found.reply is None
        assert found.fits == "fits"
        assert "answered" in found.sentence


class Merged:
    """Two instruments on one cable, the first one quicker."""

    def __init__(self, *ends: Instrument) -> None:
        self.ends = ends

    def feed(self, data: bytes, now: float) -> None:
        for one in self.ends:
            one.feed(data, now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        return sorted(piece for one in self.ends for piece in one.due(now))

    def next_due(self) -> float | None:
        return min((due for one in self.ends if (due := one.next_due()) is not None), default=None)


def test_ours_is_found_behind_another_that_answers_first(lanternfish: Chart, fogbell: Chart) -> None:
    slow = Instrument(lanternfish, behaviour=Behaviour(answer_delay_s=0.2))
    line = line_to(Merged(Instrument(fogbell), slow), lanternfish)
    assert identify(line).fits == "fits"


def test_two_equal_units_are_told_apart_by_device(lanternfish: Chart) -> None:
    first = Instrument(lanternfish, seed=1, address=Address(2, 17))
    second = Instrument(lanternfish, seed=2, address=Address(2, 18))
    line = line_to(Merged(first, second), lanternfish)
    assert identify(line, device=18).address.device == 18
    assert dict(capture(line).version.values) == second.sound
    assert identify(line, device=17).address.device == 17
    assert dict(capture(line).version.values) == first.sound


def test_a_reply_among_others_messages(lanternfish: Chart) -> None:
    one: World = world(lanternfish, faults=Faults(foreign=1.0, realtime=0.2))
    assert identify(one.line).fits == "fits"


class Damaging:
    """A far end of which the first answers arrive with the byte at `place` flipped by `bits`."""

    def __init__(self, inner: Instrument, place: int, bits: int, times: int) -> None:
        self._inner, self._place, self._bits, self._left = inner, place, bits, times
        self.feed, self.next_due = inner.feed, inner.next_due

    def due(self, now: float) -> list[tuple[float, bytes]]:
        out = []
        for moment, raw in self._inner.due(now):
            spoilt = bytearray(raw)
            if self._left and raw[0] == 0xF0:
                self._left -= 1
                spoilt[self._place] ^= self._bits
            out.append((moment, bytes(spoilt)))
        return out


@pytest.mark.parametrize(
    ("place", "bits", "times"),
    [
        (2, 0x02, 1),  # the device ID: without a second answer the line would speak to a device that is not there
        (2, 0x40, 1),
        (6, 0x01, 2),  # the family: another instrument, twice the same by bad luck
        (10, 0x01, 2),  # the firmware
    ],
)
def test_a_damaged_reply_is_not_believed(lanternfish: Chart, place: int, bits: int, times: int) -> None:
    one = world(lanternfish)
    one.bad.inner = Damaging(one.instrument, place, bits, times)
    found = identify(one.line)
    assert (found.fits, found.firmware, found.address) == ("fits", "2.0", one.instrument.address)
    assert one.line.address == one.instrument.address


def test_a_device_that_no_message_can_carry_is_refused(lanternfish: Chart) -> None:
    """The chart has the device ID in a nibble, the instrument answers as device 20."""
    text = lanternfish.text.replace("F0 7D {device}", "F0 7D 3{device}").replace("device = 17", "device = 1")
    chart = loads(text)
    one = world(chart, address=Address(2, 1))
    one.bad.inner = Damaging(one.instrument, 2, 0x14, 99)
    found = identify(one.line)
    assert found.fits == "other instrument"
    assert "with device ID 21, which no message of its chart can carry" in found.sentence
    assert one.line.address == Address(2, 1)
