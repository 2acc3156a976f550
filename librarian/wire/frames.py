"""What the program and its port process tell each other: frames on two pipes, each a fixed head and a body."""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Protocol

_HEAD = struct.Struct("!IBIQd")
LONGEST_BODY = 64 * 1024 * 1024


class Kind(IntEnum):
    """What a frame says. The first group goes to the port process, the second comes from it."""

    OPEN = 1  # handle; body: output, input, bytes_per_second
    OPEN_VIRTUAL = 2  # handle; body: name, bytes_per_second
    SEND = 3  # handle, ticket, moment = gap in seconds; body: the message
    SEND_URGENT = 4  # the same
    DROP = 5  # handle
    CLOSE = 6  # handle
    PING = 7

    PONG = 33  # also the first frame of all
    PORTS = 34  # body: usable APIs, reasons of the others, ports
    OPENED = 35  # handle; body: name, longest message
    REFUSED = 36  # handle; body: kind of error, sentence, hint
    CAME = 37  # handle, moment; body: bytes as the driver gave them
    SENT = 38  # handle, ticket, moment
    DROPPED = 39  # handle; body: tickets
    LOST = 40  # handle; body: sentence
    SYSTEM_LOST = 41  # body: sentence; the process ends after it
    BUSY = 42  # moment = seconds for which a driver may keep the process from answering


@dataclass(frozen=True, slots=True)
class Frame:
    """One thing said. What the fields mean depends on the kind; `moment` is of `time.perf_counter`."""

    kind: Kind
    handle: int = 0
    ticket: int = 0
    moment: float = 0.0
    body: bytes = b""

    def to_bytes(self) -> bytes:
        """As it travels."""
        return _HEAD.pack(len(self.body), self.kind, self.handle, self.ticket, self.moment) + self.body

    @property
    def content(self) -> Any:
        """The body of those frames that carry JSON."""
        return json.loads(self.body)


def told(kind: Kind, content: Any, handle: int = 0) -> Frame:
    """A frame whose body is JSON."""
    return Frame(kind, handle, body=json.dumps(content).encode())


class Readable(Protocol):
    """A blocking, buffered stream of bytes."""

    def read(self, size: int, /) -> bytes: ...


def read_frame(stream: Readable) -> Frame | None:
    """The next frame; None at the end of the stream, also in the middle of a frame."""
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    length, kind, handle, ticket, moment = _HEAD.unpack(head)
    if length > LONGEST_BODY:
        raise ValueError(f"a frame of {length} bytes")
    body = stream.read(length) if length else b""
    return Frame(Kind(kind), handle, ticket, moment, body) if len(body) == length else None
