"""A small run of the chartfuzz bench."""

from __future__ import annotations

from tests.bench.chartfuzz import run


def test_damaged_and_random_charts_are_charts_or_our_errors() -> None:
    found = run(cases=60, seed=3)
    assert (found["crashes"], found["hangs"]) == (0, 0)
    assert found["used"] >= 15
    assert found["refused"] >= 15
