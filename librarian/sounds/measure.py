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

from librarian.sounds.shares import Flags, Floats, Ints, Layout, Shares, every_code, lows, widths

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
    count = asked.ranged
    weight = asked.effective[:count]
    total = float(asked.effective.sum())
    floor = max(least_common * total, float(asked.effective[asked.effective > 0].min()) * 0.999)
    line = (-2.0 * weight * asked.shares).astype(np.float32)
    constant = (shares.patterns @ (weight * asked.shares**2)).astype(np.float32)
    in_common = (shares.patterns @ weight).astype(np.float32)
    tables = _stepped_tables(asked)
    out = np.empty(shares.count, dtype=np.float32)
    for start in range(0, shares.count, BLOCK):
        part = slice(start, start + BLOCK)
        sums = out[part]
        if count:
            np.dot(line, shares.ranged[:, part], out=sums)
            _add_squares(sums, shares, asked, part)
        else:
            sums[:] = 0
        pattern = shares.pattern[part] if len(constant) > 1 else slice(0, 1)
        sums += constant[pattern]
        weights = in_common[pattern]
        for (mismatch, judged), codes, complete in zip(tables, shares.codes, shares.complete, strict=True):
            sums += mismatch[codes[part]]
            weights = weights + (judged[-1:] if complete else judged[codes[part]])
        with np.errstate(divide="ignore", invalid="ignore"):
            sums /= weights
        sums[np.broadcast_to(weights < floor * (1 - 1e-6), sums.shape)] = np.inf
    slack = 4 * total * (count + len(shares.sections) + 16) * ROUNDING / floor
    return out, slack


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


def _add_squares(sums: Floats, shares: Shares, asked: Asked, part: slice) -> None:
    """Add sum w x^2 over the ranged parameters that the asked sound knows."""
    weight = asked.effective[: asked.ranged]
    known = np.flatnonzero(weight > 0)
    left_out = np.flatnonzero((weight == 0) & (asked.weight[: asked.ranged] > 0))
    if len(known) < len(left_out) + len(shares.sections):
        for row in known:
            sums += np.float32(weight[row]) * shares.ranged[row, part] ** 2
        return
    by_section = {each.section: asked.weight[row] for row, each in enumerate(asked.layout.ranged)}
    line = np.array([by_section[name] for name in shares.sections], dtype=np.float32)
    sums += line @ shares.squares[:, part]
    for row in left_out:
        sums -= np.float32(asked.weight[row]) * shares.ranged[row, part] ** 2


def _stepped_tables(asked: Asked) -> list[tuple[Floats, Floats]]:
    """For each group of stepped parameters: weight that differs, and weight that can be judged, for every code."""
    tables, column = [], asked.ranged
    for group in asked.layout.groups:
        part = slice(column, column + len(group))
        digits = every_code(group)
        own = np.clip(asked.raw[part] - lows(group), 0, widths(group)) + 1
        weight = asked.effective[part]
        judged = (digits > 0) * weight
        mismatch = judged * (digits != own)
        tables.append((mismatch.sum(axis=1).astype(np.float32), judged.sum(axis=1).astype(np.float32)))
        column += len(group)
    return tables
