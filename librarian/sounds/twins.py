"""Sounds that are nearly the same: all of them within a collection, exactly, without comparing each with each.

The distance is that of `near.py` (root of the mean of squared differences over the sound parameters, 0 to 1). Two
sounds are twins when they are nearer than `within` and not equal; twins of twins stand in one group. Only sounds that
know the same parameters are compared, as an unknown says nothing about being the same.

How: a stepped parameter that differs counts as 1, so near sounds have equal steps: only those are compared. Their
ranged parameters are turned so that few axes show most of what differs between all sounds (principal components), and
these axes are cut into cells as wide as the farthest that twins may be apart: twins then lie in the same cell or in
neighbouring ones, and only such pairs are measured. Common practice (a grid for near neighbours), no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count, product
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from librarian.errors import BadInput
from librarian.sounds.shares import Layout, lows, widths

if TYPE_CHECKING:
    from librarian.chart import Chart
    from librarian.collection import ValueTable

Whole = npt.NDArray[np.int64]
Doubles = npt.NDArray[np.float64]

AXES = 4
#: Cells along one axis; further ones would not fit into the key of a cell, and need not: wider cells are right too.
MOST_CELLS = 1000
#: Pairs measured at once, so that memory stays bounded.
PORTION = 1 << 18


@dataclass(frozen=True, slots=True)
class Twins:
    """Patches that are nearly the same, lowest id first. `distance`: of the nearest pair among them, 0 to 1."""

    ids: tuple[int, ...]
    distance: float


def nearly_same(chart: Chart, table: ValueTable, within: float = 0.02) -> tuple[Twins, ...]:
    """The groups of twins, nearest first; equal sounds count as one, which its lowest id stands for.

    Raises BadInput for a distance that is no small part of the range.
    """
    layout = Layout.of(chart)
    if not 0 < within <= 0.25:
        raise BadInput(f"{within:g} is no distance for sounds that are nearly the same.", "Give more than 0 to 0.25.")
    columns = [place for place, name in enumerate(table.parameters) if name in set(chart.sound_ids)]
    if not len(table.ids) or not columns:
        return ()
    raw, known, ids = table.raw[:, columns], table.known[:, columns], table.ids
    _, first = np.unique(_numbered(np.concatenate([raw, known], axis=1)), return_index=True)
    first.sort()
    raw, known, ids = raw[first].astype(np.int64), known[first], ids[first]
    by_name = {table.parameters[place]: column for column, place in enumerate(columns)}
    ranged = [each for each in layout.ranged if each.id in by_name]
    own = [by_name[each.id] for each in ranged]
    stepped = [column for column in range(len(columns)) if column not in set(own)]
    shares = np.clip(raw[:, own] - lows(ranged), 0, widths(ranged)) / widths(ranged)
    shares[~known[:, own]] = 0.0
    # Radius in all axes together: a mean over the known ones, so the sum may be so large.
    counts = known.sum(axis=1)
    if within * within * int(counts.max(initial=0)) >= 1:
        stepped = []  # a step may differ after all; the pairs are measured with it
    groups = _numbered(np.concatenate([raw[:, stepped], known], axis=1))
    pairs = _Pairs(shares, groups, float(within * np.sqrt(counts.max(initial=1))))
    steps = raw[:, [column for column in range(len(columns)) if column not in set(own)]]
    found: list[tuple[Whole, Whole, Doubles]] = []
    for left, right in pairs.near():
        squares = ((shares[left] - shares[right]) ** 2).sum(axis=1) + (steps[left] != steps[right]).sum(axis=1)
        distance = np.sqrt(squares / np.maximum(counts[left], 1))
        near = distance <= within
        found.append((left[near], right[near], distance[near]))
    return _grouped(ids, found)


def _numbered(rows: npt.NDArray[Any]) -> Whole:
    """The same number for equal rows, shape (n,), counted from 0."""
    if not rows.shape[1]:
        return np.zeros(len(rows), np.int64)
    whole = np.ascontiguousarray(rows)
    numbers: defaultdict[Any, int] = defaultdict(count().__next__)
    # Each row as one piece of bytes: a dictionary is much faster here than sorting rows.
    pieces = whole.view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel().tolist()
    return np.fromiter(map(numbers.__getitem__, pieces), np.int64, len(pieces))


class _Pairs:
    """Pairs of rows that may lie within a radius of each other, each once."""

    def __init__(self, shares: Doubles, groups: Whole, radius: float) -> None:
        turned = shares @ _axes(shares)
        low = turned.min(axis=0, initial=0)
        spread = turned.max(axis=0, initial=0) - low
        cell = np.maximum(radius * (1 + 1e-9), spread / MOST_CELLS)
        cells = np.floor((turned - low) / cell).astype(np.int64) + 1
        self._size = MOST_CELLS + 4
        self._axes = cells.shape[1]
        keys = groups
        for axis in range(self._axes):
            keys = keys * self._size + cells[:, axis]
        self._order = np.argsort(keys, kind="stable")
        self._keys = keys[self._order]

    def near(self) -> Iterator[tuple[Whole, Whole]]:
        """Rows and rows, in portions."""
        own = np.arange(len(self._keys))
        last = np.searchsorted(self._keys, self._keys, side="right")
        yield from self._expanded(own + 1, last)
        for step in product((-1, 0, 1), repeat=self._axes):
            if step > (0,) * self._axes:
                jump = 0
                for one in step:
                    jump = jump * self._size + one
                wanted = self._keys + jump
                yield from self._expanded(
                    np.searchsorted(self._keys, wanted, side="left"), np.searchsorted(self._keys, wanted, side="right")
                )

    def _expanded(self, begin: Whole, end: Whole) -> Iterator[tuple[Whole, Whole]]:
        """Each place with all places from its `begin` to its `end`."""
        counts = np.maximum(end - begin, 0)
        some = np.flatnonzero(counts)
        while len(some):
            total = np.cumsum(counts[some])
            fits = max(1, int(np.searchsorted(total, PORTION, side="right")))
            part, some = some[:fits], some[fits:]
            number = counts[part]
            left = np.repeat(part, number)
            inside = np.arange(int(number.sum())) - np.repeat(np.cumsum(number) - number, number)
            yield self._order[left], self._order[np.repeat(begin[part], number) + inside]


def _axes(shares: Doubles) -> Doubles:
    """Directions of length 1, at right angles, along which the sounds differ most; shape (parameters, axes)."""
    if not shares.shape[1]:
        return np.zeros((0, 1))
    _, directions = np.linalg.eigh(np.cov(shares, rowvar=False, bias=True).reshape(shares.shape[1], -1))
    return np.asarray(directions[:, ::-1][:, :AXES], dtype=np.float64)


def _grouped(ids: Whole, found: list[tuple[Whole, Whole, Doubles]]) -> tuple[Twins, ...]:
    """Connected rows as groups."""
    parent: dict[int, int] = {}

    def root(row: int) -> int:
        while parent.setdefault(row, row) != row:
            parent[row] = parent[parent[row]]
            row = parent[row]
        return row

    nearest: dict[int, float] = {}
    for left, right, distance in found:
        for one, other, apart in zip(left.tolist(), right.tolist(), distance.tolist(), strict=True):
            first, second = sorted((root(one), root(other)))
            parent[second] = first
            nearest[first] = min(apart, nearest.get(first, 1.0), nearest.get(second, 1.0))
    groups: dict[int, list[int]] = {}
    for row in parent:
        groups.setdefault(root(row), []).append(int(ids[row]))
    made = [Twins(tuple(sorted(some)), nearest[row]) for row, some in groups.items()]
    return tuple(sorted(made, key=lambda group: (round(group.distance, 12), group.ids)))
