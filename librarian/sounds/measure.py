"""The distance of one sound from all others: fast in float32 first, exact in float64 for those that may be nearest.

Fast: sum w (x - q)^2 = sum w x^2 - 2 sum w q x + sum w q^2. The first sum is prepared by section, the second is one
matrix-vector product, the third depends only on which parameters are known. Rounding can move a result by `slack`
at most, so whatever lies within it of the last place is measured again exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from librarian.sounds.shares import Flags, Floats, Ints, Layout, Shares, lows, steps, widths

BLOCK = 1 << 16
SAMPLE = 16
ROUNDING = 2.0**-24  # of float32, half a unit in the last place

Doubles = npt.NDArray[np.float64]


@dataclass
class Asked:
    """The sound that others are measured against. All arrays (P,), in the order of `layout.parameters`."""

    layout: Layout
    raw: Ints
    known: Flags
    weight: Doubles

    @property
    def ranged(self) -> int:
        """How many of the columns are ranged parameters; the rest are stepped."""
        return len(self.layout.ranged)

    @cached_property
    def effective(self) -> Doubles:
        """Weights, 0 where this sound's own value is unknown."""
        weights: Doubles = np.where(self.known, self.weight, 0.0)
        return weights

    @cached_property
    def shares(self) -> Doubles:
        """The ranged values as shares of their range, 0 where unknown."""
        ranged = self.layout.ranged
        inside = np.clip(self.raw[: self.ranged] - lows(ranged), 0, widths(ranged)) / widths(ranged)
        shares: Doubles = np.where(self.known[: self.ranged], inside, 0.0)
        return shares

    def gaps(self, raw: Ints) -> Doubles:
        """|difference| of raw values (N, P) from this sound: shares of the range, or 0 and 1 for stepped ones."""
        columns = self.layout.parameters
        low, width = lows(columns), widths(columns)
        apart: Doubles = np.abs(np.clip(raw - low, 0, width) - np.clip(self.raw - low, 0, width)) / width
        apart[:, self.ranged :] = apart[:, self.ranged :] > 0
        return apart


def exact_means(asked: Asked, raw: Ints, known: Flags) -> Doubles:
    """Weighted mean of squared gaps over what is known on both sides, float64 (N,)."""
    weight = asked.effective * known
    return np.asarray((asked.gaps(raw) ** 2 * weight).sum(axis=1) / weight.sum(axis=1), dtype=np.float64)


def mean_squares(shares: Shares, asked: Asked, least_common: float) -> tuple[Floats, float]:
    """The same for all N sounds in float32, infinite where too little is known in common, and the most it may err."""
    weight = asked.effective[: asked.ranged]
    total = float(asked.effective.sum())
    floor = max(least_common * total, 0.999 * float(asked.effective[asked.effective > 0].min()))
    line = _line(shares, asked)
    means = line @ shares.table[: len(line)]
    for row in _left_out(asked):
        # The sum of its section's squares holds this one too, which the asked sound does not know.
        means -= np.float32(asked.weight[row]) * (shares.table[row] * shares.table[row])
    tables = _stepped_tables(asked)
    for (mismatch, _), codes in zip(tables, shares.codes, strict=True):
        for start in range(0, len(means), BLOCK):
            part = slice(start, start + BLOCK)
            means[part] += mismatch.take(codes[part], mode="clip")
    constant = weight * asked.shares**2
    rows = shares.partial
    by_pattern = np.stack([constant, weight]).astype(np.float32) @ shares.patterns
    sums = means[rows] + by_pattern[0, shares.pattern]
    common = by_pattern[1, shares.pattern]
    for (_, judged), codes in zip(tables, shares.codes, strict=True):
        common += judged[codes[rows]]
    means += np.float32(constant.sum())
    means *= np.float32(1 / total)
    enough = common >= floor * (1 - 1e-6)
    means[rows] = np.where(enough, sums / np.where(enough, common, 1), np.inf)
    slack = 4 * total * (len(shares.table) + 16) * ROUNDING / floor
    return means, slack


def smallest(means: Floats, limit: int, slack: float) -> Ints:
    """Rows that may be among the `limit` smallest when each mean may err by `slack`; infinite ones never."""
    limit = min(limit, len(means))
    if limit <= 0:
        return np.empty(0, dtype=np.int64)
    sample = means[::SAMPLE]
    if len(sample) > limit:
        # The limit-th smallest of a part is no smaller than that of the whole: a cheap upper bound.
        bound = np.partition(sample, limit - 1)[limit - 1]
        last = np.partition(means[means <= bound], limit - 1)[limit - 1]
    else:
        last = np.partition(means, limit - 1)[limit - 1]
    if not np.isfinite(last):
        return np.flatnonzero(np.isfinite(means))
    return np.flatnonzero(means <= last + 2 * slack)


def _line(shares: Shares, asked: Asked) -> Floats:
    """What the first rows of the table are multiplied by: -2 w q for parameters, w for squares."""
    line = np.zeros(len(shares.table))
    line[: asked.ranged] = -2.0 * asked.effective[: asked.ranged] * asked.shares
    weights = asked.weight[: asked.ranged]
    if bool((weights == weights[:1]).all()):
        line = line[: asked.ranged + 1]
        line[asked.ranged :] = weights[:1].sum()
    else:
        for row, parameter in enumerate(asked.layout.ranged):
            line[asked.ranged + 1 + shares.sections.index(parameter.section)] = weights[row]
    return line.astype(np.float32)


def _left_out(asked: Asked) -> Ints:
    """Ranged parameters that weigh something but are unknown of the asked sound."""
    part = slice(0, asked.ranged)
    return np.flatnonzero((asked.effective[part] == 0) & (asked.weight[part] > 0))


def _stepped_tables(asked: Asked) -> list[tuple[Floats, Floats]]:
    """For each group of stepped parameters: weight that differs, and weight that can be judged, for every code."""
    tables, column = [], asked.ranged
    for group in asked.layout.groups:
        mismatch = judged = np.zeros(1)
        for parameter in group:
            weight = np.full(steps(parameter), asked.effective[column])
            weight[0] = 0.0  # unknown
            judged = np.add.outer(judged, weight).ravel()
            weight[np.clip(asked.raw[column] - parameter.low, 0, steps(parameter) - 2) + 1] = 0.0
            mismatch = np.add.outer(mismatch, weight).ravel()
            column += 1
        tables.append((mismatch.astype(np.float32), judged.astype(np.float32)))
    return tables
