"""What a row of controller messages means by the standard: pairs, RPN and NRPN state. Knows no chart.

MIDI 1.0 Detailed Specification 4.2.1: pairs p.11-12, bank select p.13, RPN and NRPN p.17, data increment RP-018.
Our own decision where the standard is silent: an LSB with no MSB before it is unknown.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Literal

EventKind = Literal["cc", "program", "rpn", "nrpn"]
DataPart = Literal["msb", "lsb", "increment", "decrement"]

DATA_MSB, DATA_LSB, INCREMENT, DECREMENT = 6, 38, 96, 97
NRPN_LSB, NRPN_MSB, RPN_LSB, RPN_MSB = 98, 99, 100, 101
NULL = 0x3FFF


@dataclass(frozen=True, slots=True)
class ControllerEvent:
    """One thing that a receiver understood.

    cc: `number` and 7-bit `value`. program: `number` the program, `value` the bank (MSB·128 + LSB; -1 when no bank
    select came yet). rpn, nrpn: `number` 14 bits; `value` 14 bits so far, or None where a half is unknown; `part`:
    which message brought it; `data`: its own 7 bits.
    """

    kind: EventKind
    channel: int
    number: int
    value: int | None
    part: DataPart | None = None
    data: int = 0


@dataclass(slots=True)
class _Channel:
    selected: Literal["rpn", "nrpn"] | None = None
    msb: int | None = None
    lsb: int | None = None
    bank_msb: int | None = None
    bank_lsb: int | None = None
    data: dict[tuple[str, int], int] = field(default_factory=dict)

    def number(self) -> int | None:
        """The selected number, or None while a half is missing or null is selected."""
        if self.selected is None or self.msb is None or self.lsb is None:
            return None
        number = self.msb << 7 | self.lsb
        return None if number == NULL else number


class ControllerReceiver:
    """State of the sixteen channels of one input. Feed whole messages; running status is already resolved."""

    def __init__(self, coarse: frozenset[tuple[str, int]] = frozenset()) -> None:
        """`coarse`: ("nrpn", number) whose increment counts in MSBs; RPN 2, 3 and 4 do so by RP-018."""
        self._channels: defaultdict[int, _Channel] = defaultdict(_Channel)
        self._coarse = coarse | {("rpn", 2), ("rpn", 3), ("rpn", 4)}

    def restart(self) -> None:
        """As if nothing had come yet."""
        self._channels.clear()

    def feed(self, raw: bytes) -> ControllerEvent | None:
        """The event that this message means, or None: a selection, a null, data without selection, no controller."""
        if not raw:
            return None
        kind, channel = raw[0] & 0xF0, raw[0] & 0x0F
        if kind == 0xC0 and len(raw) == 2:
            return self._program(channel, raw[1])
        if kind != 0xB0 or len(raw) != 3 or raw[1] > 0x7F or raw[2] > 0x7F:
            return None
        number, value = raw[1], raw[2]
        state = self._channels[channel]
        if number in {DATA_MSB, DATA_LSB, INCREMENT, DECREMENT}:
            return self._data(channel, state, number, value)
        if NRPN_LSB <= number <= RPN_MSB:
            self._select(state, number, value)
            return None
        if number == 0:
            state.bank_msb = value
        elif number == 32:
            state.bank_lsb = value
        elif number == 121:  # Reset All Controllers selects null (RP-015)
            state.selected = None
        return ControllerEvent("cc", channel, number, value)

    def _program(self, channel: int, program: int) -> ControllerEvent | None:
        if program > 0x7F:
            return None
        state = self._channels[channel]
        if state.bank_msb is None and state.bank_lsb is None:
            return ControllerEvent("program", channel, program, -1)
        return ControllerEvent("program", channel, program, (state.bank_msb or 0) << 7 | (state.bank_lsb or 0))

    def _select(self, state: _Channel, number: int, value: int) -> None:
        selected: Literal["rpn", "nrpn"] = "nrpn" if number in {NRPN_LSB, NRPN_MSB} else "rpn"
        if state.selected != selected:  # the halves of the other kind say nothing about this one
            state.selected, state.msb, state.lsb = selected, None, None
        if number in {NRPN_MSB, RPN_MSB}:
            state.msb = value
        else:
            state.lsb = value

    def _data(self, channel: int, state: _Channel, number: int, value: int) -> ControllerEvent | None:
        target = state.number()
        if target is None or state.selected is None:
            return None
        key = (state.selected, target)
        known = state.data.get(key)
        part: DataPart
        new: int | None
        if number == DATA_MSB:
            part, new = "msb", value << 7  # the LSB counts as 0 until one comes
        elif number == DATA_LSB:
            part, new = "lsb", None if known is None else (known & 0x3F80) | value
        else:
            part = "increment" if number == INCREMENT else "decrement"
            size = 128 if key in self._coarse else 1
            new = None if known is None else min(max(known + (size if part == "increment" else -size), 0), 0x3FFF)
        if new is not None:
            state.data[key] = new
        return ControllerEvent(state.selected, channel, target, new, part, value)
