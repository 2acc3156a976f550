"""Values to controller messages, in chart order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from librarian.chart.controllers.binding import Binding
from librarian.messages import Address

NullRule = Literal["after_group", "after_each", "never"]


@dataclass(frozen=True, slots=True)
class Burst:
    """The messages that set one parameter; to be sent together, in this order. Each has its status byte."""

    parameter: str
    messages: tuple[bytes, ...]


def bound_messages(binding: Binding, value: int, address: Address) -> tuple[bytes, ...]:
    """The messages that carry `value` by this binding (no selector, no null)."""
    channel = binding.channel_of(address)
    wire = binding.mapping.to_wire(value)
    cc = 0xB0 | channel
    msb, lsb = wire >> 7 & 0x7F, wire & 0x7F
    if binding.travels == "cc":
        return (bytes((cc, binding.number, lsb)),)
    if binding.travels == "cc14":
        halves = (bytes((cc, binding.number, msb)), bytes((cc, binding.partner, lsb)))
        return halves[::-1] if binding.order == "lsb_first" else halves
    if binding.travels == "program":
        return _program(binding, wire, channel)
    high, low = (99, 98) if binding.travels == "nrpn" else (101, 100)
    select = (bytes((cc, high, binding.number >> 7)), bytes((cc, low, binding.number & 0x7F)))
    if binding.bits == 7:
        return (*select, bytes((cc, 6 if binding.half == "msb" else 38, lsb)))
    return (*select, bytes((cc, 6, msb)), bytes((cc, 38, lsb)))


def _program(binding: Binding, wire: int, channel: int) -> tuple[bytes, ...]:
    change = bytes((0xC0 | channel, wire & 0x7F))
    bank, cc = wire >> 7, 0xB0 | channel
    if binding.bank == "msb":
        return (bytes((cc, 0, bank)), change)
    if binding.bank == "lsb":
        return (bytes((cc, 32, bank)), change)
    if binding.bank == "both":
        return (bytes((cc, 0, bank >> 7)), bytes((cc, 32, bank & 0x7F)), change)
    return (change,)


def null_messages(kind: str, channel: int) -> tuple[bytes, ...]:
    """RPN or NRPN null on a channel: data entry does nothing until the next selection."""
    high, low = (99, 98) if kind == "nrpn" else (101, 100)
    cc = 0xB0 | channel
    return (bytes((cc, high, 0x7F)), bytes((cc, low, 0x7F)))


def encode(
    bindings: Iterable[tuple[str, Binding]],
    values: Mapping[str, int],
    address: Address,
    *,
    selectors: Mapping[str, int],
    null: NullRule = "after_group",
) -> tuple[Burst, ...]:
    """One burst for each parameter of `bindings` that has a value, in their order.

    `selectors`: id -> controller number. A selector is sent before the first parameter that needs it and again
    when it changes. Null: the standard's, once after each run of RPN or NRPN parameters on one channel.
    """
    wanted = [(parameter, binding, values[parameter]) for parameter, binding in bindings if parameter in values]
    bursts: list[Burst] = []
    selected: dict[tuple[int, str], int] = {}
    for index, (parameter, binding, value) in enumerate(wanted):
        channel = binding.channel_of(address)
        messages: list[bytes] = []
        for selector, number in binding.under:
            if selected.get((channel, selector)) != number:
                selected[channel, selector] = number
                messages.append(bytes((0xB0 | channel, selectors[selector], number)))
        messages += bound_messages(binding, value, address)
        if binding.travels in {"nrpn", "rpn"} and null != "never":
            after = wanted[index + 1][1] if index + 1 < len(wanted) else None
            goes_on = after is not None and after.travels == binding.travels and after.channel_of(address) == channel
            if null == "after_each" or not goes_on:
                messages += null_messages(binding.travels, channel)
        bursts.append(Burst(parameter, tuple(messages)))
    return tuple(bursts)
