"""Tables about the instrument as a whole: who it is, where it listens, how fast it may be fed, its memory."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from librarian.chart.language.table import Byte7, Channel, Milliseconds, Number14, Table, wrong


class FirmwareTable(Table):
    """How the four revision bytes of the identity reply read, and which firmware this chart revision describes."""

    text: str = Field(
        default="{1}.{2}.{3}.{4}",
        max_length=60,
        description="How the revision bytes read: {1} to {4} are the bytes as numbers, {1:02} with leading zeros, "
        "{1:hex} in hexadecimal, {1:char} as a character.",
        examples=["{3}.{4}"],
    )
    from_: str | None = Field(
        default=None,
        alias="from",
        max_length=40,
        description="First firmware that this chart describes.",
        examples=["2.0"],
    )
    before: str | None = Field(
        default=None, max_length=40, description="First later firmware that it does not describe.", examples=["3.0"]
    )
    only: list[str] | None = Field(
        default=None,
        max_length=100,
        description="Exactly these firmware texts instead of a range.",
        examples=[["1.2", "1.2b"]],
    )


class IdentityTable(Table):
    """What the instrument answers to the universal identity request."""

    manufacturer: str | None = Field(
        default=None,
        max_length=20,
        description="SysEx manufacturer ID in hexadecimal, 1 byte or 3 bytes beginning with 00.",
        examples=["7D", "00 20 7F"],
    )
    family: Number14 | None = Field(default=None, description="Family code (14 bits) of the reply.", examples=[130])
    member: Number14 | None = Field(
        default=None, description="Family member code (14 bits) of the reply.", examples=[1]
    )
    firmware: FirmwareTable | None = Field(
        default=None, description="Which firmware fits.", examples=[{"text": "{3}.{4}", "from": "2.0", "before": "3.0"}]
    )

    @field_validator("manufacturer")
    @classmethod
    def _maker(cls, text: str | None) -> str | None:
        if text is not None and manufacturer_bytes(text) is None:
            raise wrong(
                f"“{text}” is no manufacturer ID",
                "Write 1 byte from 01 to 7D in hexadecimal, or 3 bytes that begin with 00, such as “7D” or “00 20 7F”.",
            )
        return text

    @model_validator(mode="after")
    def _needs_maker(self) -> IdentityTable:
        if self.manufacturer is None and (self.family is not None or self.member is not None or self.firmware):
            raise wrong("“family”, “member” and “firmware” need a manufacturer", "Add manufacturer.")
        return self


def manufacturer_bytes(text: str) -> bytes | None:
    """The bytes of an ID written in hexadecimal, or None when it is none (1 byte 01-7D, or 00 and two more)."""
    try:
        raw = bytes.fromhex(text)
    except ValueError:
        return None
    if len(raw) == 1 and 1 <= raw[0] <= 0x7D:
        return raw
    if len(raw) == 3 and raw[0] == 0 and max(raw) < 0x80 and any(raw):
        return raw
    return None


class AddressTable(Table):
    """Where the instrument listens unless the person chose otherwise."""

    channel: Channel = Field(default=1, description="Basic channel, 1 to 16.", examples=[3])
    channel_fixed: bool = Field(default=False, description="true: the channel cannot be changed on the instrument.")
    device: Annotated[int, Field(ge=0, le=126)] | None = Field(
        default=None,
        description="SysEx device ID as on the wire, 0 to 126; absent: all call (127) until it has answered.",
    )
    device_rule: Literal["plain", "nibble", "offset", "absent"] = Field(
        default="plain",
        description="How the device ID stands in the instrument's own messages: as it is, as the low nibble of a "
        "constant byte, added to a number, or not at all.",
    )
    device_base: Byte7 = Field(
        default=0,
        description="nibble: the constant byte (low nibble 0), e.g. 0x30; offset: the number added.",
        examples=[0x30],
    )

    @model_validator(mode="after")
    def _base(self) -> AddressTable:
        if self.device_rule == "nibble" and self.device_base & 0x0F:
            raise wrong(f"the low nibble of device_base {self.device_base:#04x} is not 0", "The device ID goes there.")
        return self


class PaceTable(Table):
    """How fast the instrument may be fed."""

    bytes_per_second: Annotated[int, Field(ge=100, le=10_000_000)] = Field(
        default=3125, description="Bytes per second that it takes; a 5-pin cable carries 3125."
    )
    gap_after_sysex_ms: Milliseconds = Field(default=20, description="Silence after each SysEx message, milliseconds.")
    gap_after_cc_ms: Milliseconds = Field(
        default=1, description="Silence after each controller or NRPN group, milliseconds."
    )
    settle_after_program_change_ms: Milliseconds = Field(default=100, description="Silence after a program change, ms.")
    write_delay_ms: Milliseconds = Field(default=200, description="Silence after a store to memory, milliseconds.")


class MemoryTable(Table):
    """The instrument's own memory of programs."""

    programs: Annotated[int, Field(ge=1, le=16384)] = Field(description="Programs in each bank.", examples=[64])
    banks: Annotated[int, Field(ge=1, le=16384)] = Field(default=1, description="Number of banks.")
    display: Literal["from_one", "from_zero", "octal", "letters"] = Field(
        default="from_one",
        description="How the instrument shows a program: 1…, 0…, octal (11 is the first of 8 × 8), or a letter and a "
        "number (A1 is the first, 8 to a letter). On the wire counting always starts at 0.",
    )
    bank_select: Literal["none", "msb", "lsb", "both"] = Field(
        default="none", description="Which bank select controllers count: none, CC 0, CC 32, or both."
    )
    first_bank: Number14 = Field(default=0, description="Bank number on the wire of the first bank.")


class PanelTable(Table):
    """The physical panel as a whole."""

    takeover: Literal["jumps", "waits", "scaled", "unknown"] = Field(
        default="unknown", description="How a control takes over after a recall, where its parameter does not say."
    )
    positions_request: str | None = Field(
        default=None, description="Name of the message whose answer tells where the pots stand, if there is one."
    )
