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

    `ranged`: float32 (R, N), 0 where unknown. `squares`: float32 (S, N), the sum of squares of each section's
    ranged parameters, sections as in `sections`. `pattern`: (N,) row of `patterns`. `patterns`: bool (U, R), True
    where known. `codes`: one (N,) array of unsigned integers for each group of the layout, `complete`: whether it is
    known of every sound.
    """

    layout: Layout
    sections: tuple[str, ...]
    ranged: Floats
    squares: Floats
    pattern: npt.NDArray[np.unsignedinteger]
    patterns: Flags
    codes: tuple[npt.NDArray[np.unsignedinteger], ...]
    complete: tuple[bool, ...]

    @property
    def count(self) -> int:
        """How many sounds."""
        return int(self.ranged.shape[1])

    def raw(self, rows: Ints) -> tuple[Ints, Flags]:
        """The exact integers of some sounds again, and which are known: two arrays (len(rows), P)."""
        parts, flags = [], []
        ranged = self.layout.ranged
        shares = self.ranged[:, rows].T.astype(np.float64)
        parts.append(np.rint(shares * widths(ranged)).astype(np.int64) + lows(ranged))
        flags.append(self.patterns[self.pattern[rows]])
        for group, codes in zip(self.layout.groups, self.codes, strict=True):
            digits = unfold(codes[rows].astype(np.int64), group)
            flags.append(digits > 0)
            parts.append(digits - 1 + lows(group))
        return np.concatenate(parts, axis=1), np.concatenate(flags, axis=1)


def share_out(layout: Layout, raw: Ints, known: Flags) -> Shares:
    """Lay out N sounds. `raw` and `known` have shape (N, P), columns as `layout.parameters`."""
    count = len(layout.ranged)
    low, width = lows(layout.ranged), widths(layout.ranged)
    flags = known[:, :count]
    inside = np.clip(raw[:, :count] - low, 0, width)
    ranged = np.ascontiguousarray(np.where(flags, inside / width, 0.0).astype(np.float32).T)
    sections = tuple(dict.fromkeys(each.section for each in layout.ranged))
    squares = np.zeros((len(sections), len(raw)), dtype=np.float32)
    for row, parameter in enumerate(layout.ranged):
        squares[sections.index(parameter.section)] += ranged[row] * ranged[row]
    patterns, pattern = _patterns(flags)
    codes, complete, column = [], [], count
    for group in layout.groups:
        part = slice(column, column + len(group))
        codes.append(fold(raw[:, part], known[:, part], group))
        complete.append(bool(known[:, part].all()))
        column += len(group)
    return Shares(layout, sections, ranged, squares, pattern, patterns, tuple(codes), tuple(complete))


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


def every_code(group: Sequence[Parameter]) -> Ints:
    """The digits of every possible code of a group, shape (size, G)."""
    return unfold(np.arange(_size(group), dtype=np.int64), group)


def _size(group: Sequence[Parameter]) -> int:
    size = 1
    for parameter in group:
        size *= steps(parameter)
    return size


def _patterns(flags: Flags) -> tuple[Flags, npt.NDArray[np.unsignedinteger]]:
    if bool(flags.all()):
        return np.ones((1, flags.shape[1]), dtype=np.bool_), np.zeros(len(flags), dtype=np.uint8)
    packed = np.packbits(flags, axis=1)
    keys = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, index = np.unique(keys, return_index=True, return_inverse=True)
    return flags[first], index.ravel().astype(_narrowest(len(first)))


def _narrowest(size: int) -> type[np.unsignedinteger]:
    if size <= 1 << 8:
        return np.uint8
    return np.uint16 if size <= 1 << 16 else np.uint32
