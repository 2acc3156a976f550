"""Answers about ports, instruments, and conversations with them."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from librarian.cli.answers.base import Answer
from librarian.cli.answers.sounds import Comparison, Patch, Sound


class Port(Answer):
    """One MIDI port; `direction` is the computer's. `fingerprint` is what the library stores."""

    direction: Literal["in", "out"]
    name: str
    api: str
    ordinal: int
    fingerprint: str


class Ports(Answer):
    """Answer of `ports`."""

    system: str
    alive: bool
    ports: list[Port]


class Instrument(Answer):
    """One instrument of the library. Channel as people count, 1 to 16; device ID 0 to 126, null for all call.

    `slowed`: how often the gaps between messages had to be doubled with it, as remembered.
    """

    id: int
    name: str
    chart: str
    revision: int
    channel: int
    device: int | None
    output: str
    input: str
    firmware: str
    slowed: int = 0


class Instruments(Answer):
    """Answer of `instrument list`, `instrument add`, `instrument change`."""

    instruments: list[Instrument]


class Identified(Answer):
    """Answer of `identify`."""

    instrument: str
    port: str
    fits: Literal["fits", "other firmware", "other instrument"]
    firmware: str
    manufacturer: str
    family: int | None
    member: int | None
    channel: int
    device: int | None
    seconds: float
    sentence: str


class Captured(Answer):
    """Answer of `capture`. `patch` is null with `--look`: then nothing was kept."""

    instrument: str
    complete: bool
    known: int
    of: int
    missing: list[str]
    refused: list[str]
    way: str
    bytes_in: int
    bytes_out: int
    seconds: float
    sound: Sound
    patch: Patch | None


class Recalled(Answer):
    """Answer of `recall`. `state` "sent" means: nothing proves that it arrived.

    `saved`: bytes that did not have to travel; `rounds`: how often something was sent again; `slowed`: how often the
    gaps between messages are doubled now. `unkept`: why what was in the instrument is not kept in the library, and what
    became of it; `beside`: the files that it is saved in instead.
    """

    instrument: str
    patch: Patch
    version: int
    state: Literal["arrived", "differs", "sent"]
    sent: int
    of: int
    equal: int
    left_out: list[str]
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str
    comparison: Comparison | None
    saved: int = 0
    rounds: int = 0
    slowed: int = 0
    unkept: list[str]
    beside: list[str]


class PutBack(Answer):
    """Answer of `put-back`. `before`: the name of what was recalled then; `taken`: when the sound was read.

    `unkept`, `beside`: as of `recall`.
    """

    instrument: str
    before: str
    taken: datetime
    state: Literal["arrived", "differs", "sent"]
    sent: int
    of: int
    equal: int
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str
    unkept: list[str]
    beside: list[str]


class Verified(Answer):
    """Answer of `verify`: the stored version (A) against what the instrument holds (B)."""

    instrument: str
    patch: Patch
    version: int
    state: Literal["arrived", "differs", "sent"]
    of: int
    equal: int
    sentence: str
    comparison: Comparison | None


class Panicked(Answer):
    """Answer of `panic`."""

    instrument: str
