"""Messages: what is asked, answered and written, as frames with parts."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from librarian.chart.dump.model.base import Count, NumberOrText, Table
from librarian.chart.dump.model.parts import Part

MessageKind = Literal["edit buffer", "program", "bank", "setup", "parameter", "command"]


class Block(Table):
    """One range of addresses that belongs to the dump."""

    start: str
    """Address of its first byte in hexadecimal 7-bit digits, e.g. "10 00 00"."""
    size: NumberOrText
    """Number of bytes, or the same in 7-bit digits, e.g. "01 20"."""


class Handshake(Table):
    """How two devices keep step while numbered packets travel."""

    style: Literal["universal", "own"] = "universal"
    """universal: F0 7E device 7F/7E/7D/7C packet F7 of the MIDI standard; own: the frames below."""
    ack: str | None = None
    """Packet arrived well, send the next."""
    nak: str | None = None
    """Packet arrived badly, send it again."""
    wait: str | None = None
    """Send nothing for now."""
    cancel: str | None = None
    """Stop."""
    answer_ms: Annotated[int, Field(ge=0, le=600_000)] = 50
    """How long to wait for an answer before going on as if there were none, in milliseconds."""
    retries: Annotated[int, Field(ge=0, le=100)] = 3
    """How often a packet is sent again before giving up."""
    required: bool = False
    """True: without an answer the transfer ends; false: it goes on without."""


class Message(Table):
    """One kind of message, with its forms: the request, the answer, and what is written to the instrument."""

    kind: MessageKind = "edit buffer"
    """What it carries: edit buffer, program, bank, setup, parameter (a single one) or command (nothing)."""
    label: str = ""
    """Name for people."""
    request: str | None = None
    """Frame that asks for it: bytes in hexadecimal and parts in braces. Absent: it cannot be asked for."""
    answer: str | None = None
    """Frame that the instrument sends."""
    write: str | None = None
    """Frame that is sent to the instrument; absent: the same as the answer. A command may also be one channel message,
    such as "C{channel} {program}"."""
    writable: bool = True
    """False: the instrument does not take it back."""
    parts: dict[str, Part] = Field(default_factory=dict)
    """The parts that the frames name in braces. device, channel, program, bank, part and packet need no entry."""
    each: str | None = None
    """Bank as many messages: the name of the message that comes once for every program."""
    times: Annotated[int, Field(ge=1, le=65536)] | None = None
    """With `each`: how many; absent: the number of programs in `[memory]`."""
    sequence: Annotated[list[str], Field(min_length=2, max_length=64)] | None = None
    """Names of messages that are one sound only together, in the order in which they are sent. With a request of its
    own it answers that one; without, each of them is asked for by its own."""
    begin: str | None = None
    """Frame that is sent before numbered packets, or before the data at addresses."""
    end: str | None = None
    """Frame that is sent after the last packet, or after the data at addresses."""
    handshake: Handshake | None = None
    """How numbered packets are acknowledged; absent: not at all."""
    blocks: Annotated[list[Block], Field(min_length=1, max_length=4096)] | None = None
    """With addresses: the ranges that together are the dump; their bytes follow each other in the layout."""
    chunk: Count | None = None
    """With addresses: most data bytes in one message; absent: each block in one message."""
    steps: dict[str, str] = Field(default_factory=dict)
    """With addresses: word -> distance of one program (or part) to the next, in 7-bit digits. The word channel stands
    for the instrument's channel: then part 1 listens on channel 1, part 2 on channel 2, and so on."""
    layout: str | None = None
    """Kind parameter: the layout that says how the values are stored."""
    of: str | None = None
    """Kind parameter with addresses: the message whose blocks and layout say which parameter lies where."""
    numbering: Literal["number", "offset", "order"] = "number"
    """Kind parameter with a layout: the number is `number` of the field, its byte offset, or its place in the list."""
    numbers: dict[str, Annotated[int, Field(ge=0, le=2**32)]] = Field(default_factory=dict)
    """Kind parameter without a layout: parameter id -> number."""
