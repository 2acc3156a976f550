"""Charts that write themselves, from the terminal: a recording of a panel, files of dumps, and a person's answers."""

from __future__ import annotations

import io
from contextlib import nullcontext
from pathlib import Path

import pytest

from librarian.chart import load
from librarian.cli.exits import Exit
from librarian.cli.verbs import learning
from librarian.messages import Message
from librarian.wire.clock import VirtualClock
from librarian.wire.traffic import Crossing, save

CHART = """
# my notes
id = "two"
name = "Two"
section = [{ id = "panel", label = "Panel" }]

[[parameter]]
id = "panel.a"
label = "A"
section = "panel"
range = [0, 127]
by_hand = true

[[parameter]]
id = "panel.b"
label = "B"
section = "panel"
range = [0, 127]
by_hand = true
"""


def dump(a: int, b: int) -> bytes:
    return bytes([0xF0, 0x7D, 0x10, 0x21, a, b, a ^ b, 0xF7])


def moves() -> list[tuple[float, bytes]]:
    """CC 74 from end to end and back, then a switch."""
    values = [*range(0, 128, 3), 127, *range(126, 0, -5)]
    swept = [(0.02 * step, bytes([0xB0, 74, value])) for step, value in enumerate(values)]
    return [*swept, *((5.0 + step, bytes([0xB0, 20, value])) for step, value in enumerate((0, 127, 0)))]


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "panel.jsonl"
    save(path, [Crossing(number, at, "c", "in", raw) for number, (at, raw) in enumerate(moves(), 1)])
    return path


def test_a_recording_with_answers_becomes_a_chart(run, recording, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("Filter/Cutoff\nPedals/Hold\n"))
    file = tmp_path / "mine.toml"
    ran = run("--json", "chart", "learn", file, "--name", "Mine", "--recording", recording)
    assert (ran.code, [one["label"] for one in ran.answer["controls"]]) == (Exit.OK, ["Cutoff", "Hold"])
    chart = load(file)
    assert (chart.name, {name: one.binding_text for name, one in chart.parameters.items()}) == (
        "Mine",
        {"filter.cutoff": "CC 74", "pedals.hold": "CC 20"},
    )


def test_without_answers_controls_are_called_by_how_they_travel(run, recording, tmp_path):
    file = tmp_path / "mine.toml"
    ran = run("chart", "learn", file, "--recording", recording, "--all")
    assert ran.code == Exit.OK
    assert "2 controls written" in ran.out
    again = run("chart", "learn", file, "--recording", recording, "--all")
    assert (again.code, again.err.split(".")[0]) == (Exit.COULD_NOT, "No control has a name yet")
    assert list(load(file).parameters) == ["panel.cc-74", "panel.cc-20"]


class Panel:
    """A cable on which someone moves controls, by a virtual clock."""

    def __init__(self, coming: list[tuple[float, bytes]]) -> None:
        self.clock = VirtualClock(0.0)
        self.name = "panel"
        self.coming = list(coming)
        self.asked: list[bytes] = []

    def send(self, message: bytes, *, gap_s: float = 0.0, urgent: bool = False) -> int:
        self.asked.append(message)
        return len(self.asked)

    def receive(self, timeout_s: float) -> Message | None:
        if self.coming and self.coming[0][0] <= self.clock.now() + timeout_s:
            at, raw = self.coming.pop(0)
            self.clock.sleep(max(0.0, at - self.clock.now()))
            return Message(raw, at)
        self.clock.sleep(timeout_s)
        return None


def test_each_control_is_asked_about_when_it_rests(run, tmp_path, monkeypatch):
    panel = Panel(moves())
    monkeypatch.setattr(learning, "_cable", lambda *_: _context(panel))
    monkeypatch.setattr("sys.stdin", io.StringIO("Cutoff\n\n.\n"))
    file = tmp_path / "mine.toml"
    ran = run("chart", "learn", file, "--all")
    assert ran.code == Exit.OK
    assert "CC 74: continuous, 0 to 127." in ran.out
    assert list(load(file).parameters) == ["panel.cutoff", "panel.cc-20"]


def _context(cable):
    return nullcontext(cable)


def test_dumps_in_files_with_their_moves(run, tmp_path):
    file = tmp_path / "two.toml"
    file.write_text(CHART)
    steps = [(5, 9, ""), (0, 9, "panel.a=0"), (127, 9, "panel.a=127"), (127, 0, "panel.b=0"),
             (127, 127, "panel.b=127"), (49, 127, "panel.a=49")]  # fmt: skip
    words = []
    for number, (a, b, move) in enumerate(steps):
        path = tmp_path / f"{number}.syx"
        path.write_bytes(dump(a, b))
        words += ["--dump", f"{path}@{move}" if move else str(path)]
    ran = run("--json", "chart", "learn-dumps", file, *words, "--request", "F0 7D 10 11 F7", "--device", 16)
    assert ran.code == Exit.OK
    assert (ran.answer["written"], ran.answer["packing"], ran.answer["checksums"][0]["kind"]) == (True, "plain", "xor")
    assert ran.answer["question"] == "Move B to 49 and nothing else, then send a dump."
    chart = load(file)
    assert file.read_text().startswith("\n# my notes\n")
    assert dict(chart.codec.decode(dump(3, 4), chart.default_address).values) == {"panel.a": 3, "panel.b": 4}


def test_a_conversation_follows_the_questions(run, tmp_path, monkeypatch):
    file = tmp_path / "two.toml"
    file.write_text(CHART)
    state = [(5, 9), (0, 9), (127, 9), (127, 0), (127, 127), (49, 127), (49, 49)]
    panel = Panel([(1.0 + number, dump(*pair)) for number, pair in enumerate(state)])
    monkeypatch.setattr(learning, "_cable", lambda *_: _context(panel))
    ran = run("chart", "learn-dumps", file, "--others", 0, "--out", "x", "--in", "y")
    assert ran.code == Exit.OK
    assert "Move A to its lowest position and nothing else, then send a dump." in ran.out
    assert "Byte 7: xor, 7 bits, over bytes 5 to 6; 7 of 7 dumps agree." in ran.out
    assert len(load(file).codec.messages["edit"].carries) == 2


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("chart", "learn", "new.toml"), "One port alone is no connection."),
        (("chart", "learn-dumps", "nothing.toml"), "There is no chart nothing.toml."),
        (("chart", "learn", "new.toml", "--recording", "missing"), "missing could not be read"),
    ],
)
def test_what_cannot_be_is_said(run, words, sentence, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run(*words)
    assert (ran.code, ran.err.startswith(sentence)) == (Exit.COULD_NOT, True), ran.err
