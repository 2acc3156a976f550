"""Says why a message is no dump of this chart. Slow and thorough: runs only when something is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NoReturn

from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.specs import AddressRule
from librarian.messages import Address


def refuse_damaged(raw: bytes) -> NoReturn:
    """For what is no complete SysEx message."""
    if raw[:1] != b"\xf0":
        start = f"begins with {raw[0]:02X}" if raw else "is empty"
        raise DumpRefused("not sysex", f"The message {start}; a dump begins with F0.")
    inner = raw[1:-1] if raw[-1:] == b"\xf7" else raw[1:]
    at = next((place for place, byte in enumerate(inner, 1) if byte > 0x7F), None)
    if at is not None:
        raise DumpRefused(
            "status byte",
            f"Byte {at + 1} of the message is {raw[at]:02X}; inside a dump every byte is below 80.",
            "Send the dump again; check the cable if it happens often.",
        )
    raise DumpRefused(
        "unterminated",
        f"The dump ends after {len(raw)} bytes without F7: it was cut off.",
        "Send the dump again; check the cable if it happens often.",
    )


def maker_of(raw: bytes) -> bytes:
    """The manufacturer ID: one byte, or three beginning with 00."""
    body = raw[1:-1] if raw[-1:] == b"\xf7" else raw[1:]
    return body[:3] if body[:1] == b"\x00" else body[:1]


def refuse_unknown(raw: bytes, frames: Iterable[FrameCodec], rule: AddressRule, address: Address | None) -> NoReturn:
    """For a complete message that none of the frames fits."""
    if raw == b"\xf0\xf7":
        raise DumpRefused(
            "too short",
            "The message is empty (F0 F7): the interface lost what was in it.",
            "Send the dump again; try another MIDI interface if it is always so.",
        )
    known = list(frames)
    maker = maker_of(raw)
    makers = {maker_of(frame.blank) for frame in known} | ({rule.manufacturer} if rule.manufacturer else set())
    if maker not in makers:
        chart = " or ".join(sorted(each.hex(" ").upper() for each in makers))
        raise DumpRefused(
            "other maker",
            f"The message is of maker {maker.hex(' ').upper() or 'none'}; the chart is of {chart or 'no maker'}.",
            "Choose the chart of the instrument that sent it.",
        )
    for frame in known:
        if address is not None and frame.begins(raw) and len(raw) >= frame.header_size:
            for number in frame.numbers:
                if number.role in ("device", "channel") and not frame.device_fits(raw, address):
                    mine = address.device if number.role == "device" else address.channel
                    what = "device ID" if number.role == "device" else "channel"
                    raise DumpRefused(
                        "other device",
                        f"The message is for {what} {frame.number(raw, number)}; this instrument has {mine}.",
                        "Compare the number with the one set at the instrument.",
                    )
    if any(frame.begins(raw[:-1]) for frame in known):
        raise DumpRefused("too short", f"The message has only {len(raw)} bytes; every dump of the chart has more.")
    shown = raw[:8].hex(" ").upper() + (" …" if len(raw) > 8 else "")
    raise DumpRefused(
        "other message",
        f"No message of the chart begins with {shown}.",
        "It may be another kind of message of the same instrument.",
    )


def refuse_size(raw: bytes, message: str, sizes: list[int]) -> NoReturn:
    """For a dump that begins well and has the wrong length."""
    expected = " or ".join(str(size) for size in sorted(set(sizes)))
    short = len(raw) < min(sizes, key=lambda size: abs(size - len(raw)))
    raise DumpRefused(
        "too short" if short else "too long",
        f"The {message} dump has {len(raw)} bytes; the chart says {expected}.",
        "Send the dump again; if it is always so, compare the chart with the instrument.",
    )
