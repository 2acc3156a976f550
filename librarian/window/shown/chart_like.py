"""The part of a chart that the window draws from. `librarian.chart.Chart` fits; so does anything with these."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from librarian.window.paint.controls import Kind


class ParameterLike(Protocol):
    """One control of the chart, as the window needs it."""

    @property
    def id(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def short(self) -> str: ...
    @property
    def section(self) -> str: ...
    @property
    def kind(self) -> Kind: ...
    @property
    def low(self) -> int: ...
    @property
    def high(self) -> int: ...
    @property
    def sound(self) -> bool: ...
    @property
    def positions(self) -> tuple[str, ...]: ...
    @property
    def binding_text(self) -> str: ...

    def display(self, value: int) -> str:
        """The value in display units, unit included."""
        ...

    def share(self, value: int) -> float:
        """Where the value stands in the range, 0 to 1."""
        ...

    def difference(self, a: int, b: int) -> str:
        """b - a, signed, in display units."""
        ...

    def physical(self, value: int) -> float | None:
        """The value as a number in its unit, or None."""
        ...


class SectionLike(Protocol):
    """One titled group of controls; `row` is its row on the panel."""

    @property
    def id(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def row(self) -> int: ...
    @property
    def parameters(self) -> Sequence[ParameterLike]: ...


class ChartLike(Protocol):
    """An instrument's chart: sections in panel order, parameters by id in the same order."""

    @property
    def name(self) -> str: ...
    @property
    def sections(self) -> Sequence[SectionLike]: ...
    @property
    def parameters(self) -> Mapping[str, ParameterLike]: ...
