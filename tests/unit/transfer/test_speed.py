"""A small run of tests.bench.recall on the machine's own clock; wide limits, because other work shares the machine."""

from __future__ import annotations

import pytest

from librarian.chart import Chart
from tests.bench.recall import embedded


@pytest.mark.slow
def test_conversations_take_hardly_longer_than_the_wire(lanternfish: Chart) -> None:
    figures = embedded(lanternfish, rounds=1, seed=1)
    assert figures.share <= 0.15, "bytes do not depend on the machine"
    assert figures.cc <= 1.3
    assert figures.sysex <= 1.3
    assert figures.verify <= 1.3
    assert figures.panic_ms <= 60
