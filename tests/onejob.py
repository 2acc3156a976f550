"""The whole job with one instrument in another process on real ports: what the end-to-end test and the bench share."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from librarian.chart import Chart
from librarian.collection import Library
from librarian.messages import Comparison
from librarian.sounds.compare import compare
from librarian.transfer import Captured, Identified, Line, Recalled, capture, identify, recall
from librarian.wire.cable import Cable
from librarian.wire.ports import Port
from librarian.wire.process import PortProcess
from tests.standins import StandInProcess


@dataclass(frozen=True, slots=True)
class Outcome:
    """What each step of the job gave; `sound_before`, `sound_after`: the stand-in's own word, not by MIDI."""

    identified: Identified
    first: Captured
    found: tuple[str, ...]
    turned: dict[str, tuple[int, int]]
    second: Captured
    comparison: Comparison
    recalled: Recalled
    sound_before: dict[str, int]
    sound_after: dict[str, int]


def pair_of(ports: PortProcess, name: str, wait_s: float = 10.0) -> tuple[Port, Port]:
    """Output and input that lead to the stand-in whose ports are called `name`."""
    give_up = time.monotonic() + wait_s
    while True:
        found = [port for port in ports.ports() if name in port.name]
        outputs = [port for port in found if port.direction == "out"]
        inputs = [port for port in found if port.direction == "in"]
        if len(outputs) == 1 and len(inputs) == 1:
            return outputs[0], inputs[0]
        if time.monotonic() > give_up:
            raise AssertionError(f"no pair of ports {name!r} among {[port.name for port in ports.ports()]}")
        time.sleep(0.05)


def connect(ports: PortProcess, name: str) -> Cable:
    """Open the cable to that stand-in."""
    return ports.open(*pair_of(ports, name))


def elsewhere(chart: Chart, parameter: str, value: int) -> int:
    """A position of a control that is well away from `value`."""
    one = chart.parameters[parameter]
    return one.high if value - one.low <= (one.high - one.low) // 2 else one.low


def do_the_job(standin: StandInProcess, cable: Cable, chart: Chart, library: Library, name: str) -> Outcome:
    """Identify, capture, keep, tag, find, turn three knobs, capture, compare, recall, verify."""
    line = Line(cable, chart, name=name)
    identified = identify(line)
    sound_before = _sound(standin)
    first = capture(line)
    instrument = library.add_instrument(chart, name, line.address)
    patch = library.keep(instrument, f"{name}, harbour before the storm", first.version, tags=("act one",))
    library.tag([patch], add=["storm"])
    found = tuple(row.name for row in library.rows(library.find("harbour", tags=["storm"]).ids))
    turned: dict[str, tuple[int, int]] = {}
    for parameter in list(chart.sound_ids)[2::7][:3]:
        was = sound_before[parameter]
        standin.turn(parameter, elsewhere(chart, parameter, was))
        turned[parameter] = (was, elsewhere(chart, parameter, was))
    second = capture(line)
    library.add_version(patch, second.version)
    comparison = compare(chart, first.version.values, second.version.values)
    stored = library.version(library.versions(patch)[0].id)
    recalled = recall(line, stored)
    return Outcome(identified, first, found, turned, second, comparison, recalled, sound_before, _sound(standin))


def _sound(standin: StandInProcess) -> dict[str, int]:
    state: dict[str, Any] = standin.state()
    return {str(parameter): int(value) for parameter, value in state["sound"].items()}
