"""The longest time each conversation may take, stated before it begins and kept by `Talk`, whatever the cable does."""

from __future__ import annotations

from librarian.chart import Way
from librarian.transfer.line import Line
from librarian.transfer.read import MOST_QUESTIONS, MOST_TOGETHER, askable, showing
from librarian.transfer.reading import wire_seconds

MOST_ASKED = 6
"""How often is asked who is there, where the answers do not agree."""
_IDENTIFY_S = 3.0 + MOST_ASKED * 1.0
_DUMP_BYTES = 4096
_SINGLE_BYTES = 64
_MOST_MESSAGES = 64
_CHECKS = 64
_PER_WRITE = 20.0
"""Seconds that an instrument may say WAIT for, twice, while it stores."""
_PER_QUESTION = 5.0
"""Seconds around one question: hearing a broken answer out, and an instrument that pauses while it sends."""


def question_s(line: Line, way: Way) -> float:
    """The longest that one question by this way takes, in seconds."""
    if way.kind == "parameters":
        return 2 * (way.timeout_s + wire_seconds(_SINGLE_BYTES)) * len(way.carries) + _PER_QUESTION
    size = line.chart.codec.messages[way.message].length if way.kind == "dump" else 12 * len(way.carries)
    return way.timeout_s + 4 * wire_seconds(size or _DUMP_BYTES) + _PER_QUESTION


def identify_s(line: Line, timeout_s: float) -> float:
    """Identify, and where that is silent one question by each way of the chart."""
    return _IDENTIFY_S + MOST_ASKED * timeout_s + sum(question_s(line, way) for way in showing(line))


def capture_s(line: Line) -> float:
    """Capture or verify: who is there, every way until answers agree, with the first one after each, three times."""
    questions = [question_s(line, way) for way in askable(line)] or [_PER_QUESTION]
    together = sum(questions) + questions[0] * (len(questions) - 1)
    return _IDENTIFY_S + MOST_QUESTIONS * MOST_TOGETHER * together


def recall_s(line: Line, rounds: int) -> float:
    """Recall: read, send at the slowest pace, read back, and that again in each round of repair."""
    slowest = 16.0
    pace = line.chart.pace
    messages = 6 * len(line.chart.parameters)
    sending = messages * (wire_seconds(3) + slowest * max(pace.gap_after_cc_s, 0.001))
    sending += wire_seconds(_DUMP_BYTES) + slowest * max(pace.gap_after_sysex_s, 0.02)
    sending += sum(way.timeout_s + way.settle_s for way in line.chart.ways_out)
    return capture_s(line) + (rounds + 1) * (sending + capture_s(line))


def bring_up_s(line: Line) -> float:
    """Bring-up: each of its checks asks and sends a few times, controllers once more for every value."""
    values = 8 * len(line.chart.parameters)
    each = sum(question_s(line, way) for way in askable(line)) + _PER_WRITE / 4
    return recall_s(line, 0) + (_CHECKS + values) * each


def backup_s(line: Line, programs: int) -> float:
    """Backup of so many programs: each read until its answers agree, or the whole bank at once."""
    longest = max((question_s(line, way) for way in _stored(line)), default=0.0)
    return _IDENTIFY_S + MOST_QUESTIONS * longest * max(1, programs)


def restore_s(line: Line, programs: int) -> float:
    """Restore of so many programs: each read, then at most three times written and read back.

    Where a write was lost, also every program that it may have reached is read.
    """
    ways = _stored(line)
    longest = max((question_s(line, way) for way in ways), default=0.0)
    writing = sum(way.timeout_s + way.settle_s for way in line.chart.ways_out) + _PER_WRITE
    writing += 16 * (line.chart.pace.write_delay_s + line.chart.pace.gap_after_sysex_s * _MOST_MESSAGES)
    everything = line.chart.memory.size if line.chart.memory is not None else 0
    return _IDENTIFY_S + (MOST_QUESTIONS * 4 * longest + 3 * writing) * max(1, programs) + backup_s(line, everything)


def _stored(line: Line) -> list[Way]:
    """The ways of reading what is stored."""
    messages = line.chart.codec.messages.items()
    return [Way("dump", name, info.carries) for name, info in messages if info.kind in {"program", "bank"}]
