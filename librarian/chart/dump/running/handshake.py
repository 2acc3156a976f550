"""How packets are acknowledged: the standard's handshake, or the chart's own frames for the same."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from librarian.chart.dump.model import Handshake as HandshakeTable
from librarian.chart.dump.running.frame import Content, FrameCodec
from librarian.messages import ALL_CALL, Address
from librarian.wire import universal

HandshakeKind = Literal["ack", "nak", "wait", "cancel"]
_KINDS: tuple[HandshakeKind, ...] = ("ack", "nak", "wait", "cancel")


class Handshake:
    """The handshake of one message. `answer_s`: how long to wait for it; `required`: without it nothing goes on.

    `names_device`: its messages say for which device they are.
    """

    def __init__(self, table: HandshakeTable, frames: Mapping[str, FrameCodec]) -> None:
        self.answer_s = table.answer_ms / 1000
        self.retries = table.retries
        self.required = table.required
        self._own = None if table.style == "universal" else frames
        self.names_device = self._own is None or any(
            number.role == "device" for frame in frames.values() for number in frame.numbers
        )

    def make(self, kind: HandshakeKind, address: Address, packet: int = 0) -> bytes | None:
        """The message that says so about a packet; None where the chart has none for it."""
        if self._own is None:
            return universal.handshake(kind, address.device, packet & 0x7F)
        frame = self._own.get(kind)
        return None if frame is None else frame.write(Content({"#packet": packet}), address, None)

    def read(self, raw: bytes, address: Address) -> tuple[HandshakeKind, int] | None:
        """What a message says about which packet (0 where it does not tell), None for any other message."""
        if self._own is None:
            return _read_universal(raw, address)
        for kind in _KINDS:
            frame = self._own.get(kind)
            if frame is not None and frame.size == len(raw) and frame.begins(raw) and frame.device_fits(raw, address):
                packets = [frame.number(raw, number) for number in frame.numbers if number.role == "packet"]
                return kind, packets[0] if packets else 0
        return None


def _read_universal(raw: bytes, address: Address) -> tuple[HandshakeKind, int] | None:
    try:
        said = universal.parse_handshake(raw)
    except universal.Malformed:
        return None
    if said.kind == "end of file" or not (said.device in (address.device, ALL_CALL) or address.device == ALL_CALL):
        return None
    return said.kind, said.packet
