"""Channel messages read without a chart: which controller, NRPN or RPN moved, and where to.

Data entry belongs to the NRPN or RPN selected last on its channel (MIDI 1.0 Detailed Specification 4.2.1 p.17).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SourceKind = Literal["cc", "nrpn", "rpn"]
Half = Literal["msb", "lsb"]

_NULL = (0x7F, 0x7F)
_SELECTORS = {98: ("nrpn", 1), 99: ("nrpn", 0), 100: ("rpn", 1), 101: ("rpn", 0)}
_DATA: dict[int, Half] = {6: "msb", 38: "lsb"}


@dataclass(frozen=True, slots=True, order=True)
class Source:
    """What moved: controller `number` (0-127), or NRPN or RPN `number` (MSB · 128 + LSB). `channel` 0-15."""

    kind: SourceKind
    channel: int
    number: int


@dataclass(frozen=True, slots=True)
class Event:
    """One step of a movement. `index`: which message of all; `at`: seconds; `half`: which data entry carried it."""

    source: Source
    half: Half
    value: int
    index: int
    at: float


class EventReader:
    """Feeds on whole messages in their order; keeps the selection of each channel."""

    def __init__(self) -> None:
        self._selected: dict[int, tuple[SourceKind, list[int | None]]] = {}
        self.unused: dict[str, int] = {}
        """What came and is no control that a chart can hold: name -> how many messages."""

    def read(self, raw: bytes, index: int, at: float) -> Event | None:
        """The movement that a channel message says, None for all others."""
        status, channel = raw[0] & 0xF0, raw[0] & 0x0F
        if status != 0xB0 or len(raw) != 3:
            self._unused(raw)
            return None
        number, value = raw[1], raw[2]
        if number in _SELECTORS:
            self._select(channel, number, value)
            return None
        if number in _DATA:
            kind, halves = self._selected.get(channel, ("nrpn", [None, None]))
            msb, lsb = halves
            if msb is None or lsb is None or (msb, lsb) == _NULL:
                self._count("data entry without a selected NRPN or RPN")
                return None
            return Event(Source(kind, channel, msb << 7 | lsb), _DATA[number], value, index, at)
        if number >= 120 or number in (0, 32, 96, 97):
            self._count("bank select" if number in (0, 32) else "mode messages and data steps")
            return None
        return Event(Source("cc", channel, number), "msb", value, index, at)

    def _select(self, channel: int, number: int, value: int) -> None:
        kind, place = _SELECTORS[number]
        known = self._selected.get(channel)
        halves: list[int | None] = known[1] if known is not None and known[0] == kind else [None, None]
        halves[place] = value
        self._selected[channel] = ("rpn" if kind == "rpn" else "nrpn", halves)

    def _unused(self, raw: bytes) -> None:
        names = {0x80: "notes", 0x90: "notes", 0xA0: "aftertouch", 0xC0: "program changes", 0xD0: "aftertouch"}
        if raw[0] < 0xF0:
            self._count(names.get(raw[0] & 0xF0, "pitch bend"))

    def _count(self, name: str) -> None:
        self.unused[name] = self.unused.get(name, 0) + 1
