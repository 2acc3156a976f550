"""The chain after a recall or a comparison says what the conversation found, and never more. No Qt."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from librarian.chart import Chart, load, shipped
from librarian.collection import InstrumentRow
from librarian.messages import Values, Version
from librarian.transfer import Recalled, Verified, recall, verify
from librarian.window.chain import transfers
from librarian.window.chain.facts import Setting
from librarian.window.chain.state import ChainState
from librarian.window.desk.standing import Standing
from tests.simulated import World, world

NOON = datetime(2026, 3, 12, 12, tzinfo=UTC)


@pytest.fixture
def fogbell() -> World:
    return world(load(shipped()["fogbell"]))


def a_sound(one: World) -> Version:
    chart = one.line.chart
    return Version(chart.id, chart.revision, Values({name: each.high for name, each in chart.parameters.items()}))


def shown(chart: Chart, result: Recalled | Verified) -> ChainState:
    row = InstrumentRow(1, "Fogbell", chart.id, chart.revision, chart.name, chart.default_address)
    standing = Standing(row, chart, Setting("Fogbell", "ALSA", 2, "Pit", "Pit", "", 1, None, 1, 2), transfers.asking)
    standing.recalled(result, "Harbour", NOON)
    return standing.chain


def test_a_comparison_is_no_recall(fogbell: World) -> None:
    found = shown(fogbell.line.chart, verify(fogbell.line, a_sound(fogbell)))
    assert found.sentence.startswith("Fogbell was compared with “Harbour”: ")
    assert " differ" in found.sentence
    assert "ecalled" not in found.sentence
    assert "did not arrive" not in found.sentence


def test_a_knob_that_was_moved_is_not_to_be_sent_again(fogbell: World) -> None:
    def turned(_: Version) -> None:
        after = fogbell.clock.now() + 0.05
        fogbell.bad.at(after, lambda now: fogbell.instrument.turn("filter.cutoff", 3, now))

    result = recall(fogbell.line, a_sound(fogbell), whole=True, keep_before=turned)
    assert result.proof is not None
    assert result.proof.moved == ("filter.cutoff",)
    found = shown(fogbell.line.chart, result)
    assert "moved on the panel meanwhile" in found.sentence
    assert "again" not in found.sentence


def test_what_did_not_arrive_can_be_sent_again(fogbell: World) -> None:
    fogbell.instrument.set_sound = lambda values, now: None  # type: ignore[method-assign]
    result = recall(fogbell.line, a_sound(fogbell))
    assert "Send these" in shown(fogbell.line.chart, result).sentence
