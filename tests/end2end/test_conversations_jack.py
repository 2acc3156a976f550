"""What conversations promise, over python-rtmidi and JACK with the instrument in another process."""

from __future__ import annotations

import itertools
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.errors import Cancelled, OutsideProblem
from librarian.messages import Values, Version
from librarian.transfer import (
    Cancel,
    Line,
    Progress,
    Replace,
    backup,
    capture,
    identify,
    panic,
    recall,
    restore,
)
from librarian.transfer.bringup import bring_up
from librarian.wire.process import PortProcess
from librarian.wire.traffic import Traffic
from tests.onejob import connect, elsewhere
from tests.standins import StandInProcess

pytestmark = pytest.mark.jack

Start = Callable[..., StandInProcess]

_INVENTED = Path(__file__).parents[1] / "data" / "instruments"


@pytest.fixture
def traffic() -> Traffic:
    return Traffic()


@pytest.fixture
def ports(jack_server: object, traffic: Traffic) -> Iterator[PortProcess]:
    with PortProcess(traffic=traffic) as process:
        yield process


def everywhere_else(chart: Chart, sound: dict[str, int]) -> Version:
    """A version in which every control stands well away from `sound`."""
    values = {name: elsewhere(chart, name, sound[name]) for name in chart.sound_ids}
    return Version(chart.id, chart.revision, Values(values), frozenset(chart.setup_ids))


@pytest.mark.parametrize("name", ["saltmarsh", "kelpline"])
def test_packets_addresses_and_memories(name: str, ports: PortProcess, standin: Start) -> None:
    chart = load(_INVENTED / f"{name}.toml")
    stand_in = standin(_INVENTED / f"{name}.toml", f"Pit {name}")
    line = Line(connect(ports, f"Pit {name}"), chart)
    assert identify(line).fits == "fits"
    held = capture(line)
    assert dict(held.version.values) == stand_in.state()["sound"]
    result = recall(line, everywhere_else(chart, stand_in.state()["sound"]), whole=True)
    assert result.state == "arrived", result.sentence
    assert result.before == held.version.__class__(**{
        field: getattr(result.before, field) for field in ("chart", "revision", "values", "unknown", "received",
                                                          "origin", "name", "taken")
    })  # fmt: skip
    sound = stand_in.state()["sound"]
    assert all(sound[key] == value for key, value in result.proof.wanted.items())  # type: ignore[union-attr]
    programs = backup(line, programs=[0, 1]).programs
    questions: list[Replace] = []
    done = restore(
        line, {5: programs[1]}, allow=lambda one: questions.append(one) is None, keep_before=lambda number, old: None
    )
    assert done.new == (5,), done.sentence
    assert [one.number for one in questions] == [5]
    stored = stand_in.state()["programs"]
    assert stored[5]["values"] == stored[1]["values"]


def test_a_slow_receiver_is_found_out_and_remembered(ports: PortProcess, standin: Start) -> None:
    chart = load(shipped()["fogbell"])
    stand_in = standin("fogbell", "Pit slow", "--behave", "input_buffer=5", "--behave", "message_s=0.007")
    line = Line(connect(ports, "Pit slow"), chart)
    result = recall(line, everywhere_else(chart, stand_in.state()["sound"]))
    assert result.state == "arrived", result.sentence
    assert result.rounds >= 1
    assert line.pace.slowed >= 1
    remembered = Line(line.cable, chart, pace=line.pace)
    again = recall(remembered, everywhere_else(chart, stand_in.state()["sound"]))
    assert (again.state, again.rounds) == ("arrived", 0)


def test_panic_overtakes_a_recall(ports: PortProcess, standin: Start, traffic: Traffic) -> None:
    chart = load(shipped()["lanternfish"])
    stand_in = standin("lanternfish", "Pit panic")
    cable = connect(ports, "Pit panic")
    line = Line(cable, chart)
    version = everywhere_else(chart, stand_in.state()["sound"])
    under_way = threading.Event()

    def watch(step: Progress) -> None:
        if step.what == "parameters" and step.done >= 8 and step.total == 50:
            under_way.set()

    results: list[object] = []
    worker = threading.Thread(
        target=lambda: results.append(recall(line, version, way="controllers", whole=True, progress=watch))
    )
    worker.start()
    assert under_way.wait(15)
    panic(line)
    worker.join(15)
    sent = [one.raw for one in traffic.after() if one.direction == "out"]
    silence = sent.index(bytes((0xB0 | chart.channel, 64, 0)))
    sounds = [place for place, raw in enumerate(sent) if raw[0] == 0xB0 | chart.channel and raw[1] != 64]
    # how soon, `tests.bench.recall` measures
    assert sum(place > silence for place in sounds) >= 8
    assert results[0].state == "arrived"  # type: ignore[attr-defined]


def test_cancel_is_quick_and_says_what_is_in_the_instrument(ports: PortProcess, standin: Start) -> None:
    chart = load(shipped()["lanternfish"])
    stand_in = standin("lanternfish", "Pit cancel")
    line = Line(connect(ports, "Pit cancel"), chart)
    before = stand_in.state()["sound"]
    cancel, asked = Cancel(), []

    def stop(step: Progress) -> None:
        if step.what == "parameters" and step.total == 50 and step.done >= 10 and not asked:
            asked.append(step)
            cancel.set()

    with pytest.raises(Cancelled) as ended:
        recall(line, everywhere_else(chart, before), way="controllers", cancel=cancel, progress=stop)
    time.sleep(0.2)
    now = stand_in.state()["sound"]
    changed = sum(now[name] != before[name] for name in chart.sound_ids)
    state = ended.value.state
    told = 0 if state.startswith("Nothing") else int(state.split()[0])
    # What was told as sent has arrived, whole; at most half a group of messages came on top.
    assert told <= changed <= told + 1
    assert changed < 50


def test_an_instrument_that_goes_away_in_the_middle_ends_with_a_sentence(ports: PortProcess, standin: Start) -> None:
    chart = load(shipped()["lanternfish"])
    stand_in = standin("lanternfish", "Pit gone", "--behave", "answer_delay_s=0.5")
    line = Line(connect(ports, "Pit gone"), chart)
    identify(line)
    threading.Timer(0.3, lambda: os.kill(stand_in.pid, signal.SIGKILL)).start()
    with pytest.raises(OutsideProblem) as told:
        capture(line)
    assert told.value.hint
    held, in_it = _captured_again(ports, standin, chart)
    assert held == in_it


def _captured_again(ports: PortProcess, standin: Start, chart: Chart) -> tuple[dict[str, int], dict[str, int]]:
    """Plug another one in and ask over newly opened ports until it answers, as the chain of the window does.

    Returns what was captured and what the instrument says it holds.

    While a JACK server gets over a client that was killed, it may throw new ones out, or leave them connected and deaf.
    """
    give_up = time.perf_counter() + 30
    again: StandInProcess | None = None
    for number in itertools.count():
        try:
            if again is None or not again.running:
                name = f"Pit back {number}"
                again = standin(chart.id, name)
            return dict(capture(Line(connect(ports, name), chart)).version.values), again.state()["sound"]
        except (OutsideProblem, AssertionError):
            if time.perf_counter() > give_up:
                raise
            time.sleep(0.2)
    raise AssertionError


def test_bring_up_over_real_ports(ports: PortProcess, standin: Start) -> None:
    chart = load(shipped()["fogbell"])
    stand_in = standin("fogbell", "Pit bring-up")
    before = stand_in.state()["sound"]
    report = bring_up(Line(connect(ports, "Pit bring-up"), chart))
    assert not report.of("failed"), report.of("failed")[:3]
    assert len(report.of("passed")) > 100
    assert report.restored == "What was in it before is there again."
    assert stand_in.state()["sound"] == before
