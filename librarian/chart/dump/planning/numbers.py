"""A number in a frame: what it is called, which values it has, and whether they fit its place."""

from __future__ import annotations

from librarian.chart.dump.model import (
    AddressPart,
    ChannelPart,
    DevicePart,
    PacketPart,
    Part,
    SizePart,
    SlotPart,
    VersionPart,
)
from librarian.chart.dump.planning.segments import Number, Role
from librarian.chart.dump.specs import AddressRule
from librarian.chart.dump.steps.number import Piece
from librarian.messages import ALL_CALL

Wrong = tuple[str, str]
"""What is wrong, and what to write instead."""


def number_of(
    name: str, part: Part, at: int, size: int, pieces: tuple[Piece, ...], rule: AddressRule, *, by_rule: bool,
    fixed: int | None,
) -> Number | Wrong:  # fmt: skip
    """The number that a part puts into these bits. `by_rule`: the device ID follows `[address]`, not the part."""
    capacity = (1 << sum(piece.width for piece in pieces)) - 1
    plus, low, high, word = 0, 0, capacity, name
    role: Role
    if isinstance(part, DevicePart):
        if rule.rule == "absent":
            return (
                "The frame has a device ID, but [address] says that there is none.",
                "Take {device} away, or change device_rule.",
            )
        role, word = "device", "device"
        plus = (0 if rule.rule == "plain" else rule.base) if by_rule else part.plus
        high = 15 if by_rule and rule.rule == "nibble" else capacity - plus
        if rule.device != ALL_CALL and high < rule.device:
            return (
                f"The frame holds device IDs 0 to {high}, but [address] has device {rule.device}.",
                "Make the two agree.",
            )
    elif isinstance(part, ChannelPart):
        role, word, plus, high = "channel", "channel", part.plus, 15
    elif isinstance(part, SlotPart):
        role, word, plus, low = "slot", part.of, part.plus, part.low
        memory = {"program": rule.programs, "bank": rule.banks}.get(part.of, 0)
        most = capacity - plus
        high = part.high if part.high is not None else min(memory - 1, most) if memory else most
    elif isinstance(part, VersionPart):
        role, word = "version", "version"
    elif isinstance(part, AddressPart):
        role = "address"
    elif isinstance(part, SizePart):
        role = "size" if part.view == "addressed" else "wire_size"
    else:
        role = "packet" if isinstance(part, PacketPart) else "parameter" if part.is_ == "parameter" else "value"
    if low > high or high + plus > capacity or low + plus < 0:
        return (
            f"{name} runs from {low} to {high} with {plus} added, but its place holds 0 to {capacity}.",
            "Give it more bytes, or a smaller range.",
        )
    return Number(role, word, at, size, pieces, plus, low, high, fixed)
