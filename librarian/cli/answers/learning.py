"""Answers about charts that write themselves."""

from __future__ import annotations

from librarian.cli.answers.base import Answer


class LearntControl(Answer):
    """One control and how it travels, in words. `low`, `high`: numbers as on the wire."""

    label: str
    travels: list[str]
    kind: str
    low: int
    high: int
    messages: int
    advice: str


class Learnt(Answer):
    """Answer of `chart learn`. `unused`: what else came, with the number of messages."""

    file: str
    controls: list[LearntControl]
    unused: dict[str, int]


class ChecksumGuess(Answer):
    """A checksum at byte `at` over bytes `first` to `last` (1 = F0; of the unpacked data if `unpacked`)."""

    kind: str
    bits: int
    at: int
    first: int
    last: int
    unpacked: bool
    agree: int
    of: int


class LearntField(Answer):
    """Where a parameter is stored: the keys of its field; `guesses`: how many fields fit all dumps."""

    id: str
    moved: bool
    guesses: int
    keys: str


class LearntDumps(Answer):
    """Answer of `chart learn-dumps`. `written`: the chart holds the dump now; `question`: what would tell more."""

    file: str
    written: bool
    dumps: int
    packing: str
    first: int
    last: int
    checksums: list[ChecksumGuess]
    other_checksums: list[ChecksumGuess]
    fields: list[LearntField]
    question: str
