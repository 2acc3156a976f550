"""Universal System Exclusive messages: build, read, name. Numbers are those on the wire.

Sources: MIDI 1.0 Detailed Specification 4.2.1 (p.34-46, 52, 57 and Table VIIa), the MIDI Association's table of
Universal System Exclusive messages, CA-024, CA-025.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from librarian.errors import BadInput
from librarian.messages import ALL_CALL

NON_REALTIME = 0x7E
REALTIME = 0x7F

Handshake = Literal["end of file", "wait", "cancel", "nak", "ack"]

_HANDSHAKES: dict[Handshake, int] = {"end of file": 0x7B, "wait": 0x7C, "cancel": 0x7D, "nak": 0x7E, "ack": 0x7F}
_DAMPER, _ALL_SOUND_OFF, _ALL_NOTES_OFF = 64, 120, 123


class Malformed(BadInput):
    """A universal message that is not built as the standard says; shown, never relied on."""


@dataclass(frozen=True, slots=True)
class IdentityReply:
    """Who answers. `manufacturer`: 1 or 3 bytes. `family`, `member`: 0 to 16383. `revision`: 4 bytes as they came.

    `surplus`: bytes after the revision that the standard does not know; the other fields hold all the same.
    """

    device: int
    manufacturer: bytes
    family: int
    member: int
    revision: bytes
    surplus: bytes = b""


@dataclass(frozen=True, slots=True)
class HandshakeMessage:
    """One side of a handshake; `packet` 0 to 127."""

    kind: Handshake
    device: int
    packet: int


def identity_request(device: int = ALL_CALL) -> bytes:
    """Ask `device` (0 to 126, or all) who it is. Specification p.40."""
    return bytes((0xF0, NON_REALTIME, _seven(device, "device ID"), 0x06, 0x01, 0xF7))


def identity_reply(reply: IdentityReply) -> bytes:
    """The bytes of a reply, as an instrument sends them. Specification p.40."""
    if len(reply.manufacturer) != (3 if reply.manufacturer[:1] == b"\0" else 1):
        raise Malformed(f"{_hex(reply.manufacturer)} is no manufacturer ID: one byte, or 00 and two more.")
    if len(reply.revision) != 4:
        raise Malformed(f"The revision {_hex(reply.revision)} has {len(reply.revision)} bytes; it has 4.")
    head = bytes((0xF0, NON_REALTIME, _seven(reply.device, "device ID"), 0x06, 0x02)) + reply.manufacturer
    numbers = _fourteen(reply.family, "family") + _fourteen(reply.member, "member")
    raw = head + numbers + reply.revision + reply.surplus + b"\xf7"
    _body(raw)
    return raw


def parse_identity(raw: bytes) -> IdentityReply:
    """Read an identity reply. Raises `Malformed` when it is another message or too short."""
    body = _body(raw)
    if len(body) < 4 or body[0] != NON_REALTIME or body[2:4] != b"\x06\x02":
        raise Malformed(f"{describe(raw)} is not an identity reply.")
    size = 3 if body[4:5] == b"\0" else 1
    if len(body) < 4 + size + 8:
        wanted = 4 + size + 8 + 2
        raise Malformed(f"The identity reply {_hex(raw)} has {len(raw)} bytes; it should have {wanted}.")
    manufacturer, rest = body[4 : 4 + size], body[4 + size :]
    family, member = rest[0] | rest[1] << 7, rest[2] | rest[3] << 7
    return IdentityReply(body[1], manufacturer, family, member, rest[4:8], rest[8:])


def master_volume(value: int, device: int = ALL_CALL) -> bytes:
    """Set the volume of the whole device: 0 silence to 16383 full. Specification p.57."""
    return bytes((0xF0, REALTIME, _seven(device, "device ID"), 0x04, 0x01, *_fourteen(value, "volume"), 0xF7))


def parse_master_volume(raw: bytes) -> tuple[int, int]:
    """(device, value 0 to 16383). Raises `Malformed`."""
    body = _body(raw)
    if len(body) != 6 or body[0] != REALTIME or body[2:4] != b"\x04\x01":
        raise Malformed(f"{describe(raw)} ({_hex(raw)}) is not a master volume message of 8 bytes.")
    return body[1], body[4] | body[5] << 7


def handshake(kind: Handshake, device: int, packet: int = 0) -> bytes:
    """Answer or announce during a dump. Specification p.36, 44-45."""
    return bytes(
        (0xF0, NON_REALTIME, _seven(device, "device ID"), _HANDSHAKES[kind], _seven(packet, "packet number"), 0xF7)
    )


def parse_handshake(raw: bytes) -> HandshakeMessage:
    """Read a handshake message. Raises `Malformed`."""
    body = _body(raw)
    if len(body) == 4 and body[0] == NON_REALTIME:
        for kind in get_args(Handshake):
            if _HANDSHAKES[kind] == body[2]:
                return HandshakeMessage(kind, body[1], body[3])
    raise Malformed(f"{describe(raw)} ({_hex(raw)}) is not a handshake message of 6 bytes.")


def panic(channels: Iterable[int] = range(16), notes: Iterable[tuple[int, int]] = ()) -> list[bytes]:
    """Silence these channels (0 to 15), in order of sending; `notes`: (channel, key) that we started ourselves.

    The hold pedal first, because it outranks All Notes Off (Specification p.A-5). No Reset All Controllers: it would
    change the sound.
    """
    messages = []
    for channel in channels:
        status = 0xB0 | channel
        messages += [bytes((status, number, 0)) for number in (_DAMPER, _ALL_NOTES_OFF, _ALL_SOUND_OFF)]
    return messages + [bytes((0x80 | channel, key, 64)) for channel, key in notes]


_SUBJECTS: dict[tuple[int, ...], str] = {}


def describe(raw: bytes) -> str:
    """What kind of message this is, in a few words."""
    return _hex(raw)


def _body(raw: bytes) -> bytes:
    """What stands between F0 and F7; raises `Malformed` when that is not a SysEx message of 7-bit bytes."""
    if len(raw) < 2 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
        raise Malformed(f"{_hex(raw)} is not a whole SysEx message.")
    return raw[1:-1]


def _seven(value: int, what: str) -> int:
    if not 0 <= value <= 127:
        raise Malformed(f"A {what} of {value} does not fit; it is 0 to 127.")
    return value


def _fourteen(value: int, what: str) -> bytes:
    """LSB first, as all universal messages have it."""
    if not 0 <= value <= 16383:
        raise Malformed(f"A {what} of {value} does not fit; it is 0 to 16383.")
    return bytes((value & 0x7F, value >> 7))


def _hex(raw: bytes) -> str:
    return raw[:24].hex(" ").upper() + (" …" if len(raw) > 24 else "")
