"""Names that the standard and its registries give to numbers: controllers, registered parameters, makers.

The tables and their sources are in `data/`. Names are hints for people; nothing is ever recognised by one.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal, cast

ControllerKind = Literal["msb", "lsb", "switch", "single", "data", "mode", "undefined"]


@dataclass(frozen=True, slots=True)
class ControllerInfo:
    """What the standard says of a controller number. `kind`: see data/README.md.

    `lsb_partner`, `msb_partner`: the number of the other half, None if there is none. `care`: using it for a sound
    parameter needs thought. `note`: why, or what else is worth knowing.
    """

    number: int
    name: str
    kind: ControllerKind
    lsb_partner: int | None
    msb_partner: int | None
    care: bool
    note: str


@dataclass(frozen=True, slots=True)
class RegisteredParameter:
    """A registered parameter: `number` is MSB * 128 + LSB. What its data bytes mean, and its default, as text."""

    number: int
    name: str
    data_msb: str
    data_lsb: str
    default_or_range: str


def controller(number: int) -> ControllerInfo:
    """The standard's entry for controller 0 to 127. Raises `ValueError` for other numbers."""
    if number not in _controllers():
        raise ValueError(f"controller {number}; it is 0 to 127")
    return _controllers()[number]


def registered_parameter(number: int) -> RegisteredParameter | None:
    """The entry for a registered parameter number 0 to 16383, None where the standard has none."""
    return _registered_parameters().get(number)


def maker_name(manufacturer: bytes) -> str | None:
    """Who has this SysEx manufacturer ID (1 byte, or 00 and two more); None if the list has nobody."""
    return _makers().get(manufacturer)


@cache
def _controllers() -> Mapping[int, ControllerInfo]:
    return {
        int(row["number"]): ControllerInfo(
            int(row["number"]),
            row["name"],
            cast(ControllerKind, row["kind"]),
            int(row["lsb_partner"]) if row["lsb_partner"] else None,
            int(row["msb_partner"]) if row["msb_partner"] else None,
            row["care"] == "yes",
            row["note"],
        )
        for row in _rows("controllers.csv")
    }


@cache
def _registered_parameters() -> Mapping[int, RegisteredParameter]:
    return {
        int(row["number14"]): RegisteredParameter(
            int(row["number14"]), row["name"], row["data_msb"], row["data_lsb"], row["default_or_range"]
        )
        for row in _rows("rpn.csv")
    }


@cache
def _makers() -> Mapping[bytes, str]:
    # The entry 00 is no maker: it says that two more bytes follow.
    return {bytes.fromhex(row["id"]): row["name"] for row in _rows("manufacturer_ids.csv") if row["id"] != "00"}


def _rows(name: str) -> Iterator[dict[str, str]]:
    with (resources.files("librarian.wire") / "data" / name).open(encoding="utf-8") as table:
        yield from csv.DictReader(table)
