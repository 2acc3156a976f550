"""A chart whose request for controllers is also the message of one value: what comes then was not moved by a hand."""

from __future__ import annotations

from pathlib import Path

from librarian.chart import load
from librarian.messages import Values, Version
from librarian.transfer import recall
from tests.simulated import world


def test_a_value_whose_message_asks_did_not_arrive_and_nobody_moved_it() -> None:
    chart = load(Path(__file__).parents[2] / "data" / "charts" / "lychgate-keys.toml")
    there = world(chart, values={"tuning": 205})
    (sent,) = chart.codec.controllers({"tuning": 255}, there.line.address, ["tuning"])
    assert chart.codec.is_controller_request(sent.messages[-1], there.line.address), "what this is about"
    wanted = {**there.sound, "tuning": 255, "level": 79}
    done = recall(there.line, Version(chart.id, chart.revision, Values(wanted)))
    assert done.state == "differs"
    assert done.proof is not None
    assert (done.proof.moved, done.proof.differs) == ((), ("tuning",))
    assert "moved on the panel" not in done.sentence
    assert there.sound == {**wanted, "tuning": 205}
