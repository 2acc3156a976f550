"""The tables that travel with the program, against the copies that the tests keep and against mido's data."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from librarian.wire.names import controller, maker_name, registered_parameter

TABLES = Path(__file__).parents[2] / "data"
SHIPPED = Path(__file__).parents[3] / "librarian" / "wire" / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (TABLES / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("name", ["controllers.csv", "rpn.csv", "manufacturer_ids.csv"])
def test_the_shipped_table_is_the_checked_one(name: str) -> None:
    assert (SHIPPED / name).read_bytes() == (TABLES / name).read_bytes()


def test_controllers() -> None:
    assert [controller(number).name for number in range(128)] == [row["name"] for row in rows("controllers.csv")]
    assert (controller(7).kind, controller(7).lsb_partner) == ("msb", 39)  # M1 p.11
    assert (controller(39).kind, controller(39).msb_partner) == ("lsb", 7)
    assert controller(0).care
    assert not controller(74).care
    assert "RP-015" in controller(121).note


@pytest.mark.parametrize("number", [-1, 128, 300])
def test_there_is_no_such_controller(number: int) -> None:
    with pytest.raises(ValueError, match="it is 0 to 127"):
        controller(number)


def test_every_14_bit_pair_points_both_ways() -> None:  # M1 p.12: 0-31 and 32-63
    for number in range(32):
        assert controller(number).lsb_partner == number + 32
        assert controller(number + 32).msb_partner == number


def test_registered_parameters() -> None:
    bend = registered_parameter(0)
    assert bend is not None
    assert (bend.name, bend.data_msb, bend.data_lsb) == ("Pitch Bend Sensitivity", "semitones", "cents")  # M1 p.18
    null = registered_parameter(0x7F * 128 + 0x7F)
    assert null is not None
    assert null.name == "Null Function"
    assert registered_parameter(7) is None
    assert sum(registered_parameter(number) is not None for number in range(16384)) == len(rows("rpn.csv"))


def test_makers() -> None:
    assert sum(maker_name(bytes.fromhex(row["id"])) == row["name"] for row in rows("manufacturer_ids.csv")) == 601
    assert maker_name(b"\x00") is None  # it only says that two bytes follow
    assert maker_name(b"\x00\x7f\x7f") is None
