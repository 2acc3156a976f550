"""Answers of bring-up and of replay: an instrument, or this program, held against what is expected."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from librarian.cli.answers.base import Answer


class Finding(Answer):
    """One thing that was tried. `side`: where a fault probably is; `sent`, `received`: the bytes of a failure."""

    check: str
    subject: str
    outcome: Literal["passed", "failed", "not tried"]
    expected: str
    got: str
    side: str
    sent: list[str]
    received: list[str]


class Since(Answer):
    """Against an earlier report: what fails now and did not, what does not any more, what fails in both.

    `untried`: what passed or failed then and was not tried now.
    """

    since: str
    broken: list[Finding]
    mended: list[Finding]
    still: list[Finding]
    untried: list[Finding]


class BroughtUp(Answer):
    """Answer of `bring-up`. `measured`: figures by name; `restored`: is the old sound back; `files`: what was saved.

    `unproved`: labels of parameters that can be set, and that nothing reads back. `unkept`: what
    of the sound is lost or not kept in the library, and why; `beside`: the files that it is saved in instead.
    """

    instrument: str
    chart: str
    revision: int
    firmware: str
    port: str
    taken: datetime
    seconds: float
    passed: int
    failed: int
    not_tried: int
    findings: list[Finding]
    measured: dict[str, str]
    restored: str
    unproved: list[str]
    changes: Since | None
    files: list[str]
    unkept: list[str]
    beside: list[str]


class Replayed(Answer):
    """Answer of `replay`. `same`: the conversation sent what it sent then, and ended as it did then.

    `then`, `now`: how it ended, in its own words; `then` is empty where the file does not say. `unexpected`: messages
    sent now that the file does not have; `left`: messages of the file that were not sent now, in hexadecimal.
    `remarks`: what explains a difference: that the file was cut, or is read by another chart than then.
    """

    file: str
    instrument: str
    chart: str
    conversation: str
    crossings: int
    then: str
    now: str
    same: bool
    unexpected: list[str]
    left: list[str]
    remarks: list[str]
