"""Answers about an instrument's memory: backups of it, and what was written into it.

Programs are named as the instrument shows them ("A1", "1-12", "0"); `number` counts through all banks from 0.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from librarian.cli.answers.base import Answer
from librarian.cli.answers.sounds import Patch


class Memory(Answer):
    """One backup of a memory. `kind`: asked for, or what a restore found. `complete`: all of `of` programs are kept.

    `interrupted`: it can be gone on with (--resume). `failed`: program to why it could not be read.
    """

    name: str
    kind: Literal["backup", "before"]
    instrument: str
    chart: str
    revision: int
    firmware: str
    taken: datetime
    kept: int
    of: int
    complete: bool
    interrupted: bool
    failed: dict[str, str]


class BackedUp(Answer):
    """Answer of `backup` and `bank backup`. `changed`: programs that differ from the backup `since`; null without one.

    `resumed`: how many programs an interrupted backup had read already.
    """

    memory: Memory
    since: str | None
    changed: list[str] | None
    resumed: int
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str


class Memories(Answer):
    """Answer of `bank list` (oldest first) and `bank delete` (those that are left)."""

    memories: list[Memory]


class Program(Answer):
    """One program of a backup; `known` of `parameters` values."""

    program: str
    number: int
    name: str
    known: int
    parameters: int


class MemoryShown(Answer):
    """Answer of `bank show`."""

    memory: Memory
    programs: list[Program]


class ProgramCompared(Answer):
    """One program on both sides; names are null where it is not there. `differ`: labels of what differs."""

    program: str
    number: int
    state: Literal["equal", "different", "missing"]
    a: str | None
    b: str | None
    differ: list[str]


class MemoriesCompared(Answer):
    """Answer of `bank compare`: the backup A against B, another one or the instrument's memory now."""

    a: str
    b: str
    equal: int
    different: int
    missing: int
    programs: list[ProgramCompared]


class Written(Answer):
    """Answer of `bank restore` and `bank store`. Each program is in exactly one of `new`, `old` and `unknown`.

    `new`: written and read back equal, or there already. `old`: as before, and why. `unknown`: not certain, and why.
    `before`: the backup of what was there; null when nothing was to be read.
    """

    instrument: str
    source: str
    new: list[str]
    old: dict[str, str]
    unknown: dict[str, str]
    before: str | None
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str


class ProgramsKept(Answer):
    """Answer of `bank keep`: programs that became patches, and those that the library held already."""

    memory: Memory
    patches: list[Patch]
    held: list[str]
