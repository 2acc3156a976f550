"""Many sounds of one chart as numbers between 0 and 1, laid out so that all of them can be measured against one.

Two kinds of parameters need two kinds of arithmetic:

* **Ranged** ones (continuous, bipolar) are shares of their range, one float32 row of `ranged` each; an unknown is
  stored as 0 and left out again through its row's *pattern* (which of the ranged parameters are unknown).
* **Stepped** ones (and switches) differ or do not. Several are folded into one small integer *code* a sound, with one
  more step for "unknown", so that one table look-up judges all of them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from librarian.sounds.compare import STEPPED_KINDS

if TYPE_CHECKING:
    from librarian.chart import Chart, Parameter

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

LARGEST_CODE = 1 << 16


@dataclass(frozen=True)
class Layout:
    """Which sound parameters of a chart are ranged, and how the stepped ones are folded into codes."""

    ranged: tuple[Parameter, ...]
    groups: tuple[tuple[Parameter, ...], ...]

    @classmethod
    def of(cls, chart: Chart) -> Layout:
        """The layout of a chart's sound parameters; setup parameters are no part of a likeness."""
        wanted = [chart.parameters[name] for name in chart.sound_ids]
        ranged = tuple(each for each in wanted if each.kind not in STEPPED_KINDS)
        groups: list[list[Parameter]] = []
        size = LARGEST_CODE + 1
        for parameter in (each for each in wanted if each.kind in STEPPED_KINDS):
            if size * steps(parameter) > LARGEST_CODE:
                groups.append([])
                size = 1
            groups[-1].append(parameter)
            size *= steps(parameter)
        return cls(ranged, tuple(tuple(group) for group in groups))

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """Ranged parameters, then stepped ones: the order of columns in raw arrays."""
        return self.ranged + tuple(each for group in self.groups for each in group)


def steps(parameter: Parameter) -> int:
    """How many states a stepped parameter has in a code: its positions, and unknown."""
    return int(parameter.high - parameter.low + 2)


def lows(parameters: Sequence[Parameter]) -> Ints:
    """The lowest raw value of each, shape (P,)."""
    return np.array([each.low for each in parameters], dtype=np.int64)


def widths(parameters: Sequence[Parameter]) -> Ints:
    """The width of each range in raw units, at least 1, shape (P,)."""
    return np.array([max(1, each.high - each.low) for each in parameters], dtype=np.int64)


@dataclass
class Shares:
    """N sounds of one chart. Rows of `raw` input beyond a range are taken as its nearest end.

    `table`: float32 (R + 1 + S, N). Its first R rows are the ranged parameters, 0 where unknown; then the sum of all
    their squares; then the same for each section, as in `sections`. `codes`: one (N,) array of unsigned
    integers for each group of the layout. `partial`: the rows (M,) that have any unknown; `pattern`: (M,) their column
    of `patterns`, which is float32 (R, U), 1 where a ranged parameter is known.
    """

    layout: Layout
    sections: tuple[str, ...]
    table: Floats
    codes: tuple[npt.NDArray[np.unsignedinteger], ...]
    partial: Ints
    pattern: Ints
    patterns: Floats

    @property
    def count(self) -> int:
        """How many sounds."""
        return int(self.table.shape[1])

    def raw(self, rows: Ints) -> tuple[Ints, Flags]:
        """The exact integers of some sounds again, and which are known: two arrays (len(rows), P)."""
        ranged = self.layout.ranged
        shares = self.table[: len(ranged), rows].T.astype(np.float64)
        parts = [np.rint(shares * widths(ranged)).astype(np.int64) + lows(ranged)]
        flags = [np.ones(parts[0].shape, dtype=np.bool_)]
        at = np.searchsorted(self.partial, rows)
        here = np.flatnonzero((at < len(self.partial)) & (np.append(self.partial, -1)[at] == rows))
        flags[0][here] = self.patterns.T[self.pattern[at[here]]] > 0
        for group, codes in zip(self.layout.groups, self.codes, strict=True):
            digits = unfold(codes[rows].astype(np.int64), group)
            flags.append(digits > 0)
            parts.append(digits - 1 + lows(group))
        return np.concatenate(parts, axis=1), np.concatenate(flags, axis=1)


def share_out(layout: Layout, raw: Ints, known: Flags) -> Shares:
    """Lay out N sounds. `raw` and `known` have shape (N, P), columns as `layout.parameters`."""
    count = len(layout.ranged)
    low, width = lows(layout.ranged), widths(layout.ranged)
    sections = tuple(dict.fromkeys(each.section for each in layout.ranged))
    table = np.zeros((count + 1 + len(sections), len(raw)), dtype=np.float32)
    for row, parameter in enumerate(layout.ranged):
        inside = np.clip(raw[:, row] - low[row], 0, width[row]) / width[row]
        table[row] = np.where(known[:, row], inside, 0.0)
        square = table[row] * table[row]
        table[count] += square
        table[count + 1 + sections.index(parameter.section)] += square
    codes, column = [], count
    for group in layout.groups:
        part = slice(column, column + len(group))
        codes.append(fold(raw[:, part], known[:, part], group))
        column += len(group)
    partial = np.flatnonzero(~known.all(axis=1))
    patterns, pattern = _patterns(known[partial, :count])
    return Shares(layout, sections, table, tuple(codes), partial, pattern, patterns)


def fold(raw: Ints, known: Flags, group: Sequence[Parameter]) -> npt.NDArray[np.unsignedinteger]:
    """Stepped values (N, G) as one code each: mixed radix, digit 0 for unknown."""
    codes = np.zeros(len(raw), dtype=np.int64)
    for column, parameter in enumerate(group):
        digits = np.clip(raw[:, column] - parameter.low, 0, steps(parameter) - 2) + 1
        codes = codes * steps(parameter) + np.where(known[:, column], digits, 0)
    return codes.astype(_narrowest(_size(group)))


def unfold(codes: Ints, group: Sequence[Parameter]) -> Ints:
    """The digits (N, G) of codes: 0 unknown, else position + 1."""
    digits = np.empty((len(codes), len(group)), dtype=np.int64)
    rest = codes
    for column in range(len(group) - 1, -1, -1):
        rest, digits[:, column] = np.divmod(rest, steps(group[column]))
    return digits


def _size(group: Sequence[Parameter]) -> int:
    size = 1
    for parameter in group:
        size *= steps(parameter)
    return size


def _patterns(flags: Flags) -> tuple[Floats, Ints]:
    """The different rows of `flags` (M, R) as columns (R, U), and for each row its column."""
    if not flags.size:
        return np.ones((flags.shape[1], 1), dtype=np.float32), np.zeros(len(flags), dtype=np.int64)
    packed = np.ascontiguousarray(np.packbits(flags, axis=1))
    keys = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, index = np.unique(keys, return_index=True, return_inverse=True)
    return np.ascontiguousarray(flags[first].T.astype(np.float32)), index.ravel().astype(np.int64)


def _narrowest(size: int) -> type[np.unsignedinteger]:
    if size <= 1 << 8:
        return np.uint8
    return np.uint16 if size <= 1 << 16 else np.uint32
