"""Layouts: which bits of the unpacked data are which parameter."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, PlainValidator, Tag, model_validator
from pydantic_core import PydanticCustomError

from librarian.chart.dump.model.base import Byte, Count, Digit, NumberOrText, Order, Place, Table
from librarian.chart.dump.steps.number import CodingName

MOST_FIELDS = 65_536
"""No layout has more fields, repetitions counted."""


def _whole(value: Any, low: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= 2**32


def _stored_or_name(value: Any) -> list[int] | str:
    if isinstance(value, str):
        return value
    if isinstance(value, list) and 0 < len(value) <= MOST_FIELDS and all(_whole(each, 0) for each in value):
        return value
    raise PydanticCustomError(
        "chart",
        "These codes are neither a list of whole numbers from 0 nor a name. || "
        "Write the stored number of every value, e.g. [0, 1, 4], or the name of a `[codes.NAME]` table.",
    )


def _index_values(value: Any) -> list[str | int] | str:
    if isinstance(value, str):
        return value
    if (
        isinstance(value, list)
        and 0 < len(value) <= MOST_FIELDS
        and all(isinstance(each, str) or _whole(each, -(2**32)) for each in value)
    ):
        return value
    raise PydanticCustomError(
        "chart", 'This is no series of index values. || Write "1..4", or a list such as [1, 2, 3] or ["a", "b"].'
    )


StoredOrName = Annotated[list[int] | str, PlainValidator(_stored_or_name, json_schema_input_type=list[int] | str)]
IndexValues = Annotated[
    list[str | int] | str, PlainValidator(_index_values, json_schema_input_type=list[str | int] | str)
]


class PieceOf(Table):
    """One place of a value that is spread over several; pieces are listed highest bits first."""

    at: Place
    """Byte, counted from 0 where the layout (or the repeated item) begins."""
    bits: NumberOrText | None = None
    """Bits of that byte, as "4-6" or 3; absent: the whole byte."""


class _Placed(Table):
    at: NumberOrText | None = None
    """Byte from 0, or an address distance in hexadecimal 7-bit digits ("01 00" = 128); absent: after the one before."""
    bytes: Annotated[int, Field(ge=1, le=8)] = 1
    """How many bytes it takes."""
    order: Order = "msb_first"
    """Whether the most or the least significant byte comes first."""
    digit: Digit | None = None
    """Bits in each byte; absent: as the layout says."""
    bits: NumberOrText | None = None
    """Bits of the number made of these bytes, as "0-3" or 6; absent: all."""


class ParameterField(_Placed):
    """One parameter."""

    of: str
    """The id of the parameter."""
    same: bool = False
    """True: in the same bytes as the field before (for bit fields that share a byte)."""
    pieces: Annotated[list[PieceOf], Field(min_length=1, max_length=32)] | None = None
    """Instead of at, bytes and bits: the places of a value that is spread, highest bits first."""
    coding: CodingName = "plain"
    """plain, offset (the stored number minus `zero`), twos (two's complement) or sign (top bit is the sign)."""
    zero: Annotated[int, Field(ge=-(2**28), le=2**28)] | None = None
    """With coding offset: the stored number that means 0; absent: half of what the bits can hold."""
    inverted: bool = False
    """True: all bits are stored flipped."""
    codes: (
        Annotated[list[Annotated[int, Field(ge=0, le=2**32)]], Field(min_length=1, max_length=65536)] | str | None
    ) = None
    """Stored numbers for the values from the parameter's lowest on, or the name of a `[codes.NAME]`."""
    low: Annotated[int, Field(ge=-(2**31), le=2**31)] | None = None
    """Lowest value that this layout can hold, when it is narrower than the parameter."""
    high: Annotated[int, Field(ge=-(2**31), le=2**31)] | None = None
    """Highest value that this layout can hold."""
    number: Annotated[int, Field(ge=0, le=2**32)] | None = None
    """Number of the parameter in messages that carry a single parameter."""


class NameField(_Placed):
    """The name of the sound inside the dump."""

    name: Annotated[int, Field(ge=1, le=4096)]
    """How many characters it has."""
    bytes: Annotated[int, Field(ge=1, le=8)] = 1
    """Bytes of each character (2 for a name in nibbles)."""
    stride: Annotated[int, Field(ge=1, le=65536)] | None = None
    """Bytes from one character to the next; absent: side by side."""
    charset: str = "ascii"
    """ascii (20h to 7Eh) or the name of a `[charset.NAME]`."""
    pad: Annotated[int, Field(ge=0, le=65535)] | None = None
    """Code that fills a short name; absent: that of the blank. 0 also ends it, unless the table has a character 0."""


class Gap(Table):
    """Bytes that are not explained: they are kept and go back as they came."""

    gap: Count
    """How many bytes."""
    at: NumberOrText | None = None
    """Where it begins; absent: after the one before."""
    fill: Byte = 0
    """Value that is written when nothing was received before."""
    label: str = ""
    """What is known about them, for the explanation of a dump."""


class Repeat(Table):
    """The same fields several times, with an index in the ids: operators, voices, steps, parts."""

    repeat: str
    """The index word; `{word}` in the ids inside stands for it."""
    over: IndexValues
    """The index values in the order of the dump: "1..4", "6..1" or a list."""
    fields: Annotated[list[Item], Field(min_length=1)]
    """What is repeated; `at` counts from the beginning of each item."""
    at: NumberOrText | None = None
    """Where the first item begins; absent: after the one before."""
    stride: NumberOrText | None = None
    """Bytes from one item to the next; absent: side by side."""
    bit_step: Annotated[int, Field(ge=1, le=32)] | None = None
    """Bits by which `bits` of the fields grow from one item to the next, all items in the same bytes (or `stride`)."""
    nesting: Literal["items", "fields"] = "items"
    """items: all fields of one item, then of the next. fields: all items of one field, then of the next field."""
    number_step: Annotated[int, Field(ge=0, le=2**31)] = 0
    """Added to `number` of the fields from one item to the next."""


def _kind_of_item(item: Any) -> str | None:
    if isinstance(item, str):
        return "id"
    keys = item if isinstance(item, dict) else getattr(type(item), "model_fields", {})
    kinds = (("repeat", "repeat"), ("of", "parameter"), ("name", "name"), ("gap", "gap"))
    return next((tag for key, tag in kinds if key in keys), None)


Item = Annotated[
    Annotated[str, Tag("id")]
    | Annotated[ParameterField, Tag("parameter")]
    | Annotated[NameField, Tag("name")]
    | Annotated[Gap, Tag("gap")]
    | Annotated[Repeat, Tag("repeat")],
    Discriminator(
        _kind_of_item,
        custom_error_type="chart",
        custom_error_message="This field says none of `of`, `name`, `gap` and `repeat`. || "
        'Write the id of a parameter, or a table such as { of = "filter.cutoff" }, { name = 16 } or { gap = 2 }.',
    ),
]
Repeat.model_rebuild()


class Layout(Table):
    """Where the parameters stand in the unpacked data, byte 0 first."""

    fields: Annotated[list[Item], Field(min_length=1)]
    """In the order of the bytes; a plain text is a parameter that takes the next whole byte."""
    size: Count | None = None
    """Bytes in all; absent: up to the end of the last field."""
    digit: Digit | None = None
    """Bits used in each byte; absent: 8 when every data part with this layout is packed, else 7."""
    fill: Byte = 0
    """Value of unexplained bytes when nothing was received before."""


class Charset(Table):
    """Characters of names: code = place in `characters` + `first`."""

    characters: Annotated[str, Field(min_length=1, max_length=65536)]
    """The characters in the order of their codes."""
    first: Annotated[int, Field(ge=0, le=65535)] = 0
    """Code of the first character."""
    more: dict[str, str] = Field(default_factory=dict)
    """Code (as "127" or "0x7F") -> character, for single codes elsewhere."""

    @model_validator(mode="after")
    def _single_characters(self) -> Charset:
        for code, character in self.more.items():
            try:
                int(code, 0)
            except ValueError:
                raise PydanticCustomError(
                    "chart", 'The code “{code}” is no number. || Write it as "127" or "0x7F".', {"code": code}
                ) from None
            if len(character) != 1:
                raise PydanticCustomError(
                    "chart",
                    "Code {code} stands for “{character}”, which is not one character. || Write one character.",
                    {"code": code, "character": character},
                )
        return self


class Codes(Table):
    """A sparse table of stored numbers that several fields share."""

    stored: Annotated[list[Annotated[int, Field(ge=0, le=2**32)]], Field(min_length=1, max_length=65536)]
    """Stored numbers for the values from the parameter's lowest on."""
