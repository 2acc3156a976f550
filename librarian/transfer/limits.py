"""The longest time each conversation may take, stated before it begins and kept by `Talk`, whatever the cable does."""

from __future__ import annotations

from librarian.transfer.line import Line
from librarian.transfer.read import MOST_QUESTIONS
from librarian.transfer.reading import wire_seconds

_IDENTIFY_S = 4.0
_DUMP_BYTES = 4096
_PER_QUESTION = 5.0
"""Seconds around one question: hearing a broken answer out, and an instrument that pauses while it sends."""


def question_s(line: Line) -> float:
    """The longest that one question for the sound takes, by the slowest way of the chart, in seconds."""
    longest = 0.0
    for way in line.chart.ways_in:
        if way.kind == "hand":
            continue
        size = line.chart.codec.messages[way.message].length if way.kind == "dump" else 12 * len(way.carries)
        longest = max(longest, way.timeout_s + 4 * wire_seconds(size or _DUMP_BYTES) + _PER_QUESTION)
    return longest


def identify_s(line: Line, timeout_s: float) -> float:
    """Identify, and where that is silent one question by each way of the chart."""
    return _IDENTIFY_S + timeout_s + question_s(line) * len(line.chart.ways_in)


def capture_s(line: Line) -> float:
    """Capture or verify: who is there, every way until two answers agree, and the first one once more."""
    return _IDENTIFY_S + question_s(line) * MOST_QUESTIONS * max(1, 2 * len(line.chart.ways_in) - 1)


def recall_s(line: Line, rounds: int) -> float:
    """Recall: read, send at the slowest pace, read back, and that again in each round of repair."""
    slowest = 16.0
    pace = line.chart.pace
    messages = 6 * len(line.chart.parameters)
    sending = messages * (wire_seconds(3) + slowest * max(pace.gap_after_cc_s, 0.001))
    sending += wire_seconds(_DUMP_BYTES) + slowest * max(pace.gap_after_sysex_s, 0.02)
    sending += sum(way.timeout_s + way.settle_s for way in line.chart.ways_out)
    return capture_s(line) + (rounds + 1) * (sending + capture_s(line))
