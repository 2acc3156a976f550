"""Dumps that nobody asked for: started on the instrument itself, often the only way that an old one has."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.chart import Chart, Decoded, DumpRefused
from librarian.chart.dump import Gather, HandshakeKind
from librarian.transfer.talk import Talk

_KINDS = ("edit buffer", "program")
"""What holds one sound, in the order in which a message that could be either is taken."""


def sent_by_itself(chart: Chart) -> tuple[str, ...]:
    """Names of the chart's dump messages that hold one sound and may come from the instrument."""
    messages = chart.codec.messages
    return tuple(
        name
        for kind in _KINDS
        for name, info in messages.items()
        if info.kind == kind and not info.part_of and ("answer" in info.forms or "write" in info.forms)
    )


def starts_its_dump(chart: Chart) -> bool:
    """True when a dump that is started on the instrument brings its sound, and nothing asks for it."""
    return bool(sent_by_itself(chart)) and not any(way.requested for way in chart.ways_in if way.kind == "dump")


@dataclass(slots=True)
class Unasked:
    """Takes the messages of such dumps as they come. `refused`: why some were of no use."""

    talk: Talk
    refused: list[str] = field(default_factory=list)
    _gathers: dict[str, Gather] = field(default_factory=dict)

    def take(self, raw: bytes) -> bool:
        """Take one message; True when it belongs to a dump. A damaged dump has to be started again."""
        if raw[0] != 0xF0:
            return False
        for name in sent_by_itself(self.talk.line.chart):
            gather = self._gathers.get(name) or self._gather(name)
            try:
                if not gather.feed(raw):
                    continue
            except DumpRefused as problem:
                self.refused.append(str(problem))
                self._answer(name, "nak", raw)
                del self._gathers[name]
                return True
            self._answer(name, "ack", raw)
            return True
        return False

    def whole(self) -> tuple[tuple[bytes, ...], Decoded] | None:
        """The messages of the dump that is complete now, and what they say; None while there is none."""
        for name, gather in list(self._gathers.items()):
            if not gather.complete:
                continue
            del self._gathers[name]
            try:
                return gather.raws, self.talk.line.decode(gather.raws)
            except DumpRefused as problem:
                self.refused.append(str(problem))
        return None

    def _gather(self, name: str) -> Gather:
        line = self.talk.line
        self._gathers[name] = made = line.chart.codec.gather(name, line.address)
        return made

    def _answer(self, name: str, kind: HandshakeKind, raw: bytes) -> None:
        codec, address = self.talk.line.chart.codec, self.talk.line.address
        self.talk.answer_packet(codec.handshake(name), kind, codec.packet_number(raw, address) or 0)
