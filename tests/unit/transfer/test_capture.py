"""Capture by dump, by controllers, by hand: complete, or with what is missing; a wrong dump never becomes a version."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from librarian.chart import Chart, DumpRefused, load, loads
from librarian.errors import Cancelled, Refused
from librarian.messages import Address, Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import (
    Busy,
    Cancel,
    ForeignOnly,
    InstrumentRefused,
    NoReply,
    NotUnderstood,
    Progress,
    capture,
    capture_by_hand,
    listen,
    recall,
)
from librarian.wire.embedded import FarEnd
from tests.simulated import world


def test_an_edit_buffer_is_captured_complete_with_its_exact_bytes(lanternfish: Chart) -> None:
    one = world(lanternfish, seed=3, name="Harbour")
    got = capture(one.line)
    assert (got.known, got.of, got.missing) == (52, 52, ())
    assert dict(got.version.values) == one.sound
    assert got.version.complete
    assert got.version.name.rstrip() == "Harbour"
    assert got.version.origin.kind == "captured"
    (raw,) = got.version.received
    assert lanternfish.codec.decode(raw, one.line.address).values == got.version.values
    assert got.sentence == "52 of 52 parameters received from Lanternfish"
    # Three times the same dump of 263 bytes for three requests of 5: it takes less than a tenth of a second.
    assert (got.readings, got.bytes_out, got.bytes_in) == (3, 15, 789)


def test_controllers_are_captured_and_their_end_is_found_by_count(fogbell: Chart) -> None:
    one = world(fogbell, seed=8)
    before = one.clock.now()
    got = capture(one.line)
    assert (got.known, got.of) == (22, 22)
    assert dict(got.version.values) == one.sound
    # 2 x (3 + 66 bytes) of wire, no waiting for silence.
    assert one.clock.now() - before < 0.1


def test_controllers_without_count_end_by_silence(fogbell: Chart) -> None:
    text = fogbell.text
    start = text.index("\nend = ") + 1
    chart = loads(text[:start] + "end = { silence_ms = 200 }" + text[text.index("\n", start) :])
    one = world(chart)
    before = one.clock.now()
    got = capture(one.line)
    assert got.known == 22
    assert 0.4 < one.clock.now() - before < 0.7


def test_a_deaf_instrument_with_a_small_buffer_is_captured(lanternfish: Chart, fogbell: Chart) -> None:
    small = Behaviour(deaf_until_answered=True, input_buffer=0, answer_delay_s=0.15, message_s=0.002)
    for chart in (lanternfish, fogbell):
        one = world(chart, behaviour=small)
        got = capture(one.line)
        assert got.version.complete
        assert got.readings == 2, "nothing was sent while an answer was due"
        assert one.instrument.overflowed == 0


def test_active_sensing_and_foreign_messages_change_nothing(lanternfish: Chart, fogbell: Chart) -> None:
    for chart in (lanternfish, fogbell):
        one = world(chart, faults=Faults(realtime=0.2, foreign=0.5), behaviour=Behaviour(active_sensing_s=0.25))
        got = capture(one.line)
        assert dict(got.version.values) == one.sound
        assert all(raw[0] not in {0xFE, 0xF8, 0x99, 0xE9} for raw in got.version.received)


def test_an_instrument_in_thru_is_captured(lanternfish: Chart, fogbell: Chart) -> None:
    for chart in (lanternfish, fogbell):
        one = world(chart, behaviour=Behaviour(thru=True))
        got = capture(one.line)
        assert dict(got.version.values) == one.sound
        assert one.line.echo.thru


def _answer_with(chart: Chart, raw: bytes) -> object:
    """An instrument that answers every dump request with these bytes."""
    one = world(chart)
    request = chart.codec.request("edit", one.line.address)

    class Liar:
        def __init__(self) -> None:
            self.out: list[tuple[float, bytes]] = []

        def feed(self, data: bytes, now: float) -> None:
            if data.endswith(request):
                self.out.append((now, raw))

        def due(self, now: float) -> list[tuple[float, bytes]]:
            ready, self.out = self.out, []
            return ready

        def next_due(self) -> float | None:
            return self.out[0][0] if self.out else None

    one.bad.inner = Liar()
    return one


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda raw: raw[:1] + b"\x43" + raw[2:], "43"),  # another maker
        (lambda raw: raw[:2] + b"\x05" + raw[3:], "device"),  # another device
        (lambda raw: raw[:-2] + bytes((raw[-2] ^ 1,)) + raw[-1:], "checksum"),
        (lambda raw: raw[:40] + raw[41:], "262"),  # too short
        (lambda raw: raw[:40] + b"\0" + raw[40:], "264"),  # too long
        (lambda raw: raw[:40] + b"\x90" + raw[41:], "40"),  # an inner byte of 80h and more
        (lambda raw: raw[:-1], "262"),  # no F7
    ],
    ids=["maker", "device", "checksum", "short", "long", "inner byte", "no end"],
)
def test_a_wrong_dump_is_refused_with_its_reason(lanternfish: Chart, spoil: object, says: str) -> None:
    whole = world(lanternfish)
    good = capture(whole.line).version.received[0]
    one = _answer_with(lanternfish, spoil(good))  # type: ignore[operator]
    with pytest.raises((NotUnderstood, ForeignOnly)) as told:
        capture(one.line)  # type: ignore[attr-defined]
    reasons = " ".join([str(told.value), *getattr(told.value, "reasons", ())])
    assert says in reasons


def test_one_bad_answer_is_asked_again_and_told(lanternfish: Chart) -> None:
    one = world(lanternfish, faults=Faults(flip=0.002, to_instrument=False), seed=5)
    got = capture(one.line)
    assert dict(got.version.values) == one.sound
    assert got.refused


class Swapping:
    """A far end whose answers come with two bytes in each other's places where the script says so."""

    def __init__(self, inner: FarEnd, place: int, script: list[bool]) -> None:
        self._inner, self._place, self._script = inner, place, script

    def feed(self, data: bytes, now: float) -> None:
        self._inner.feed(data, now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        return [(start, self._damaged(raw)) for start, raw in self._inner.due(now)]

    def next_due(self) -> float | None:
        return self._inner.next_due()

    def _damaged(self, raw: bytes) -> bytes:
        if not self._script or not self._script.pop(0):
            return raw
        at = self._place
        return raw[:at] + raw[at + 1 : at + 2] + raw[at : at + 1] + raw[at + 2 :]


@pytest.mark.parametrize(
    ("script", "readings"),
    [
        ([True, False, True, False, True], 8),  # three times the same damage, and the truth as often
        ([False, True, False, False], 4),
        ([True, True, False, False, False], 6),
    ],
)
def test_the_same_damage_three_times_is_not_believed_while_the_truth_comes_as_often(
    lanternfish: Chart, script: list[bool], readings: int
) -> None:
    """A sum of bytes does not notice two that changed places (arithmetic)."""
    one = world(lanternfish, seed=3)
    raw = lanternfish.codec.encode("edit", one.sound, one.line.address, form="answer")[0]
    place = next(
        at for at in range(30, len(raw) - 3)
        if raw[at] != raw[at + 1] and is_taken_swapped(lanternfish, raw, at, one.line.address)
    )  # fmt: skip
    one.bad.inner = Swapping(one.bad.inner, place, script)
    got = capture(one.line)
    assert dict(got.version.values) == one.sound
    assert got.readings == readings


def is_taken_swapped(chart: Chart, raw: bytes, at: int, address: Address) -> bool:
    """True when the dump with these two bytes swapped is one that the chart takes, with other values."""
    swapped = raw[:at] + raw[at + 1 : at + 2] + raw[at : at + 1] + raw[at + 2 :]
    try:
        return chart.codec.decode(swapped, address).values != chart.codec.decode(raw, address).values
    except DumpRefused:
        return False


def test_silence_and_refusal(lanternfish: Chart, fogbell: Chart) -> None:
    for chart in (lanternfish, fogbell):
        with pytest.raises(NoReply):
            capture(world(chart, behaviour=Behaviour(refuse="silence")).line)
    with pytest.raises(InstrumentRefused, match="refused"):
        capture(world(lanternfish, behaviour=Behaviour(refuse="nak")).line)


def test_a_way_that_the_chart_does_not_have_is_refused(fogbell: Chart) -> None:
    with pytest.raises(Refused, match="dump"):
        capture(world(fogbell).line, way="dump")


def test_a_knob_turned_during_a_controller_dump_is_the_state_at_its_end(fogbell: Chart) -> None:
    one = world(fogbell, values={"tone.wave": 0, "output.volume": 3, "filter.cutoff": 1})
    one.bad.at(100.03, lambda now: one.instrument.turn("filter.cutoff", 90, now))
    got = capture(one.line)
    had = [dict(values) for _, values in one.instrument.states]
    assert dict(got.version.values) in had


def test_an_instrument_without_dumps_is_asked_one_by_one() -> None:
    mortise = load(Path(__file__).parents[2] / "data" / "charts" / "mortise.toml")
    one = world(mortise, seed=4)
    got = capture(one.line)
    assert got.version.complete
    assert dict(got.version.values) == one.sound
    version = Version(mortise.id, mortise.revision, Values({"filter.cutoff": 77, "filter.pan": -3}),
                      frozenset(mortise.setup_ids))  # fmt: skip
    result = recall(one.line, version)
    assert result.sentence == "2 of 2 sound parameters read back equal"
    assert one.sound["filter.cutoff"] == 77


def test_by_hand_counts_the_controls_and_ends_when_all_have_moved(fogbell: Chart) -> None:
    one = world(fogbell, seed=2)
    for index, (name, parameter) in enumerate(fogbell.parameters.items()):
        value = parameter.high if one.sound[name] != parameter.high else parameter.low
        one.bad.at(100.5 + index * 0.7, lambda now, name=name, value=value: one.instrument.turn(name, value, now))
    seen: list[Progress] = []
    got = capture_by_hand(one.line, progress=seen.append)
    assert (got.known, got.of) == (22, 22)
    assert dict(got.version.values) == one.sound
    assert got.version.origin.kind == "by hand"
    assert [step.done for step in seen] == sorted(step.done for step in seen)
    assert seen[-1].done == seen[-1].total == 22


def test_by_hand_ends_when_the_person_says_so_and_the_rest_is_unknown(lanternfish: Chart) -> None:
    one = world(lanternfish)
    enough = threading.Event()
    one.bad.at(101.0, lambda now: one.instrument.turn("filter.cutoff", 42, now))
    one.bad.at(102.0, lambda now: one.instrument.turn("osc1.tune", -5, now))
    one.bad.at(103.0, lambda now: enough.set())
    got = capture_by_hand(one.line, enough=enough)
    assert dict(got.version.values) == {"filter.cutoff": 42, "osc1.tune": -5}
    assert len(got.missing) == 50
    assert not got.version.complete
    assert "did not arrive" in got.sentence


def test_live_controls_are_heard_between_conversations(lanternfish: Chart) -> None:
    one = world(lanternfish)
    assert listen(one.line, 0.5) == ()
    one.turn("osc1.tune", -5)  # 14 bits: two messages, one value
    heard = listen(one.line, 1.0)
    assert [(each.parameter, each.value) for each in heard][-1] == ("osc1.tune", -5)


def test_cancel_ends_a_capture_and_says_what_is_true(lanternfish: Chart) -> None:
    cancel = Cancel()
    one = world(lanternfish, behaviour=Behaviour(answer_delay_s=1.0))
    one.bad.at(100.5, lambda now: cancel.set())
    with pytest.raises(Cancelled) as ended:
        capture(one.line, cancel=cancel)
    assert one.clock.now() - 100.5 <= 0.3
    assert ended.value.state == "Nothing was kept, and the instrument is as it was."
    assert capture(one.line).known == 52, "the line is free again, and the late answer is not taken for a new one"


def test_one_conversation_at_a_time(fogbell: Chart) -> None:
    one = world(fogbell)
    with one.line.talk("capture"), pytest.raises(Busy, match="capture is under way"):
        capture(one.line)
    assert capture(one.line).known == 22


def test_an_instrument_that_answers_too_late_is_not_called_another_one() -> None:
    saltmarsh = load(Path(__file__).parents[2] / "data" / "instruments" / "saltmarsh.toml")
    one = world(saltmarsh, behaviour=Behaviour(answer_delay_s=1.7), introduced=False)
    with pytest.raises(NoReply) as told:
        capture(one.line)
    assert str(told.value).startswith("Saltmarsh is on ")
    assert "too late" in str(told.value)
    assert "timeout_ms" in told.value.hint


def test_a_control_that_never_rests_keeps_no_controllers_from_ending_by_silence(fogbell: Chart) -> None:
    start = fogbell.text.index("\nend = ") + 1
    chart = loads(fogbell.text[:start] + fogbell.text[fogbell.text.index("\n", start) + 1 :])
    one = world(chart, seed=8)
    for step in range(3000):
        one.bad.at(100.0 + step * 0.07, lambda now, value=step % 128: one.instrument.turn("filter.cutoff", value, now))
    got = capture(one.line)
    assert got.missing == ("filter.cutoff",)
    assert {**got.version.values, "filter.cutoff": one.sound["filter.cutoff"]} == one.sound
