"""A saved log fed to the same code: the same versions, the same errors, and what was done otherwise is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart, load, shipped
from librarian.errors import BadInput, Cancelled, LibrarianError
from librarian.messages import Values, Version
from librarian.standin import Behaviour, Instrument
from librarian.standin.faults import BadCable, Faults
from librarian.transfer import Cancel, Line, backup, capture, identify, recall, restore, verify
from librarian.transfer.replay import Ended, ReplayedCable
from librarian.wire import traffic
from librarian.wire.cable import CableLost
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable
from tests.unseen import unseen


def logged(chart: Chart, faults: Faults, seed: int, habits: Behaviour | None = None) -> tuple[Line, traffic.Traffic]:
    log = traffic.Traffic()
    bad = BadCable(Instrument(chart, seed=seed, behaviour=habits), faults, seed)
    return Line(EmbeddedCable(bad, VirtualClock(50.0), name="Pit", traffic=log), chart), log


def through_a_file(log: traffic.Traffic, place: Path) -> ReplayedCable:
    traffic.save(place, log.after())
    return ReplayedCable(traffic.load(place))


def some_version(chart: Chart) -> Version:
    return Version(chart.id, chart.revision, Values({name: one.high for name, one in chart.parameters.items()}))


@pytest.mark.parametrize("seed", range(8))
def test_a_log_gives_the_same_again(lanternfish: Chart, fogbell: Chart, seed: int, tmp_path: Path) -> None:
    faults = Faults(flip=0.001 * seed, lose=0.0005 * seed, foreign=0.2, realtime=0.01)
    for chart in (lanternfish, fogbell):
        line, log = logged(chart, faults, seed)

        def run(line: Line, chart: Chart = chart) -> list[object]:
            ends: list[object] = []
            for step in (lambda: identify(line).firmware, lambda: capture(line).version.values,
                         lambda: recall(line, some_version(chart)).sentence):  # fmt: skip
                try:
                    ends.append(step())
                except LibrarianError as problem:
                    ends.append((type(problem).__name__, str(problem)))
            return ends

        then = run(line)
        cable = through_a_file(log, tmp_path / f"{chart.id}.log")
        assert run(Line(cable, chart)) == then
        assert cable.unexpected == []
        assert cable.left == ()


RUNS: dict[str, Callable[[Line, Cancel | None], object]] = {
    "identify": lambda line, cancel: identify(line, cancel=cancel),
    "capture": lambda line, cancel: capture(line, cancel=cancel),
    "recall": lambda line, cancel: recall(line, some_version(line.chart), whole=True, cancel=cancel),
    "verify": lambda line, cancel: verify(line, some_version(line.chart), cancel=cancel),
    "backup": lambda line, cancel: backup(line, cancel=cancel),
    "restore": lambda line, cancel: restore(
        line, {number: some_version(line.chart) for number in range(3)},
        allow=lambda place: True, keep_before=lambda number, version: None, cancel=cancel,
    ),
}  # fmt: skip


@settings(max_examples=60)
@given(
    which=st.sampled_from(["lanternfish", "fogbell", *range(13)]), what=st.sampled_from(sorted(RUNS)),
    moment=st.floats(0.0, 4.0), late=st.sampled_from([0.0, 0.15]), lost=st.booleans(),
)  # fmt: skip
def test_what_was_cancelled_or_lost_its_cable_ends_so_again(
    which: str | int, what: str, moment: float, late: float, lost: bool
) -> None:
    chart = unseen(which) if isinstance(which, int) else load(shipped()[which])
    log = traffic.Traffic()
    bad = BadCable(Instrument(chart), Faults(late_s=late))
    there = EmbeddedCable(bad, VirtualClock(50.0), name="Pit", traffic=log)
    wish = Cancel()
    sentence = "The port Pit has gone."
    bad.at(50.0 + moment, lambda now: there.lose(sentence) if lost else wish.set())
    try:
        RUNS[what](Line(there, chart), wish)
    except Cancelled as ended:
        then, how = str(ended), Ended(there.clock.now())
    except CableLost as ended:
        then, how = str(ended), Ended(there.clock.now(), sentence, ended.hint)
    except LibrarianError:
        return
    else:
        return
    if not log.after():
        return
    cable = ReplayedCable(log.after(), ended=how)
    with pytest.raises((Cancelled, CableLost)) as again:
        RUNS[what](Line(cable, chart), cable.cancel)
    assert str(again.value) == then
    assert (cable.unexpected, cable.left) == ([], ())


def test_what_is_done_otherwise_is_told(lanternfish: Chart, tmp_path: Path) -> None:
    line, log = logged(lanternfish, Faults(), 1)
    capture(line)
    cable = through_a_file(log, tmp_path / "capture.log")
    other = Line(cable, lanternfish)
    recall(other, some_version(lanternfish), verify=False)
    assert cable.unexpected
    assert cable.left == ()


def test_a_log_of_several_cables_needs_a_name(lanternfish: Chart, fogbell: Chart) -> None:
    log = traffic.Traffic()
    for name, chart in (("one", lanternfish), ("two", fogbell)):
        cable = EmbeddedCable(Instrument(chart), VirtualClock(), name=name, traffic=log)
        identify(Line(cable, chart))
    with pytest.raises(BadInput, match="one, two"):
        ReplayedCable(log.after())
    assert identify(Line(ReplayedCable(log.after(), "two"), fogbell)).fits == "fits"
    with pytest.raises(BadInput, match="none"):
        ReplayedCable(())
