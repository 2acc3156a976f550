"""The invented instruments, structurally different, with bytes worked out by hand (tests/dumped_cases.py)."""

from __future__ import annotations

import mido
import pytest

from librarian.chart import Chart
from librarian.messages import Address
from tests.dumped import invented, invented_names
from tests.dumped_cases import CAIRN, CASES, Case

BY_CASE = pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.instrument} {case.message}")


def chart_of(case: Case) -> Chart:
    return invented(case.instrument)


def test_all_the_instruments_are_here() -> None:
    assert {case.instrument for case in CASES} | {"tallow", "lychgate", "lychgate-keys"} == set(invented_names())


@BY_CASE
def test_decoding(case: Case) -> None:
    decoded = chart_of(case).codec.decode_all(case.bytes, case.address)
    assert decoded.message == case.message
    assert dict(decoded.values) == case.values
    assert decoded.name == case.name
    assert dict(decoded.slots) == case.slots
    assert decoded.odd == ()
    assert decoded.raws == case.bytes


@BY_CASE
def test_encoding_over_the_dump_that_came_gives_its_bytes(case: Case) -> None:
    codec = chart_of(case).codec
    for values in (case.values, {}):
        if case.instrument == "mortise" and not values:
            continue  # single parameters carry nothing that could stay
        encoded = codec.encode(
            case.message, values, case.address, base=case.bytes, form=case.form, name=case.name or None
        )  # type: ignore[arg-type]
        assert encoded == case.bytes


@pytest.mark.parametrize("case", [case for case in CASES if case.whole], ids=lambda case: case.instrument)
def test_values_alone_give_the_bytes_where_nothing_else_is_in_them(case: Case) -> None:
    encoded = chart_of(case).codec.encode(
        case.message, case.values, case.address, form=case.form, name=case.name or None, **case.slots
    )  # type: ignore[arg-type]
    assert encoded == case.bytes


@BY_CASE
def test_recognising(case: Case) -> None:
    codec = chart_of(case).codec
    for raw in case.bytes:
        found = codec.recognise(raw, case.address)
        assert found is not None
        assert found.message in (case.message, *codec.messages[case.message].sequence)
        assert found.form == case.form
        assert codec.recognise(raw[:1] + b"\x41" + raw[2:], case.address) is None
    if case.instrument != "mortise":
        other = Address(case.address.channel, (case.address.device + 1) % 16)
        assert codec.recognise(case.bytes[0], other) is None


@BY_CASE
def test_another_parser_takes_every_message(case: Case) -> None:
    """mido 1.3.3 parses single complete messages."""
    for raw in case.bytes:
        assert bytes(mido.Message.from_bytes(raw).bytes()) == raw


@pytest.mark.parametrize(
    ("instrument", "message", "device", "slots", "expected"),
    [
        ("thimble", "edit", 16, {}, ["F0 7D 10 01 F7"]),
        ("thimble", "edit", 127, {}, ["F0 7D 7F 01 F7"]),  # all call
        ("wicker", "edit", 5, {}, ["F0 00 7F 7F 35 10 F7"]),
        ("sluice", "program", 3, {"bank": 1, "program": 4}, ["F0 7D 23 30 01 05 F7"]),
        ("trestle", "program", 0, {"program": 3}, ["F0 7D 00 50 03 F7"]),
        (
            "gantry",
            "patch",
            16,
            {"program": 0},
            # 16+6 = 22 -> 106 = 6A; 16+1+4 = 21 -> 107 = 6B
            ["F0 7D 10 42 11 10 00 00 00 00 06 6A F7", "F0 7D 10 42 11 10 01 00 00 00 04 6B F7"],
        ),
        (
            "gantry",
            "patch",
            16,
            {"program": 1},
            # 16+16+6 = 38 -> 90 = 5A; 16+17+4 = 37 -> 91 = 5B
            ["F0 7D 10 42 11 10 10 00 00 00 06 5A F7", "F0 7D 10 42 11 10 11 00 00 00 04 5B F7"],
        ),
        ("ratchet", "part", 16, {"part": 3}, ["F0 7D 10 06 01 00 50 00 00 08 F7"]),
        ("spindle", "edit", 16, {}, ["F0 7D 10 5F F7"]),
        ("mortise", "setup", 16, {}, ["F0 7D 22 1C F7"]),
        ("culvert", "program", 16, {"part": 2, "program": 1}, ["F0 7D 10 12 01 F7"]),
        ("culvert", "all", 16, {}, ["F0 7D 10 30 F7"]),
        # part 3 on channel 3, six bytes on the wire: 2 + 2 + 6 = 10 -> 118 = 76; 2 bytes of the other map -> 7E
        ("parapet", "part", 16, {}, ["F0 7D 10 51 11 02 02 00 00 00 00 00 06 76 F7"]),
        ("parapet", "system", 16, {}, ["F0 7D 10 51 11 00 00 00 00 00 00 00 02 7E F7"]),
        ("capstan", "edit", 16, {}, ["F0 7D 10 5F F7"]),
        ("brazier", "voice", 5, {"program": 9}, ["F0 7D 25 5A 0E 0F 09 F7"]),
        ("orlop", "edit", 16, {}, ["F0 7D 10 7F F7"]),
    ],
)
def test_requests(instrument: str, message: str, device: int, slots: dict[str, int], expected: list[str]) -> None:
    codec = invented(instrument).codec
    address = Address(2, device)
    requests = codec.requests(message, address, **slots)
    assert requests == tuple(bytes.fromhex(text) for text in expected)
    for raw in requests:
        found = codec.recognise(raw, Address(2, 16 if device == 127 else device))
        assert found is not None
        assert (found.message, found.form) == (message, "request") or instrument == "gantry"
        assert found.form == "request"


def test_a_write_of_its_own_form() -> None:
    """Cairn is written with 41 where it answers with 40; neither checksum covers that byte."""
    codec = invented("cairn").codec
    (written,) = codec.encode("edit", CAIRN.values, CAIRN.address, base=CAIRN.bytes[0])
    assert written == CAIRN.bytes[0].replace(b"\x10\x40", b"\x10\x41")


def test_commands_carry_nothing() -> None:
    codec = invented("mortise").codec
    assert codec.encode("unlock", {}, Address(2)) == (bytes.fromhex("F0 7D 22 0D 00 F7"),)
    assert codec.encode("store", {}, Address(2), program=7) == (bytes.fromhex("F0 7D 22 0C 07 F7"),)


def test_what_can_be_done_with_a_message() -> None:
    info = invented("spindle").codec.messages["edit"]
    assert (info.messages, info.length) == (5, 7 + 15 + 15 + 14 + 5)
    assert info.forms == {"request", "answer", "write"}
    gantry = invented("gantry").codec.messages
    assert (gantry["patch"].messages, gantry["patch"].length) == (3, 14 + 12 + 14)
    assert gantry["patch"].slots == {"program": (0, 7)}
    assert gantry["patch"].name_size == 4
    assert gantry["one"].single_parameter
    assert invented("culvert").codec.messages["all"].each == "program"
    assert invented("culvert").codec.messages["all"].programs == 3
    assert invented("ferrule").codec.messages["edit"].length is None
    assert invented("tallow").codec.messages["bank"].programs == 2
