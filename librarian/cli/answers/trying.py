"""Answers of `demo` and of `answers`."""

from __future__ import annotations

from typing import Any

from librarian.cli.answers.base import Answer


class DemoStep(Answer):
    """One step of the demo: what was done with which instrument, the proof in words, and whether it holds."""

    instrument: str
    step: str
    proof: str
    holds: bool


class Demo(Answer):
    """Answer of `demo`. `picture` is the file that was saved, if one was asked for."""

    library: str
    patches: int
    steps: list[DemoStep]
    picture: str | None


class Documented(Answer):
    """Answer of `answers`: verb to the JSON Schema of its answer; "trouble" is that of every verb that could not."""

    answers: dict[str, dict[str, Any]]
