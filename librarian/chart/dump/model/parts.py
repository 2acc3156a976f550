"""The parts a frame may name in braces: `parts.NAME = { is = "...", ... }`."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from librarian.chart.dump.model.base import LARGEST, Byte, Count, Digit, Digits, NumberOrText, Order, Table
from librarian.chart.dump.steps.checksum import ChecksumKind
from librarian.chart.dump.steps.number import CodingName
from librarian.chart.dump.steps.packing import PackingName


class DevicePart(Table):
    """The device ID. Without this part `{device}` follows `device_rule` of `[address]`."""

    is_: Literal["device"] = Field(alias="is")
    plus: Byte = 0
    """Number added to the device ID on the wire."""


class ChannelPart(Table):
    """The MIDI channel, 0 to 15 on the wire."""

    is_: Literal["channel"] = Field(alias="is")
    plus: Byte = 0
    """Number added to the channel on the wire."""


class SlotPart(Digits):
    """A number that says what is meant: program, bank, part, or a word of the chart's own."""

    is_: Literal["slot"] = Field(alias="is")
    of: str = "program"
    """The word for the number: program, bank, part or another."""
    plus: Annotated[int, Field(ge=-65536, le=65536)] = 0
    """Number added on the wire."""
    low: Annotated[int, Field(ge=0, le=2**28)] = 0
    """Lowest number that exists."""
    high: Annotated[int, Field(ge=0, le=2**28)] | None = None
    """Highest number that exists; absent: what the bytes can hold, or the memory for programs and banks."""


class VersionPart(Digits):
    """A number that chooses the layout of the data."""

    is_: Literal["version"] = Field(alias="is")
    default: Annotated[int, Field(ge=0, le=2**28)] | None = None
    """Version that is written when nothing else says which; absent: the highest known."""


class ReservedPart(Table):
    """Bytes without known meaning: any value is accepted, kept, and goes back as it came."""

    is_: Literal["reserved"] = Field(alias="is")
    bytes: Count = 1
    """How many bytes."""
    fill: Byte = 0
    """Value that is written when nothing was received before."""


class LengthPart(Digits):
    """The number of bytes of a range of the message."""

    is_: Literal["length"] = Field(alias="is")
    from_: NumberOrText | None = Field(default=None, alias="from")
    """First part of the range, or number of its first byte (F0 is byte 1); absent: the data part."""
    to: NumberOrText | None = None
    """Last part of the range; absent: the same as `from`."""
    plus: Annotated[int, Field(ge=-65536, le=65536)] = 0
    """Number added to the count (-1 where the message says “bytes minus one”)."""
    unit: Annotated[int, Field(ge=1, le=65536)] = 1
    """Bytes that count as one, where the message counts words, blocks or programs."""
    view: Literal["wire", "unpacked"] = "wire"
    """Count bytes as they travel, or before packing."""


class AddressPart(Digits):
    """The address of the first data byte, in 7-bit digits."""

    is_: Literal["address"] = Field(alias="is")
    bytes: Annotated[int, Field(ge=1, le=8)] = 3
    """How many bytes the address takes."""


class SizePart(Digits):
    """The number of data bytes, in the digits of an address."""

    is_: Literal["size"] = Field(alias="is")
    bytes: Annotated[int, Field(ge=1, le=8)] = 3
    """How many bytes the size takes."""
    view: Literal["addressed", "wire"] = "addressed"
    """Count bytes as the addresses do, or as they travel (different where each message is packed for itself)."""


class ChecksumPart(Table):
    """A checksum over a range of the message."""

    is_: Literal["checksum"] = Field(alias="is")
    kind: ChecksumKind
    """xor, sum, twos (range and checksum together are 0), ones (together all bits set), or crc with a `polynomial`."""
    from_: NumberOrText | None = Field(default=None, alias="from")
    """First part of the range, or number of its first byte (F0 is byte 1); absent: the byte after F0."""
    to: NumberOrText | None = None
    """Last part of the range, or number of its last byte; absent: everything up to the checksum."""
    bits: Annotated[int, Field(ge=3, le=32)] = 7
    """Width of the checksum: 7, 14, or 8 and 16 inside packed data, or the width of the CRC."""
    start: Annotated[int, Field(ge=0, le=2**32 - 1)] = 0
    """Value the instrument begins with."""
    final: Annotated[int, Field(ge=0, le=2**32 - 1)] = 0
    """Number that is XORed with the result in the end."""
    or_: Annotated[int, Field(ge=0, le=2**32 - 1)] | None = Field(default=None, alias="or")
    """A number that the instrument accepts instead of any checksum."""
    polynomial: Annotated[int, Field(ge=1, le=2**32 - 1)] | None = None
    """crc: the polynomial without its highest term, highest bit first, e.g. 0x1021 for 16 bits."""
    reflected_in: bool = False
    """crc: true where the lowest bit of each byte goes in first."""
    reflected_out: bool = False
    """crc: true where the bits of the result are reversed (before `final`)."""
    view: Literal["wire", "unpacked"] = "wire"
    """Sum bytes as they travel, or the 8-bit data before packing."""
    order: Order = "msb_first"
    """Whether the most or the least significant byte comes first."""
    digit: Digit | None = None
    """Bits in each byte; absent: 7 on the wire, 8 inside packed data."""


class _Payload(Table):
    """What can travel in several messages."""

    packing: PackingName = "plain"
    """How 8-bit data is brought into 7-bit bytes."""
    split: Annotated[int, Field(ge=1, le=4 * 1024 * 1024)] | None = None
    """Bytes in each message when the data travels in numbered packets."""
    split_view: Literal["wire", "unpacked"] = "wire"
    """Cut (packets) and count (addresses) after packing, so that the whole is packed once; or before, so that each
    message is packed for itself."""
    last: Literal["short", "filled"] = "short"
    """The last packet is as long as what is left, or filled up with zeros."""


class DataPart(_Payload):
    """The sound itself: bytes that a layout explains, packed or plain."""

    is_: Literal["data"] = Field(alias="is")
    layout: str | None = None
    """Name of the layout."""
    layouts: dict[str, str] | None = None
    """Version number -> name of the layout, instead of `layout`."""
    times: Annotated[int, Field(ge=1, le=65536)] = 1
    """How many programs follow each other (a bank in one message)."""
    shortest: Annotated[int, Field(ge=0, le=LARGEST)] | None = None
    """Fewest bytes (before packing), where the data may end before its layout does; absent: it never does."""
    unit: Annotated[int, Field(ge=1, le=65536)] = 1
    """Bytes by which such data grows."""


class GroupPart(_Payload):
    """Parts packed together, or repeated together: `holds` is a frame of its own, without F0 and F7."""

    is_: Literal["group"] = Field(alias="is")
    holds: str
    """The frame inside: bytes in hexadecimal and parts in braces."""
    times: Annotated[int, Field(ge=1, le=65536)] = 1
    """How often it follows itself, each one packed for itself."""
    fewest: Annotated[int, Field(ge=1, le=65536)] | None = None
    """Fewest repetitions, where their number varies up to `times`; absent: always `times`."""


class PacketPart(Digits):
    """The running number of a packet."""

    is_: Literal["packet"] = Field(alias="is")
    first: Annotated[int, Field(ge=0, le=65536)] = 0
    """Number of the first packet."""


class ParameterPart(Digits):
    """The number of one parameter, in a message that carries a single parameter."""

    is_: Literal["parameter"] = Field(alias="is")


class ValuePart(Digits):
    """The value of that parameter."""

    is_: Literal["value"] = Field(alias="is")
    stored: bool = False
    """True: the bytes as the layout stores them, as many as it has."""
    coding: CodingName | None = None
    """How the number is written; absent: as the layout says, else plain."""
    zero: Annotated[int, Field(ge=-(2**28), le=2**28)] | None = None
    """The number on the wire that means 0 (coding offset)."""


Part = Annotated[
    DevicePart
    | ChannelPart
    | SlotPart
    | VersionPart
    | ReservedPart
    | LengthPart
    | AddressPart
    | SizePart
    | ChecksumPart
    | DataPart
    | GroupPart
    | PacketPart
    | ParameterPart
    | ValuePart,
    Field(discriminator="is_"),
]
