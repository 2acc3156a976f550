"""The stand-in's other road: lines in, JSON out; habits from words. (Over real ports: tests/end2end.)"""

from __future__ import annotations

import io
import json
import queue
import threading
from collections.abc import Iterator

import pytest

from librarian.chart import Chart, load, shipped
from librarian.errors import BadInput
from librarian.standin import Behaviour, Instrument
from librarian.standin.process import Running, main, raw_value, with_habit
from librarian.wire import universal
from librarian.wire.clock import SystemClock
from librarian.wire.embedded import EmbeddedCable


@pytest.fixture(scope="module")
def fogbell() -> Chart:
    return load(shipped()["fogbell"])


class Lines(io.StringIO):
    """A text that is read line by line while it is being written."""

    def __init__(self) -> None:
        super().__init__()
        self.waiting: queue.Queue[str | None] = queue.Queue()

    def __iter__(self) -> Iterator[str]:
        while (line := self.waiting.get()) is not None:
            yield line


class Computer:
    """The other end of the stand-in's cable: says one thing, and keeps what comes."""

    def __init__(self, says: bytes) -> None:
        self.says: list[bytes] = [says]
        self.came = bytearray()

    def feed(self, data: bytes, now: float) -> None:
        self.came += data

    def due(self, now: float) -> list[tuple[float, bytes]]:
        said, self.says = self.says, []
        return [(now, raw) for raw in said]

    def next_due(self) -> float | None:
        return 0.0 if self.says else None


def run(chart: Chart, commands: list[str]) -> tuple[list[dict[str, object]], Instrument]:
    computer = Computer(b"\xfe")
    cable = EmbeddedCable(computer, SystemClock(), name="Pit")
    instrument = Instrument(chart)
    lines, answers = Lines(), io.StringIO()
    runner = threading.Thread(target=Running(instrument, lines, answers).run, args=(cable,))
    runner.start()
    for command in commands:
        lines.waiting.put(command + "\n")
    lines.waiting.put(None)
    runner.join(10)
    assert not runner.is_alive()
    cable.close()
    return [json.loads(line) for line in answers.getvalue().splitlines()], instrument


def test_commands_are_answered_in_order(fogbell: Chart) -> None:
    said, one = run(
        fogbell,
        [
            "state",
            "turn filter.cutoff 99",
            "turn filter.cutof 1",
            "turn filter.cutoff 500",
            "behave thru yes",
            "dance",
            "",
        ],
    )
    assert said[0] == {"ready": "Pit", "chart": "fogbell"}
    assert set(said[1]) >= {"sound", "panel", "programs", "overflowed", "refused"}
    assert said[2] == {"turned": "filter.cutoff", "value": 99, "sound": 99}
    assert "no control" in str(said[3]["error"])
    assert "from 0 to 127" in str(said[4]["error"])
    assert said[5] == {"behaves": "thru"}
    assert "no command" in str(said[6]["error"])
    assert said[-1] == {"quit": True}
    assert one.behaviour.thru
    assert one.sound["filter.cutoff"] == 99


def test_what_comes_by_midi_is_answered_by_midi(fogbell: Chart) -> None:
    stop = threading.Event()

    lines = Lines()
    answers = io.StringIO()
    computer = Computer(universal.identity_request())
    cable = EmbeddedCable(computer, SystemClock(), name="Pit")
    runner = threading.Thread(target=Running(Instrument(fogbell), lines, answers).run, args=(cable,))
    runner.start()
    for _ in range(200):
        if computer.came.endswith(b"\xf7"):
            break
        stop.wait(0.02)
    lines.waiting.put("quit\n")
    runner.join(10)
    lines.waiting.put(None)
    cable.close()
    reply = universal.parse_identity(bytes(computer.came))
    assert (reply.device, reply.member) == (18, 2)


def test_habits_and_values_from_words(fogbell: Chart) -> None:
    habits = Behaviour()
    assert with_habit(habits, "input_buffer", "64").input_buffer == 64
    assert with_habit(habits, "input_buffer", "none").input_buffer is None
    assert with_habit(habits, "refuse", "nak").refuse == "nak"
    assert with_habit(habits, "revision", "00 00 03 00").revision == bytes((0, 0, 3, 0))
    assert with_habit(habits, "deaf_until_answered", "yes").deaf_until_answered
    assert with_habit(habits, "answer_delay_s", "0.5").answer_delay_s == 0.5
    assert with_habit(habits, "waits", "3").waits == 3
    for name, value in (("patience", "1"), ("input_buffer", "many"), ("refuse", "politely"), ("identity", "perhaps"),
                        ("revision", "00")):  # fmt: skip
        with pytest.raises(BadInput):
            with_habit(habits, name, value)
    parameter = fogbell.parameters["filter.cutoff"]
    assert raw_value(fogbell, "filter.cutoff", "42") == 42
    assert raw_value(fogbell, "filter.cutoff", parameter.display(64)) == 64


def test_a_chart_that_is_none_ends_with_a_sentence(capsys: pytest.CaptureFixture[str], tmp_path: object) -> None:
    assert main([f"{tmp_path}/nothing.toml", "--name", "x"]) == 1
    assert "nothing.toml" in capsys.readouterr().err
    assert main(["fogbell", "--behave", "patience=9"]) == 1
    assert "no habit" in capsys.readouterr().err
