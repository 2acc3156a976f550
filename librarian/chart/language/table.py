"""What every table of the language has in common."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag
from pydantic_core import PydanticCustomError

ID_LETTERS = frozenset("abcdefghijklmnopqrstuvwxyz0123456789-_.")
TEMPLATE_LETTERS = ID_LETTERS | frozenset("{}")


class Table(BaseModel):
    """A TOML table: unknown keys are faults, numbers are not taken from text, nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False, str_max_length=4096)


def wrong(sentence: str, remedy: str = "") -> PydanticCustomError:
    """A fault found by a model's own check: what is wrong, and what to write instead."""
    return PydanticCustomError("chart", "{said}", {"said": sentence, "remedy": remedy})


def one_or(single: Any, many: Any) -> Any:
    """A key that takes a single thing or a table or list. Tags in round brackets never look like keys."""

    def choose(value: object) -> str:
        return "(many)" if isinstance(value, (list, dict, Table)) else "(one)"

    return Annotated[Annotated[single, Tag("(one)")] | Annotated[many, Tag("(many)")], Discriminator(choose)]


Label = Annotated[str, Field(min_length=1, max_length=60)]
Byte7 = Annotated[int, Field(ge=0, le=127)]
Number14 = Annotated[int, Field(ge=0, le=16383)]
Channel = Annotated[int, Field(ge=1, le=16)]
Milliseconds = Annotated[int, Field(ge=0, le=600_000)]
Whole = Annotated[int, Field(ge=-(2**31), le=2**31 - 1)]
Real = Annotated[float, Field(ge=-1e12, le=1e12)]
