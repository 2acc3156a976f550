"""Controller messages to values: what the instrument's own controls say, by the chart and the standard's rules."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from librarian.chart.controllers.binding import Binding
from librarian.chart.controllers.receiver import ControllerEvent, ControllerReceiver
from librarian.messages import Address

PAIR_WAIT_S = 0.005
"""How long an MSB waits for its LSB before it counts as the whole value (our figure: two messages take 1.92 ms)."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A parameter's value as heard. `exact`: the binding carries every value of the range.

    `settled` False: the first half of a pair; the value may still change when its other half comes.
    """

    parameter: str
    value: int
    exact: bool = True
    settled: bool = True


@dataclass(slots=True)
class _Pair:
    """State of one 14-bit pair on one channel. `loose`: an LSB that came before its MSB."""

    msb: int | None = None
    loose: int | None = None
    waiting: bool = False


Bound = tuple[str, Binding]


class Listener:
    """Feed it whole messages in order; it answers with what they set. One listener for one input."""

    def __init__(
        self,
        bindings: Iterable[Bound],
        address: Address,
        *,
        selectors: Mapping[str, int],
        sysex: Callable[[bytes], tuple[tuple[str, int], ...]] | None = None,
    ) -> None:
        """`bindings`: those that the other side sends by. `selectors`: id -> controller number that selects."""
        bindings = tuple(bindings)
        self._receiver = ControllerReceiver(
            frozenset((b.travels, b.number) for _, b in bindings if b.bits == 7 and b.half == "msb")
        )
        self._sysex = sysex
        self._cc: dict[tuple[int, int], list[Bound]] = {}
        self._halves: dict[tuple[int, int], list[tuple[Bound, bool]]] = {}
        self._data: dict[tuple[str, int, int], list[Bound]] = {}
        self._programs: dict[int, list[Bound]] = {}
        self._pairs: defaultdict[tuple[int, int, int], _Pair] = defaultdict(_Pair)
        self._selectors = {number: name for name, number in selectors.items()}
        self._selected: dict[tuple[int, str], int] = {}
        self._pending: dict[str, tuple[Heard, float]] = {}
        for parameter, binding in bindings:
            self._add((parameter, binding), binding.channel_of(address))

    def _add(self, bound: Bound, channel: int) -> None:
        binding = bound[1]
        if binding.travels == "cc":
            self._cc.setdefault((channel, binding.number), []).append(bound)
        elif binding.travels == "cc14":
            self._halves.setdefault((channel, binding.number), []).append((bound, True))
            self._halves.setdefault((channel, binding.partner), []).append((bound, False))
        elif binding.travels == "program":
            self._programs.setdefault(channel, []).append(bound)
        else:
            self._data.setdefault((binding.travels, channel, binding.number), []).append(bound)

    def restart(self) -> None:
        """As if nothing had been heard yet."""
        self._receiver.restart()
        for state in (self._pairs, self._selected, self._pending):
            state.clear()

    def feed(self, raw: bytes, now: float = 0.0) -> tuple[Heard, ...]:
        """What this message says. `now`: seconds, needed only by `flush`."""
        if raw[:1] == b"\xf0":
            return tuple(Heard(parameter, value) for parameter, value in self._sysex(raw)) if self._sysex else ()
        event = self._receiver.feed(raw)
        if event is None:
            return ()
        if event.kind == "cc" and event.value is not None:
            found = self._controller(event.channel, event.number, event.value)
        elif event.kind == "program":
            found = self._program(event)
        else:
            found = self._entered(event)
        for heard in found:
            if heard.settled:
                self._pending.pop(heard.parameter, None)
            else:
                self._pending[heard.parameter] = (Heard(heard.parameter, heard.value, heard.exact), now)
        return tuple(found)

    @property
    def pending(self) -> bool:
        """True while a pair is half heard."""
        return bool(self._pending)

    def is_known(self, raw: bytes) -> bool:
        """True for a message that belongs to some binding: its value, a half of it, its selection or its selector."""
        if not raw:
            return False
        if raw[0] == 0xF0:
            return self._sysex is not None and bool(self._sysex(raw))
        kind, channel = raw[0] & 0xF0, raw[0] & 0x0F
        if kind == 0xC0:
            return channel in self._programs
        if kind != 0xB0 or len(raw) != 3:
            return False
        number = raw[1]
        if (channel, number) in self._cc or (channel, number) in self._halves or number in self._selectors:
            return True
        if number in {6, 38, 96, 97} or 98 <= number <= 101:
            return any(key[1] == channel for key in self._data)
        return channel in self._programs and number in {0, 32}

    def flush(self, now: float) -> tuple[Heard, ...]:
        """Values of pairs whose other half has not come within 5 ms: they are whole now."""
        due = [name for name, (_, at) in self._pending.items() if now - at >= PAIR_WAIT_S]
        return tuple(self._pending.pop(name)[0] for name in due)

    def _holds(self, binding: Binding, channel: int) -> bool:
        return all(self._selected.get((channel, name)) == number for name, number in binding.under)

    def _heard(self, bound: Bound, channel: int, wire: int, settled: bool = True) -> list[Heard]:
        parameter, binding = bound
        if not self._holds(binding, channel):
            return []
        value = binding.mapping.from_wire(wire)
        return [] if value is None else [Heard(parameter, value, binding.exact, settled)]

    def _controller(self, channel: int, number: int, value: int) -> list[Heard]:
        selector = self._selectors.get(number)
        if selector is not None:
            self._selected[channel, selector] = value
        found: list[Heard] = []
        for bound in self._cc.get((channel, number), ()):
            found += self._heard(bound, channel, value)
        done: dict[tuple[int, int, int], tuple[int, bool] | None] = {}
        for bound, is_msb in self._halves.get((channel, number), ()):
            key = (channel, bound[1].number, bound[1].partner)
            if key not in done:
                done[key] = _half(self._pairs[key], bound[1].order, is_msb, value)
            whole = done[key]
            if whole is not None:
                found += self._heard(bound, channel, whole[0], whole[1])
        return found

    def _program(self, event: ControllerEvent) -> list[Heard]:
        found: list[Heard] = []
        bank = event.value if event.value is not None else -1
        for bound in self._programs.get(event.channel, ()):
            rule = bound[1].bank
            if rule == "none":
                found += self._heard(bound, event.channel, event.number)
            elif bank >= 0:  # before any bank select the bank, and so the value, is unknown
                counted = {"msb": bank >> 7, "lsb": bank & 0x7F, "both": bank}[rule]
                found += self._heard(bound, event.channel, counted << 7 | event.number)
        return found

    def _entered(self, event: ControllerEvent) -> list[Heard]:
        found: list[Heard] = []
        for bound in self._data.get((event.kind, event.channel, event.number), ()):
            binding = bound[1]
            if binding.bits == 7 and event.part == binding.half:
                found += self._heard(bound, event.channel, event.data)
            elif event.value is None:
                continue
            elif binding.bits == 14:
                found += self._heard(bound, event.channel, event.value, settled=event.part != "msb")
            elif event.part in {"increment", "decrement"}:
                wire = event.value >> 7 if binding.half == "msb" else event.value & 0x7F
                found += self._heard(bound, event.channel, wire)
        return found


def _half(pair: _Pair, order: str, is_msb: bool, value: int) -> tuple[int, bool] | None:
    """Take one half of a pair; the value so far and whether it is settled, or None while it is unknown."""
    if is_msb:
        loose, pair.loose = pair.loose, None
        pair.msb = value
        if order != "msb_first" and loose is not None:
            pair.waiting = False
            return value << 7 | loose, True
        pair.waiting = True
        return (value << 7, False)  # the standard: an MSB sets the LSB to 0 until one comes
    if order == "lsb_first" or (order == "either" and not pair.waiting):
        pair.loose = value
        if order == "lsb_first" or pair.msb is None:
            return None
        return pair.msb << 7 | value, False
    if pair.msb is None:
        return None  # an LSB with no MSB before it is unknown
    pair.waiting = False
    return pair.msb << 7 | value, True
