"""Curves: from an exact value to its reading in the display unit, and back to the nearest value."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

from librarian.chart.language.display import DisplayTable


@dataclass(frozen=True, slots=True)
class Curve:
    """A monotonic curve over the whole numbers `low` to `high` (inclusive).

    `step`: the constant distance of two neighbouring readings of a straight line, 0.0 where it is not constant.
    """

    low: int
    high: int
    reading: Callable[[int], float]
    step: float = 0.0

    def near(self, wanted: float) -> int:
        """The value whose reading is nearest to `wanted` (the lower of two equally near), clamped to the range."""
        low, high, reading = self.low, self.high, self.reading
        rising = reading(high) >= reading(low)
        while high - low > 1:
            middle = (low + high) // 2
            if (reading(middle) <= wanted) == rising:
                low = middle
            else:
                high = middle
        return high if abs(reading(high) - wanted) < abs(reading(low) - wanted) else low

    @property
    def ends(self) -> tuple[float, float]:
        """Lowest and highest reading."""
        first, last = self.reading(self.low), self.reading(self.high)
        return (min(first, last), max(first, last))


def build_curve(table: DisplayTable | None, low: int, high: int) -> Curve:
    """The curve of a display table over values `low` to `high` (those without a word of their own)."""
    if table is None or (table.from_ is None and table.points is None):
        zero = table.zero if table is not None and table.zero is not None else 0
        return Curve(low, high, lambda value: float(value - zero), 1.0)
    if table.points is not None:
        return Curve(low, high, _points(table.points, table.between == "exponential"))
    if table.from_ is None or table.to is None:  # the model allows both or neither
        raise ValueError("from and to belong together")
    width = max(high - low, 1)
    shape = _shape(table, table.from_, table.to)
    step = abs(table.to - table.from_) / width if table.scale == "linear" else 0.0
    return Curve(low, high, lambda value: shape((value - low) / width), step)


def _shape(table: DisplayTable, first: float, last: float) -> Callable[[float], float]:
    """Reading as a function of the share of the range, 0 to 1."""
    span = last - first
    if table.scale == "exponential":
        ratio = last / first
        return lambda share: last if share == 1.0 else first * ratio**share
    if table.scale == "logarithmic":
        base = table.base if table.base is not None else 10.0
        scale = math.log(base)
        return lambda share: first + span * (math.log1p((base - 1.0) * share) / scale)
    if table.scale in {"square", "power"}:
        exponent = 2.0 if table.scale == "square" else (table.exponent if table.exponent is not None else 1.0)
        return lambda share: first + span * share**exponent
    # The sum of two products meets both ends exactly; first + span * share does not always.
    return lambda share: first * (1.0 - share) + last * share


def _points(points: list[list[float]], exponential: bool) -> Callable[[int], float]:
    values = [point[0] for point in points]
    readings = [point[1] for point in points]

    def reading(value: int) -> float:
        right = min(max(bisect_right(values, value), 1), len(values) - 1)
        left = right - 1
        share = (value - values[left]) / (values[right] - values[left])
        share = min(max(share, 0.0), 1.0)
        if share == 0.0:
            return readings[left]
        if share == 1.0:
            return readings[right]
        if exponential:
            return float(readings[left] * (readings[right] / readings[left]) ** share)
        return readings[left] * (1.0 - share) + readings[right] * share

    return reading
