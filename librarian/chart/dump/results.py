"""What the dump codec gives back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from librarian.messages import Values

Form = Literal["request", "answer", "write"]


@dataclass(frozen=True, slots=True)
class Recognised:
    """A message of the chart: which one, in which form, and the numbers in it (program, bank, ...)."""

    message: str
    form: Form
    slots: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Program:
    """One program of a bank. `number`: its place from 0. `images`: data part -> its unpacked bytes.

    `raw`: its own message, where the bank came as one message for every program.
    """

    number: int
    values: Values
    name: str
    odd: tuple[str, ...]
    images: Mapping[str, bytes]
    raw: bytes = b""


@dataclass(frozen=True, slots=True)
class Decoded:
    """A dump explained. `odd`: parameters whose stored number is no value of theirs (they are not in `values`).

    `programs`: of a bank; then `values` has only what stands once for the whole bank. `images`: data part -> its
    unpacked bytes; `layouts`: data part -> its layout. `raw` is the message (of several: all of them joined, and each
    in `raws`).
    """

    message: str
    form: Form
    slots: Mapping[str, int]
    values: Values
    name: str
    raw: bytes
    raws: tuple[bytes, ...]
    odd: tuple[str, ...] = ()
    programs: tuple[Program, ...] = ()
    images: Mapping[str, bytes] = field(default_factory=dict)
    layouts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ProgramSource:
    """What one program of a bank is to hold. `base`: a dump of one program that was received, for what is not said."""

    values: Mapping[str, int]
    name: str | None = None
    base: bytes | Sequence[bytes] | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One byte of a message explained. `offset` counts from 0; `place`: where in the unpacked data, else ''.

    `what`: the field, or why the byte is there. `value`: its meaning in display units, checksums computed and received.
    """

    offset: int
    byte: int
    what: str
    value: str = ""
    place: str = ""
    claimed: bool = True


@dataclass(frozen=True, slots=True)
class MessageInfo:
    """What can be done with a message. `slots`: word -> lowest and highest number. `programs`: of a bank, else 1.

    `length`: bytes of the whole answer, None when it varies; `messages`: how many messages it is. `carries`: ids.
    `sequence`: names of the messages that it is made of; `part_of`: the sequence to which it belongs.
    `is_sysex`: False for a command that is a channel message. `versions`: numbers that choose among its layouts.
    """

    name: str
    kind: str
    label: str
    forms: frozenset[Form]
    carries: frozenset[str]
    slots: Mapping[str, tuple[int, int]]
    has_name: bool
    single_parameter: bool
    programs: int = 1
    length: int | None = None
    messages: int = 1
    each: str = ""
    name_size: int = 0
    sequence: tuple[str, ...] = ()
    part_of: str = ""
    is_sysex: bool = True
    versions: tuple[int, ...] = ()
