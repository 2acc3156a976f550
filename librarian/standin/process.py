"""A stand-in as a process of its own on real virtual ports, with a second road beside MIDI: lines in, JSON out.

    librarian standin assets/charts/fogbell.toml --name Fogbell

Standard input, one command a line: `turn PARAMETER VALUE` (raw value, or display text), `choose
PROGRAM`, `state`, `behave NAME VALUE`, `quit`. Standard output: one JSON object a line, `{"ready": …}` first, then
one answer for each command. The end of standard input means quit.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import IO

from librarian.chart import Chart, load, shipped
from librarian.errors import BadInput, LibrarianError, OutsideProblem
from librarian.messages import Damaged
from librarian.standin.behaviour import Behaviour
from librarian.standin.instrument import Instrument
from librarian.wire.cable import Cable, CableLost
from librarian.wire.clock import Clock, SystemClock
from librarian.wire.process import PortProcess

_LOOK_S = 0.02
_TRY_AGAIN_S = 0.2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one stand-in until it is told to quit; 0 when it ended well, 1 when it could not."""
    options = _parser().parse_args(arguments)
    try:
        chart = load(_chart_file(options.chart))
        behaviour = Behaviour()
        for word in options.behave:
            name, _, value = word.partition("=")
            behaviour = with_habit(behaviour, name, value)
        instrument = Instrument(chart, seed=options.seed, behaviour=behaviour)
        with PortProcess() as ports:
            _live(Running(instrument, sys.stdin, sys.stdout), ports, options.name or chart.name)
    except LibrarianError as problem:
        sys.stderr.write(f"{problem} {problem.hint}\n")
        return 1
    return 0


def _live(running: Running, ports: PortProcess, name: str) -> None:
    """Until it is told to quit. A server that ends or throws it out takes its ports away for a while, not its sounds.

    Raises OutsideProblem when the ports cannot be made at first.
    """
    cable = ports.open_virtual(name)
    while True:
        try:
            running.run(cable)
            return
        except CableLost as lost:
            sys.stderr.write(f"{lost} The stand-in comes back as soon as it can.\n")
        finally:
            cable.close()
        while (again := _plugged_in(ports, name)) is None:
            if not running.obey():
                return
        cable = again
        sys.stderr.write(f"The stand-in is back on {cable.name}.\n")


def _plugged_in(ports: PortProcess, name: str) -> Cable | None:
    """Its ports anew, or None after a moment in which that was not possible.

    While a server still lists the old ones, new ones of the same name could get no data.
    """
    time.sleep(_LOOK_S)
    if any(name in port.name for port in ports.ports(0)):
        return None
    try:
        return ports.open_virtual(name)
    except OutsideProblem:
        time.sleep(_TRY_AGAIN_S)
        return None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="librarian standin", description="A simulated instrument on real ports.")
    parser.add_argument("chart", help="chart file, or the id of a shipped chart")
    parser.add_argument("--name", default="", help="name of its ports; the chart's name if absent")
    parser.add_argument("--seed", type=int, default=1, help="which sounds it has at first")
    parser.add_argument(
        "--behave", action="append", default=[], metavar="NAME=VALUE", help="a habit, such as input_buffer=64"
    )
    return parser


def _chart_file(word: str) -> Path:
    charts = shipped()
    return Path(str(charts[word])) if word in charts else Path(word)


def with_habit(behaviour: Behaviour, name: str, value: str) -> Behaviour:
    """The same behaviour with one field set from text. Raises BadInput for a name or a value it cannot have."""
    fields = {field.name: getattr(behaviour, field.name) for field in dataclasses.fields(behaviour)}
    if name not in fields:
        raise BadInput(f"A stand-in has no habit “{name}”.", f"It has {', '.join(fields)}.")
    now = fields[name]
    text = value.strip()
    try:
        new: object
        if isinstance(now, bool):
            new = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}[text.lower()]
        elif isinstance(now, float):
            new = float(text)
        elif name == "input_buffer":
            new = None if text in {"", "none"} else int(text)
        elif isinstance(now, int):
            new = int(text)
        elif name == "revision":
            new = bytes.fromhex(text) if text else None
        elif name == "refuse" and text not in {"", "nak", "silence"}:
            raise BadInput(f"“{text}” is no way to refuse.", "Write nak, silence, or nothing.")
        else:
            new = text
        return dataclasses.replace(behaviour, **{name: new})  # type: ignore[arg-type]
    except (ValueError, KeyError) as problem:
        raise BadInput(f"“{value}” cannot be {name}.", f"It is {now!r} now; write the same kind of value.") from problem


class Running:
    """The loop between one instrument, its cable, and the lines of the other road.

    Ports of a computer hand a message over whole and at once. A socket of an instrument does not: what comes reaches
    it, and what it sends leaves it, only when the last byte has crossed its own cable.
    """

    def __init__(self, instrument: Instrument, commands: IO[str], answers: IO[str]) -> None:
        self._instrument = instrument
        self._clock: Clock = SystemClock()
        self._answers = answers
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, args=(commands,), name="commands", daemon=True)
        self._coming: deque[tuple[float, bytes]] = deque()
        self._leaving: deque[tuple[float, bytes]] = deque()
        self._byte_s = 1.0 / instrument.behaviour.wire_bytes_per_second

    def run(self, cable: Cable) -> None:
        """Live on these ports until `quit` or the end of the commands. Raises CableLost when the MIDI system ends."""
        self._clock = cable.clock
        self._coming.clear()
        self._leaving.clear()
        if self._reader.ident is None:
            self._say({"ready": cable.name, "chart": self._instrument.chart.id})
            self._reader.start()
        while self.obey():
            now = self._clock.now()
            self._cross(cable, now)
            arrival = cable.receive(self._patience(now))
            if arrival is not None and not isinstance(arrival, Damaged):
                before = self._coming[-1][0] if self._coming else 0.0
                self._coming.append((max(before, arrival.at) + len(arrival.raw) * self._byte_s, arrival.raw))

    def _patience(self, now: float) -> float:
        moments = [queue[0][0] for queue in (self._coming, self._leaving) if queue]
        due = self._instrument.next_due()
        coming = min([*moments, *([] if due is None else [due])], default=now + _LOOK_S)
        return min(_LOOK_S, max(0.0, coming - now))

    def _cross(self, cable: Cable, now: float) -> None:
        while self._coming and self._coming[0][0] <= now:
            at, raw = self._coming.popleft()
            self._instrument.feed(raw, at)
        for start, raw in self._instrument.due(now):
            self._leaving.append((start + len(raw) * self._byte_s, raw))
        while self._leaving and self._leaving[0][0] <= now:
            cable.send(self._leaving.popleft()[1])

    def _read(self, commands: IO[str]) -> None:
        for line in commands:
            self._lines.put(line)
        self._lines.put(None)

    def obey(self) -> bool:
        """Do what the lines that have come say, also while there are no ports; False when it is to end."""
        while not self._lines.empty():
            line = self._lines.get()
            words = None if line is None else line.split(maxsplit=2)
            if words is None or words[:1] == ["quit"]:
                self._say({"quit": True})
                return False
            if words:
                try:
                    self._say(self._command(words))
                except (ValueError, LibrarianError) as problem:
                    self._say({"error": str(problem)})
        return True

    def _command(self, words: list[str]) -> dict[str, object]:
        one, now = self._instrument, self._clock.now()
        if words[0] == "state":
            return one.state()
        if words[0] == "turn" and len(words) == 3:
            value = raw_value(one.chart, words[1], words[2])
            one.turn(words[1], value, now)
            return {"turned": words[1], "value": value, "sound": one.sound[words[1]]}
        if words[0] == "choose" and len(words) == 2:
            one.choose(int(words[1]), now)
            return {"chosen": int(words[1]), "name": one.name}
        if words[0] == "behave" and len(words) >= 2:
            one.behave(with_habit(one.behaviour, words[1], words[2] if len(words) > 2 else ""))
            return {"behaves": words[1]}
        raise ValueError(f"“{' '.join(words)}” is no command; there are turn, choose, state, behave and quit")

    def _say(self, answer: dict[str, object]) -> None:
        self._answers.write(json.dumps(answer, ensure_ascii=False) + "\n")
        self._answers.flush()


def raw_value(chart: Chart, parameter: str, text: str) -> int:
    """A whole number as it is, or what the display text means. Raises ValueError or BadInput."""
    if parameter not in chart.parameters:
        raise ValueError(f"there is no control “{parameter}”")
    try:
        return int(text)
    except ValueError:
        return chart.parameters[parameter].parse(text)
