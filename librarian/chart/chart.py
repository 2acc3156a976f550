"""A chart at run time: everything known about one model, compiled once, cheap to ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.chart.codec import Codec
from librarian.chart.faults import Fault
from librarian.chart.history import Step
from librarian.chart.identity import IdentityRule
from librarian.chart.language.implementation import ImplementationTable
from librarian.chart.memory import Memory
from librarian.chart.parameter import Parameter
from librarian.chart.ways import Way
from librarian.messages import Address
from librarian.wire.pace import Pace


@dataclass(frozen=True, slots=True)
class Section:
    """A section of the panel. `row` and `column` from 1; `grid`: its rows and columns of cells."""

    id: str
    label: str
    row: int
    column: int
    grid: tuple[int, int]
    parameters: tuple[Parameter, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """One revision of one chart. `text`: TOML that loads as this very chart, whatever it extends.

    `sections`: by row, then column. `parameters`: in panel order. `order`: ids in chart order, in which controllers
    are sent. `ways_in`: how a sound is captured; `ways_out`: how it is recalled; both preferred first. `history`: later
    revision -> what changed towards it. `cautions`: what is allowed but deserves a second look, with its place.
    """

    id: str
    name: str
    revision: int
    text: str = field(repr=False)
    note: str
    identity: IdentityRule
    default_address: Address
    channel_fixed: bool
    pace: Pace
    memory: Memory | None
    sections: tuple[Section, ...] = field(repr=False)
    parameters: Mapping[str, Parameter] = field(repr=False)
    order: tuple[str, ...] = field(repr=False)
    sound_ids: tuple[str, ...] = field(repr=False)
    setup_ids: tuple[str, ...] = field(repr=False)
    ways_in: tuple[Way, ...] = field(repr=False)
    ways_out: tuple[Way, ...] = field(repr=False)
    codec: Codec = field(repr=False)
    positions_request: str | None = None
    history: Mapping[int, Step] = field(default_factory=dict, repr=False)
    implementation: ImplementationTable = field(default_factory=ImplementationTable, repr=False)
    cautions: tuple[Fault, ...] = field(default=(), repr=False)

    @property
    def channel(self) -> int:
        """Channel on the wire unless the person chose otherwise, 0-15."""
        return self.default_address.channel

    def section_of(self, parameter: str) -> Section:
        """The section that a parameter stands in."""
        wanted = self.parameters[parameter].section
        return next(section for section in self.sections if section.id == wanted)

    def unknown(self, known: Mapping[str, int]) -> frozenset[str]:
        """Ids of this chart that `known` has no value for."""
        return frozenset(name for name in self.parameters if name not in known)

    @property
    def revisions(self) -> tuple[int, ...]:
        """Earlier revisions that versions can be carried from and to, latest first."""
        return tuple(number - 1 for number in sorted(self.history, reverse=True))

    def ids_of(self, revision: int) -> frozenset[str]:
        """Ids of the parameters in this or an earlier revision (one of `revisions`)."""
        if revision == self.revision:
            return frozenset(self.parameters)
        return frozenset(self.history[revision + 1].older)

    def defaults(self) -> dict[str, int]:
        """Values of an initialised sound, as far as the chart knows them."""
        return {name: one.default for name, one in self.parameters.items() if one.default is not None}
