"""Nearly the same sounds, against a comparison of each with each."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from librarian.chart import Chart, load, shipped
from librarian.collection import ValueTable
from librarian.errors import BadInput
from librarian.sounds import twins
from librarian.sounds.twins import nearly_same


@pytest.fixture(scope="module")
def lanternfish() -> Chart:
    return load(shipped()["lanternfish"])


@pytest.fixture(scope="module")
def fogbell() -> Chart:
    return load(shipped()["fogbell"])


def table(chart: Chart, count: int, seed: int, *, unknown: float = 0.0) -> ValueTable:
    """Random sounds, every third one a slightly turned copy of an earlier one, some equal."""
    rng = np.random.default_rng(seed)
    every = list(chart.parameters.values())
    low = np.array([each.low for each in every])
    high = np.array([each.high for each in every])
    raw = rng.integers(low, high + 1, (count, len(every)))
    for row in range(3, count, 3):
        raw[row] = raw[rng.integers(0, row)]
        for column in rng.integers(0, len(every), rng.integers(0, 4)):
            raw[row, column] = np.clip(raw[row, column] + rng.integers(-9, 10), low[column], high[column])
    known = rng.random(raw.shape) >= unknown
    raw[~known] = 0
    ids = np.sort(rng.choice(np.arange(1, count * 3), count, replace=False))
    return ValueTable(ids, tuple(each.id for each in every), raw.astype(np.int16), known)


def by_all_pairs(chart: Chart, values: ValueTable, within: float) -> set[frozenset[int]]:
    """Groups by comparing each with each, parameter by parameter."""
    sounds = {}
    for place, patch in enumerate(values.ids.tolist()):
        content = tuple(
            int(values.raw[place, column]) if values.known[place, column] else None
            for column, name in enumerate(values.parameters)
            if chart.parameters[name].sound
        )
        sounds.setdefault(content, patch)
    order = [chart.parameters[name] for name in values.parameters if chart.parameters[name].sound]
    near = []
    for (a, one), (b, other) in combinations(sounds.items(), 2):
        if [value is None for value in a] != [value is None for value in b]:
            continue
        squares = [
            float(x != y) if each.kind in {"stepped", "switch"} else (abs(x - y) / (each.high - each.low)) ** 2
            for each, x, y in zip(order, a, b, strict=True)
            if x is not None and y is not None
        ]
        if squares and (sum(squares) / len(squares)) ** 0.5 <= within:
            near.append({one, other})
    groups: list[set[int]] = []
    for pair in near:
        joined = [group for group in groups if group & pair]
        groups = [group for group in groups if not group & pair] + [pair.union(*joined)]
    return {frozenset(group) for group in groups}


@pytest.mark.parametrize("within", [0.005, 0.02, 0.2])
@pytest.mark.parametrize("unknown", [0.0, 0.002])
def test_it_finds_what_comparing_each_with_each_finds(
    lanternfish: Chart, fogbell: Chart, within: float, unknown: float
) -> None:
    for seed, chart in enumerate((lanternfish, fogbell)):
        values = table(chart, 120, seed, unknown=unknown)
        found = nearly_same(chart, values, within)
        assert {frozenset(group.ids) for group in found} == by_all_pairs(chart, values, within)
        assert all(0 < group.distance <= within for group in found)
        assert list(found) == sorted(found, key=lambda group: round(group.distance, 12))


def test_many_pairs_are_measured_in_portions(fogbell: Chart, monkeypatch: pytest.MonkeyPatch) -> None:
    values = table(fogbell, 90, 5)
    whole = nearly_same(fogbell, values, 0.1)
    monkeypatch.setattr(twins, "PORTION", 7)
    assert nearly_same(fogbell, values, 0.1) == whole


def test_nothing_and_nonsense(fogbell: Chart) -> None:
    nothing = ValueTable(np.empty(0, np.int64), (), np.empty((0, 0), np.int16), np.empty((0, 0), np.bool_))
    assert nearly_same(fogbell, nothing) == ()
    for wrong in (0.0, -1.0, 3.0, float("nan")):
        with pytest.raises(BadInput):
            nearly_same(fogbell, table(fogbell, 3, 1), wrong)
