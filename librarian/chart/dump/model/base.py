"""What all models of the dump language share."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator
from pydantic_core import PydanticCustomError

Order = Literal["msb_first", "lsb_first"]
Digit = Literal[4, 7, 8]
Byte = Annotated[int, Field(ge=0, le=255)]
LARGEST = 4 * 1024 * 1024
"""No message is longer, so no place in one is further away."""
Place = Annotated[int, Field(ge=0, le=LARGEST)]
Count = Annotated[int, Field(ge=1, le=LARGEST)]


def _number_or_text(value: Any) -> int | str:
    if isinstance(value, str) or (isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LARGEST):
        return value
    raise PydanticCustomError(
        "chart", "This is neither a whole number from 0 nor a text. || Write a number such as 12, or a text in quotes."
    )


NumberOrText = Annotated[int | str, PlainValidator(_number_or_text, json_schema_input_type=int | str)]
"""A number, or a text that is read later: an address distance, a range of bits, the name of a part."""


class Table(BaseModel):
    """A TOML table: no key is accepted that means nothing, no text becomes a number by itself."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, use_attribute_docstrings=True)


class Digits(Table):
    """A number written in whole bytes of the message."""

    bytes: Annotated[int, Field(ge=1, le=8)] = 1
    """How many bytes the number takes."""
    order: Order = "msb_first"
    """Whether the most or the least significant byte comes first."""
    digit: Digit = 7
    """How many bits each byte carries: 7, or 4 for nibbles, or 8 inside packed data."""
