"""A condition in display units ("> 2 kHz") as ranges of exact values, by what the chart says of the parameter."""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose
from typing import Literal, Protocol

from librarian.errors import BadInput

Comparison = Literal[">", ">=", "<", "<=", "=", "!="]
#: Ranges of exact values, both ends included, ascending, not touching.
Ranges = tuple[tuple[int, int], ...]


class ParameterLike(Protocol):
    """What a query needs of a chart's parameter."""

    @property
    def id(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def short(self) -> str: ...
    @property
    def section(self) -> str: ...
    @property
    def low(self) -> int: ...
    @property
    def high(self) -> int: ...
    @property
    def positions(self) -> tuple[str, ...]: ...
    def display(self, value: int) -> str: ...
    def parse(self, text: str) -> int: ...
    def physical(self, value: int) -> float | None: ...
    def number(self, text: str) -> float | None: ...


@dataclass(frozen=True, slots=True)
class Typed:
    """What a typed value means for one parameter.

    `first`, `last`: the exact values meant (first > last: none, the number is outside the range). `exact`: these
    values read as typed; otherwise they are only the nearest, and `number` (in the parameter's unit) tells the order.
    """

    first: int
    last: int
    exact: bool
    number: float | None


def understood(parameter: ParameterLike, text: str) -> Typed | None:
    """What `text` means for this parameter, or None when it means nothing."""
    number = parameter.number(text)
    try:
        near = parameter.parse(text)
    except BadInput:
        first, last = _numbers(parameter)
        return None if number is None or first > last else Typed(1, 0, False, number)
    shown = parameter.display(near)
    first = last = near
    # Several values may read the same (rounded decimals): the person sees no difference, so there is none.
    while first > parameter.low and parameter.display(first - 1) == shown:
        first -= 1
    while last < parameter.high and parameter.display(last + 1) == shown:
        last += 1
    reads = parameter.number(shown)
    exact = number is None or reads is None or _same(number, reads)
    return Typed(first, last, exact, number)


def ranges(parameter: ParameterLike, compare: Comparison, typed: Typed) -> Ranges:
    """Exact values that satisfy `compare` with what was typed. Order is that of the readings, not of the numbers."""
    low, high = parameter.low, parameter.high
    if compare in {"=", "!="}:
        same = [(typed.first, typed.last)]
        return _tidy(same if compare == "=" else _others(low, high, same))
    upward = (compare[0] == ">") == rising(parameter)
    if not typed.exact and typed.number is not None:
        # What reads exactly as typed, though it is shown with fewer decimals, belongs to the side that has "=".
        split = _split(parameter, typed.number, strictly=upward != compare.endswith("="))
        return _tidy([(split, high)] if upward else [(low, split - 1)])
    found = [(typed.last + 1, high)] if upward else [(low, typed.first - 1)]
    if compare.endswith("="):
        found.append((typed.first, typed.last))
    return _tidy(found)


def _others(low: int, high: int, same: list[tuple[int, int]]) -> list[tuple[int, int]]:
    first, last = same[0]
    return [(low, high)] if first > last else [(low, first - 1), (last + 1, high)]


def _numbers(parameter: ParameterLike) -> tuple[int, int]:
    """First and last exact value that reads as a number; words stand at the ends only. first > last: none does."""
    first, last = parameter.low, parameter.high
    if parameter.positions:
        return 1, 0
    while first <= last and parameter.physical(first) is None:
        first += 1
    while last >= first and parameter.physical(last) is None:
        last -= 1
    return first, last


def _split(parameter: ParameterLike, number: float, *, strictly: bool) -> int:
    """The lowest exact value whose reading lies beyond `number` along the scale; unless `strictly`, also at it."""
    low, high = _numbers(parameter)
    up = rising(parameter)
    while low <= high:
        middle = (low + high) // 2
        reading = parameter.physical(middle)
        if reading is None or _beyond(reading, number, up=up, strictly=strictly):
            high = middle - 1
        else:
            low = middle + 1
    return low


def _beyond(reading: float, number: float, *, up: bool, strictly: bool) -> bool:
    return not strictly if _same(reading, number) else (reading > number) == up


def _same(one: float, other: float) -> bool:
    return isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)


def rising(parameter: ParameterLike) -> bool:
    """True when higher exact values read as higher numbers (words at the ends count as beyond the numbers)."""
    first, last = _numbers(parameter)
    if first > last:
        return True
    low, high = parameter.physical(first), parameter.physical(last)
    return low is None or high is None or low <= high


def _tidy(found: list[tuple[int, int]]) -> Ranges:
    tidy: list[tuple[int, int]] = []
    for low, high in sorted(pair for pair in found if pair[0] <= pair[1]):
        if tidy and low <= tidy[-1][1] + 1:
            tidy[-1] = (tidy[-1][0], max(high, tidy[-1][1]))
        else:
            tidy.append((low, high))
    return tuple(tidy)
