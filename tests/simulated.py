"""A world in one process for tests and benches: instruments from charts on virtual wire, an hour in milliseconds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.messages import Address
from librarian.standin import Behaviour, Instrument
from librarian.standin.faults import BadCable, Faults
from librarian.transfer import Line
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable


@dataclass(slots=True)
class World:
    """One instrument, the cable to it, and the line that speaks with it."""

    instrument: Instrument
    bad: BadCable
    cable: EmbeddedCable
    clock: VirtualClock
    line: Line

    def turn(self, parameter: str, value: int) -> None:
        """The player moves a control now."""
        self.instrument.turn(parameter, value, self.clock.now())

    @property
    def sound(self) -> dict[str, int]:
        """What sounds in the instrument, by the other road."""
        return dict(self.instrument.sound)


def world(
    chart: Chart,
    *,
    seed: int = 1,
    behaviour: Behaviour | None = None,
    faults: Faults | None = None,
    values: Mapping[str, int] | None = None,
    address: Address | None = None,
    name: str = "",
    port: str = "Pit interface 1",
    introduced: bool = True,
) -> World:
    """An instrument of this chart on an embedded cable with a virtual clock that starts at 100 s.

    `introduced`: the line need not ask any more who is there (it was asked, and nobody knows what it answered).
    """
    clock = VirtualClock(100.0)
    at = address if address is not None else chart.default_address
    instrument = Instrument(chart, seed=seed, behaviour=behaviour, values=values, address=at, name=name)
    bad = BadCable(instrument, faults if faults is not None else Faults(), seed)
    cable = EmbeddedCable(bad, clock, name=port)
    line = Line(cable, chart, at)
    line.introduced = introduced
    return World(instrument, bad, cable, clock, line)
