"""A saved log fed to the same code: the same versions, the same errors, and what was done otherwise is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.chart import Chart
from librarian.errors import BadInput, LibrarianError
from librarian.messages import Values, Version
from librarian.standin import Behaviour, Instrument
from librarian.standin.faults import BadCable, Faults
from librarian.transfer import Line, capture, identify, recall
from librarian.transfer.replay import ReplayedCable
from librarian.wire import traffic
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable


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
