"""Where an instrument's cable comes from: real ports found again by their fingerprints, or a stand-in in this process.

An instrument whose output is `embedded:…` is a stand-in on the embedded cable, so that real and simulated instruments
stand side by side and everything above takes the same road to both.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterable
from dataclasses import asdict
from types import TracebackType
from typing import Self

from librarian.chart import Chart
from librarian.collection import InstrumentRow, Library
from librarian.errors import OutsideProblem
from librarian.messages import Address
from librarian.standin import Instrument
from librarian.transfer.line import Line
from librarian.wire.cable import NoMidiSystem
from librarian.wire.claim import Claim
from librarian.wire.clock import Clock, SystemClock
from librarian.wire.embedded import EmbeddedCable
from librarian.wire.pace import Pace
from librarian.wire.ports import Direction, Port, alike, match
from librarian.wire.process import PortProcess, SystemState
from librarian.wire.traffic import Traffic

EMBEDDED = "embedded:"
"""The beginning of the output of an instrument that is a stand-in in this process."""

_FIRST_LIST_S = 10.0
"""The first list of ports is usually there in half a second; on a very busy machine starting anything takes long."""


class NoSuchPort(OutsideProblem):
    """The port that this instrument was connected to is not there now, or cannot be told from others."""


class PortsNotChosen(OutsideProblem):
    """Nobody has said yet which ports lead to this instrument."""


def is_embedded(row: InstrumentRow) -> bool:
    """True for a stand-in on the embedded cable."""
    return row.output.startswith(EMBEDDED)


def add_stand_in(library: Library, chart: Chart, name: str = "") -> int:
    """A new instrument of the library that is a stand-in; returns its id."""
    output = f"{EMBEDDED}{chart.id}"
    return library.add_instrument(chart, name or chart.name, chart.default_address, output, output)


def saved_pace(chart: Chart, text: str) -> Pace:
    """The pace that worked with this instrument on its ports (`InstrumentRow.pace`), or the chart's."""
    try:
        return Pace(**json.loads(text)) if text else chart.pace
    except (ValueError, TypeError):
        # A pace written by a newer program, or by hand: the chart's is always safe.
        return chart.pace


def pace_text(chart: Chart, pace: Pace) -> str:
    """What `InstrumentRow.pace` stores: '' while it is the chart's."""
    return "" if pace == chart.pace else json.dumps(asdict(pace))


def slowed(text: str) -> int:
    """How often the gaps between messages were doubled, as `InstrumentRow.pace` remembers it."""
    try:
        return int(json.loads(text)["slowed"]) if text else 0
    except (ValueError, TypeError, KeyError):
        return 0


def twins_of(row: InstrumentRow, others: Iterable[InstrumentRow]) -> list[InstrumentRow]:
    """Those of `others` whose ports only a number tells from those of `row`.

    Systems give the numbers in the order in which the units appear: the one that is plugged in first gets the name
    that the other one had.
    """
    return [
        other
        for other in others
        if other.id != row.id and (alike(other.output, row.output) or alike(other.input, row.input))
    ]


class Connections:
    """The one owner of the port process and of the stand-ins of this process. Methods may be called from any thread."""

    def __init__(self, *, clock: Clock | None = None, bytes_per_second: float = 3125.0) -> None:
        self.clock: Clock = clock if clock is not None else SystemClock()
        self._bytes_per_second = bytes_per_second
        self._lock = threading.Lock()
        self._process: PortProcess | None = None
        self._stand_ins: dict[int, Instrument] = {}
        self.traffic = Traffic()
        """What crossed any cable of this program, kept over reconnections."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the port process."""
        with self._lock:
            if self._process is not None:
                self._process.close()
                self._process = None

    def system(self) -> SystemState:
        """The MIDI systems of this computer, as the port process sees them; starts it when needed."""
        return self._ports_process().system()

    def ports(self) -> tuple[Port, ...]:
        """Every port of this computer now; empty where there is no MIDI system."""
        return self._ports_process().ports(_FIRST_LIST_S)

    @property
    def port_process(self) -> int | None:
        """Process ID of the port process, None where none runs now."""
        with self._lock:
            return None if self._process is None else self._process.pid

    def _ports_process(self) -> PortProcess:
        with self._lock:
            if self._process is None:
                self._process = PortProcess(traffic=self.traffic)
            return self._process

    def open(self, row: InstrumentRow, chart: Chart, *, others: Iterable[InstrumentRow] = ()) -> Line:
        """An open line to this instrument, at the pace that worked last.

        `others`: the other instruments that are known (this one may be among them). Where one of them has ports of
        the same name, only the exact port is taken: two equal units are never exchanged for each other.
        Raises PortsNotChosen, NoSuchPort, PortHeld, NoMidiSystem, CableLost.
        """
        pace = saved_pace(chart, row.pace)
        if is_embedded(row):
            stand_in = self.stand_in(row, chart)
            cable = EmbeddedCable(
                stand_in, self.clock, self._bytes_per_second, name="the embedded cable", traffic=self.traffic
            )
            return Line(cable, chart, row.address, name=row.name, pace=pace)
        if not row.output or not row.input:
            raise PortsNotChosen(
                f"No ports are chosen for {row.name}.",
                "Choose the output and the input that lead to it (in the terminal: librarian instrument change).",
            )
        process = self._ports_process()
        ports = process.ports(_FIRST_LIST_S)
        system = process.system()
        if not ports and not system.apis:
            # Not the cable is missing but everything: another sentence, so that it is said when that changes.
            raise NoMidiSystem(system.sentence, "Start it; it is looked for every second.")
        twins = tuple(other for other in others if other.id != row.id)
        output = _resolved(row, row.output, "out", ports, [(other.name, other.output) for other in twins])
        input_ = _resolved(row, row.input, "in", ports, [(other.name, other.input) for other in twins])
        line = Line(process.open(output, input_), chart, row.address, name=row.name, pace=pace)
        line.claim = _claim(output, input_, line)
        line.twins = {
            other.address.device: other.name for other in twins_of(row, twins) if other.address != row.address
        }
        return line

    def open_ports(self, output: Port, input_: Port, chart: Chart, address: Address | None = None) -> Line:
        """A line on these very ports, for an instrument that is not in a library (yet)."""
        line = Line(self._ports_process().open(output, input_), chart, address)
        line.claim = _claim(output, input_, line)
        return line

    def stand_in(self, row: InstrumentRow, chart: Chart) -> Instrument:
        """The stand-in behind an embedded instrument; it lives as long as this object, whatever is opened or closed."""
        with self._lock:
            if row.id not in self._stand_ins:
                self._stand_ins[row.id] = Instrument(chart, seed=row.id, address=row.address)
            return self._stand_ins[row.id]


def _claim(output: Port, input_: Port, line: Line) -> Claim:
    """For the instrument behind these ports; several on one merging interface are told apart by their channels."""
    return Claim(f"{output.api} {output.name}\n{input_.name}\n{line.chart.id} {line.address.channel}")


def _resolved(
    row: InstrumentRow,
    fingerprint: str,
    direction: Direction,
    ports: tuple[Port, ...],
    others: list[tuple[str, str]],
) -> Port:
    """The port of this fingerprint. `others`: (name, fingerprint) of the instruments that it must not be taken from."""
    found = match(fingerprint, ports)
    name = fingerprint.split(":", 3)[-1]
    what = "output" if direction == "out" else "input"
    twin = next((other for other, port in others if port != fingerprint and alike(port, fingerprint)), None)
    if found.port is not None and (found.how == "exact" or twin is None):
        return found.port
    if found.port is not None:
        raise NoSuchPort(
            f"The {what} “{name}” of {row.name} is not there, and “{found.port.name}” may be that of {twin}.",
            f"Plug the interface of {row.name} in as it was, or choose its ports anew.",
        )
    if not found.candidates:
        raise NoSuchPort(
            f"The {what} “{name}” of {row.name} is not there.",
            "Plug its interface in, or choose other ports; it is looked for again every second.",
        )
    raise NoSuchPort(
        f"{len(found.candidates)} ports could be the {what} “{name}” of {row.name}, and none is guessed.",
        "Choose the right one by hand.",
    )
