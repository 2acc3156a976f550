"""One parameter at run time: range, display, bindings. Compiled once from its table."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.chart.controllers.binding import Binding
from librarian.chart.display.scale import Scale
from librarian.chart.language.parameters import Kind
from librarian.errors import BadInput


@dataclass(frozen=True, slots=True)
class Parameter:
    """One control. `low` and `high` inclusive; `section` is an id; `cell` its row and column inside the section.

    `positions`: names of stepped values, lowest first. `takeover`: how the control takes over after a recall.
    `by_hand`: no message sets it. `centre`: the value that reads 0, where readings cross 0.
    """

    id: str
    label: str
    short: str
    section: str
    kind: Kind
    low: int
    high: int
    default: int | None
    sound: bool
    positions: tuple[str, ...]
    takeover: str
    bindings: tuple[Binding, ...]
    scale: Scale = field(repr=False, compare=False)
    dumped: bool = False
    by_hand: bool = False
    cell: tuple[int, int] = (1, 1)
    size: str = "normal"
    beside: str | None = None
    note: str = ""
    centre: int | None = None

    def display(self, value: int) -> str:
        """What a person reads, unit included: "642 Hz", "−3 ct", "saw"."""
        return self.scale.text(value)

    def parse(self, text: str) -> int:
        """The exact value that a typed text means. Raises BadInput that names the parameter."""
        try:
            return self.scale.value(text)
        except BadInput as error:
            raise BadInput(f"{self.label}: {error}", error.hint) from None

    def share(self, value: int) -> float:
        """Position in the range, 0 to 1, clamped."""
        return min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)

    def difference(self, a: int, b: int) -> str:
        """b − a in display units with its sign; '' when equal, 'differs' for stepped parameters and switches."""
        if a == b:
            return ""
        if self.kind in {"stepped", "switch"}:
            return "differs"
        return self.scale.difference(a, b)

    def physical(self, value: int) -> float | None:
        """The number behind the text in `unit`, or None where the text is a word."""
        return self.scale.reading(value)

    def number(self, text: str) -> float | None:
        """The number that a typed text means in `unit`, also outside the range; None for a word."""
        return self.scale.number(text)

    def position(self, value: int) -> str:
        """Name of a position, or '' where it has none."""
        index = value - self.low
        return self.positions[index] if 0 <= index < len(self.positions) else ""

    def holds(self, value: int) -> bool:
        """True for a value inside the range."""
        return self.low <= value <= self.high

    @property
    def unit(self) -> str:
        """Unit of `physical`, or ''."""
        return self.scale.unit

    @property
    def steps(self) -> int:
        """How many values the range has."""
        return self.high - self.low + 1

    @property
    def binding_text(self) -> str:
        """How it travels, preferred first: "CC 74", "NRPN 261", "dump", or "by hand"."""
        if self.bindings:
            return self.bindings[0].text
        return "dump" if self.dumped else "by hand"
