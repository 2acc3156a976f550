"""Learning on real ports: the stand-in process is the instrument, the terminal learns it from its panel alone."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.wire.process import PortProcess
from tests.jackd import bound
from tests.standins import StandInProcess

pytestmark = pytest.mark.jack

Start = Callable[..., StandInProcess]
PATIENCE_S = 40.0

PANEL = """
id = "wharf"
name = "Wharf"
[[section]]
id = "filter"
label = "Filter"
[[parameter]]
id = "filter.cutoff"
label = "Cutoff"
section = "filter"
range = [0, 127]
bindings = [{ cc = 74 }]
[[parameter]]
id = "filter.fine"
label = "Fine"
section = "filter"
range = [0, 16383]
bindings = [{ cc14 = 17 }]
[[parameter]]
id = "filter.back"
label = "Back"
section = "filter"
range = [0, 16383]
bindings = [{ cc14 = 18, order = "lsb_first" }]
[[parameter]]
id = "filter.depth"
label = "Depth"
section = "filter"
range = [0, 16383]
bindings = [{ nrpn = 261 }]
[[parameter]]
id = "filter.track"
label = "Track"
section = "filter"
range = [0, 127]
bindings = [{ nrpn = 262, bits = 7 }]
[[parameter]]
id = "filter.shape"
label = "Shape"
section = "filter"
kind = "stepped"
positions = ["a", "b", "c", "d"]
bindings = [{ cc = 20, map = "stepped", values = [16, 48, 80, 112] }]
[[parameter]]
id = "filter.hold"
label = "Hold"
section = "filter"
kind = "switch"
positions = ["off", "on"]
bindings = [{ cc = 21, map = "stepped", values = [0, 127] }]
"""


class Terminal:
    """`librarian chart learn` in a process of its own; what it says is collected as it comes."""

    def __init__(self, file: Path, output: str, input_: str) -> None:
        words = [sys.executable, "-m", "librarian", "chart", "learn", str(file), "--name", "Found"]
        self.process = subprocess.Popen(
            bound([*words, "--out", output, "--in", input_]), stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        self.lines: queue.Queue[str] = queue.Queue()
        self.said: list[str] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line)

    def until(self, words: str) -> str:
        """The line that has these words."""
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            try:
                line = self.lines.get(timeout=0.2)
            except queue.Empty:
                assert self.process.poll() is None or not self.lines.empty(), "".join(self.said)
                continue
            self.said.append(line)
            if words in line:
                return line
        raise AssertionError(f"“{words}” was not said. It said:\n{''.join(self.said)}")

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(10)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()


@pytest.fixture
def terminals() -> Iterator[list[Terminal]]:
    made: list[Terminal] = []
    yield made
    for one in made:
        one.close()


def whole_range(low: int, high: int) -> list[int]:
    """From end to end, and back by other numbers, as a hand turns a pot; every position of a switch, twice."""
    if high - low < 8:
        return [*range(low, high + 1), *range(high, low - 1, -1)]
    step = max(1, (high - low) // 40)
    return [*range(low, high, step), high, *range(high - 1, low, -step - 1), low]


def learn(chart: Chart, standin: StandInProcess, terminal: Terminal, controls: list[str]) -> None:
    terminal.until("Move one control from end to end")
    for name in controls:
        one = chart.parameters[name]
        for value in whole_range(one.low, one.high):
            standin.turn(name, value)
        terminal.until("What is it?")
        terminal.type(f"{one.section.title()}/{one.label}")
        terminal.until(f"{one.label} is named")
    terminal.process.send_signal(signal.SIGINT)


def heard(chart: Chart, raws: list[bytes]) -> list[tuple[str, int]]:
    listener = chart.codec.listener(chart.default_address)
    last: dict[str, int] = {}
    for at, raw in enumerate(raws):
        last.update({one.parameter.rpartition(".")[2]: one.value for one in listener.feed(raw, at / 1000)})
    return sorted(last.items())


def test_two_terminals_learn_the_panels_of_two_instruments_on_real_ports(
    jack_server: object, standin: Start, terminals: list[Terminal], tmp_path: Path
):
    """One has every kind of controller, the other is a shipped chart's; both are learnt at the same time."""
    texts = {"Wharf": PANEL, "Buoy": Path(str(shipped()["fogbell"])).read_text(encoding="utf-8")}
    jobs = []
    for name, text in texts.items():
        hidden = tmp_path / f"{name}.toml"
        hidden.write_text(text, encoding="utf-8")
        chart, instrument = load(hidden), standin(hidden, name)
        with PortProcess() as process:
            names = [(port.direction, port.name) for port in process.ports() if port.name.startswith(instrument.port)]
        output, input_ = (next(found for way, found in names if way == wanted) for wanted in ("out", "in"))
        file = tmp_path / f"{name} found.toml"
        terminals.append(Terminal(file, output, input_))
        controls = list(chart.parameters) if text is PANEL else list(chart.sound_ids)[:8]
        jobs.append((chart, instrument, terminals[-1], controls, file))
    with ThreadPoolExecutor(len(jobs)) as pool:
        for job in [pool.submit(learn_it, *each) for each in jobs]:
            job.result()


def learn_it(chart: Chart, instrument: StandInProcess, terminal: Terminal, controls: list[str], file: Path) -> None:
    learn(chart, instrument, terminal, controls)
    terminal.until("written to")
    assert terminal.process.wait(20) == 0
    learnt = load(file)
    assert [one.label for one in learnt.parameters.values()] == [chart.parameters[name].label for name in controls]
    for name in controls:
        one = chart.parameters[name]
        middle = (one.low + one.high + 1) // 2
        for value in (one.low, middle, one.high):
            (burst,) = chart.codec.controllers({name: value}, chart.default_address, [name])
            ((mine, read),) = heard(learnt, list(burst.messages))
            back = learnt.codec.controllers({learnt_id(learnt, mine): read}, learnt.default_address)
            assert back[0].messages == burst.messages, (name, value)


def learnt_id(chart: Chart, short: str) -> str:
    return next(name for name in chart.parameters if name.rpartition(".")[2] == short)
