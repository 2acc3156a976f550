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
from librarian.wire.names import maker_name

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
        raise Malformed(f"{_hex(raw)} is not an identity reply.")
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
        raise Malformed(f"{_hex(raw)} is not a master volume message of 8 bytes.")
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
    raise Malformed(f"{_hex(raw)} is not a handshake message of 6 bytes.")


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


def describe(raw: bytes) -> str:
    """What a whole message is called, for people: universal messages by the standard's names, others by their kind."""
    status = raw[0]
    if status < 0xF0:
        return f"{_CHANNEL_NAMES[status & 0xF0]} on channel {(status & 0x0F) + 1}"
    if status != 0xF0:
        return _SYSTEM_NAMES.get(status, f"status {status:02X}")
    body = raw[1:-1]
    if not body:
        return "empty SysEx message"
    if body[0] in (NON_REALTIME, REALTIME) and len(body) > 3:
        return _universal_name(body[0], body[2], body[3])
    identity = body[:3] if body[0] == 0 else body[:1]
    return f"SysEx message of {maker_name(identity) or 'an unknown maker'} ({_hex(identity)})"


def _universal_name(family: int, subject: int, detail: int) -> str:
    # The same two numbers mean different things in the two families.
    names = _NON_REALTIME_NAMES if family == NON_REALTIME else _REALTIME_NAMES
    whole, parts = names.get(subject, (f"unknown universal message {family:02X} {subject:02X}", {}))
    if not parts:
        return whole
    return f"{whole}: {parts.get(detail, f'{detail:02X}')}"


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


_CHANNEL_NAMES = {
    0x80: "note off",
    0x90: "note on",
    0xA0: "key pressure",
    0xB0: "controller",
    0xC0: "program change",
    0xD0: "channel pressure",
    0xE0: "pitch bend",
}
_SYSTEM_NAMES = {
    0xF1: "time code quarter frame",
    0xF2: "song position",
    0xF3: "song select",
    0xF6: "tune request",
    0xF8: "clock",
    0xFA: "start",
    0xFB: "continue",
    0xFC: "stop",
    0xFE: "active sensing",
    0xFF: "system reset",
}
_SAMPLE_EXTENSIONS = {
    0x01: "loop points",
    0x02: "loop points request",
    0x03: "name",
    0x04: "name request",
    0x05: "extended header",
    0x06: "extended loop points",
    0x07: "extended loop points request",
}
_SET_UP = {
    0x00: "special",
    0x01: "punch in",
    0x02: "punch out",
    0x03: "delete punch in",
    0x04: "delete punch out",
    0x05: "event start",
    0x06: "event stop",
    0x07: "event start with information",
    0x08: "event stop with information",
    0x09: "delete event start",
    0x0A: "delete event stop",
    0x0B: "cue point",
    0x0C: "cue point with information",
    0x0D: "delete cue point",
    0x0E: "event name",
}
_TUNING = {
    0x00: "bulk dump request",
    0x01: "bulk dump",
    0x03: "bulk dump request, with bank",
    0x04: "key-based dump",
    0x05: "scale-octave dump, 1 byte",
    0x06: "scale-octave dump, 2 bytes",
    0x07: "single notes, with bank",
    0x08: "scale-octave, 1 byte",
    0x09: "scale-octave, 2 bytes",
}
_NON_REALTIME_NAMES: dict[int, tuple[str, dict[int, str]]] = {
    0x01: ("sample dump header", {}),
    0x02: ("sample dump packet", {}),
    0x03: ("sample dump request", {}),
    0x04: ("time code set-up", _SET_UP),
    0x05: ("sample dump extension", _SAMPLE_EXTENSIONS),
    0x06: ("general information", {0x01: "identity request", 0x02: "identity reply"}),
    0x07: ("file dump", {0x01: "header", 0x02: "packet", 0x03: "request"}),
    0x08: ("tuning", _TUNING),
    0x09: ("General MIDI", {0x01: "level 1 on", 0x02: "off", 0x03: "level 2 on"}),
    0x0A: ("downloadable sounds", {0x01: "on", 0x02: "off", 0x03: "voice allocation off", 0x04: "voice allocation on"}),
    0x0B: ("file reference", {0x01: "open", 0x02: "select", 0x03: "open and select", 0x04: "close"}),
    0x0C: ("visual control", {}),
    0x0D: ("capability inquiry", {}),
    0x7B: ("end of file", {}),
    0x7C: ("wait", {}),
    0x7D: ("cancel", {}),
    0x7E: ("NAK", {}),
    0x7F: ("ACK", {}),
}
_REALTIME_NAMES: dict[int, tuple[str, dict[int, str]]] = {
    0x01: ("time code", {0x01: "full message", 0x02: "user bits"}),
    0x02: ("show control", {}),
    0x03: ("notation", {0x01: "bar number", 0x02: "time signature now", 0x42: "time signature at the next bar"}),
    0x04: (
        "device control",
        {
            0x01: "master volume",
            0x02: "master balance",
            0x03: "master fine tuning",
            0x04: "master coarse tuning",
            0x05: "global parameter control",
        },
    ),
    0x05: ("time code cueing", _SET_UP),
    0x06: ("machine control command", {}),
    0x07: ("machine control response", {}),
    0x08: (
        "tuning",
        {
            0x02: "single notes",
            0x07: "single notes, with bank",
            0x08: "scale-octave, 1 byte",
            0x09: "scale-octave, 2 bytes",
        },
    ),
    0x09: ("controller destination", {0x01: "channel pressure", 0x02: "key pressure", 0x03: "controller"}),
    0x0A: ("key-based instrument control", {}),
    0x0B: ("scalable polyphony", {}),
    0x0C: ("mobile phone control", {}),
}


def _hex(raw: bytes) -> str:
    return raw[:24].hex(" ").upper() + (" …" if len(raw) > 24 else "")
