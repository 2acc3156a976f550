"""A small run of the chartfuzz bench."""

from __future__ import annotations

import tomllib

from librarian.chart.language.writing import chart_text
from tests.bench.chartfuzz import run


def test_damaged_and_random_charts_are_charts_or_our_errors() -> None:
    found = run(cases=60, seed=3)
    assert (found["crashes"], found["hangs"]) == (0, 0)
    assert found["used"] >= 15
    assert found["refused"] >= 15


def test_a_tree_with_a_slip_in_a_group_is_written_as_it_is() -> None:
    tree = {"group": [{"message": {"edit": "F0 7D F7"}, "layout": {"patch": {"size": 4}, "odd": 3}}]}
    assert tomllib.loads(chart_text(tree, lambda _: 0, "fuzz")) == tree
