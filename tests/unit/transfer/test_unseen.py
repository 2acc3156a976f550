"""Instruments that nobody has seen: what the simulation over random charts once found, and a small run of it."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest

from librarian.chart import Chart
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.standin.faults import Faults
from librarian.transfer import capture, identify, listen, recall
from librarian.transfer.bringup import bring_up
from librarian.transfer.read import askable
from tests.conversations import TROUBLES, converse
from tests.simulated import world
from tests.unseen import SHAPES, unseen


def _another(chart_seed: int, shape: str) -> Version:
    chart, dice = unseen(chart_seed, shape), Random(chart_seed)
    values = {name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}
    return Version(chart.id, chart.revision, Values(values))


def _first(shape: str, wanted: Callable[[Chart], bool]) -> Chart:
    return next(chart for seed in range(200) if wanted(chart := unseen(seed, shape)))


def _ends_with_null(chart: Chart) -> bool:
    return chart.codec.controller_request(chart.default_address)[-1][1:] == b"\x62\x7f"


@pytest.mark.parametrize("shape", SHAPES)
def test_any_kind_of_instrument_is_captured_and_recalled_whole(shape: str) -> None:
    for seed in range(3):
        chart = unseen(seed, shape)
        one = world(chart, seed=seed, introduced=False)
        if not askable(one.line):
            continue
        got = capture(one.line)
        assert got.version.complete, got.sentence
        assert dict(got.version.values) == one.sound
        wanted = _another(seed, shape)
        result = recall(one.line, wanted, with_setup=True)
        assert (result.state, result.left_out) == ("arrived", ()), result.sentence
        assert one.sound == dict(wanted.values)


def test_what_a_dump_leaves_out_is_asked_for_and_sent_one_by_one() -> None:
    one = world(unseen(5, "half a dump and singles"))
    assert [way.kind for way in askable(one.line)] == ["dump", "parameters"]
    got = capture(one.line)
    assert got.version.complete
    assert got.of > len(askable(one.line)[0].carries)


def test_parameters_can_be_asked_for_one_by_one_where_a_dump_would_do() -> None:
    one = world(unseen(4, "addresses"))
    got = capture(one.line, way="parameters")
    assert got.way == "one by one"
    assert all(one.sound[name] == value for name, value in got.version.values.items())


def test_the_null_of_a_request_in_the_answer_is_no_echo() -> None:
    # The request is an NRPN with its null, and so is every answer: its last message comes back again and again.
    chart = _first("controllers", lambda one: one.codec.null_rule == "after_each" and _ends_with_null(one))
    for thru in (False, True):
        one = world(chart, behaviour=Behaviour(thru=thru))
        assert capture(one.line).version.complete


def test_an_acknowledgement_equal_to_our_own_is_no_echo() -> None:
    chart = _first("packets, answers wanted", lambda one: one.pace.gap_after_sysex_s == 0)
    one = world(chart)
    wanted = Values({name: parameter.high for name, parameter in chart.parameters.items()})
    result = recall(one.line, Version(chart.id, chart.revision, wanted), whole=True)
    assert result.state == "arrived", result.sentence


def test_a_damaged_identity_reply_is_no_other_instrument() -> None:
    one = world(_first("dump", lambda chart: chart.identity.manufacturer is not None))
    one.bad.spoil_next = lambda raw: raw[:6] + bytes((raw[6] ^ 1,)) + raw[7:]
    assert identify(one.line).fits == "fits"


def test_running_status_holds_for_hours() -> None:
    one = world(unseen(0, "controllers"), faults=Faults(running=True))
    name = next(iter(one.line.chart.codec.carried("instrument")))
    parameter = one.line.chart.parameters[name]
    heard = []
    for hour in range(4):
        one.turn(name, (parameter.low, parameter.high)[hour % 2])
        heard += [found.value for found in listen(one.line, 1.0) if found.parameter == name]
        one.clock.advance(3600.0)
    assert heard[-1] == parameter.high
    assert set(heard) >= {parameter.low, parameter.high}


@pytest.mark.parametrize("shape", ["packets", "addresses", "half a dump", "singles", "controllers"])
def test_a_sound_instrument_has_no_failure_in_its_bring_up(shape: str) -> None:
    one = world(unseen(2, shape))
    report = bring_up(one.line, write_memory=True)
    assert report.of("failed") == ()
    assert report.restored == "What was in it before is there again."


def test_every_trouble_is_proved_or_told_by_its_cause() -> None:
    names = sorted(TROUBLES)
    instruments = [unseen(seed) for seed in range(26)]
    for number in range(2 * len(names)):
        judgement = converse(instruments, names, 5, number)
        assert judgement.end in {"proved", "told"}, judgement


@pytest.mark.parametrize(
    ("seed", "number"),
    [
        (2, 234),  # a damaged device ID in the reply
        (3, 728),  # the same damage to two identity replies
        (7, 154),  # a program chosen between two ways of reading back
        (7, 733),  # no two identity replies alike
        (20, 1723),  # two bytes of switches changed places, and the sound looked like another one
        (46, 709),  # a controller that came only the second time is no change
        (52, 1030),  # a whole memory written twice, the second time without what had arrived the first time
        (58, 809),
        (21, 891),  # packets that were acknowledged to the wrong device
    ],
)
def test_what_once_went_wrong(seed: int, number: int) -> None:
    instruments = [unseen(each) for each in range(seed * 1000, seed * 1000 + 13)]
    judgement = converse(instruments, sorted(TROUBLES), seed, number)
    assert judgement.end in ("proved", "told"), judgement
