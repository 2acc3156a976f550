"""Numbers in dumps: every row of the project's table of number formats (common practice; left-justified words are
MIDI 1.0 Detailed Specification 4.2.1 p.39). Second computation: texts of bits.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump.steps.number import (
    Coding,
    CodingName,
    Order,
    pieces_of_digits,
    read_digits,
    read_pieces,
    write_digits,
    write_pieces,
)


@pytest.mark.parametrize(
    ("value", "size", "order", "digit", "written"),
    [
        (8193, 2, "lsb_first", 7, "01 40"),
        (8193, 2, "msb_first", 7, "40 01"),
        (0xFFFE, 3, "msb_first", 7, "03 7F 7E"),
        (0x1234, 4, "lsb_first", 4, "04 03 02 01"),
        (262186, 3, "msb_first", 7, "10 00 2A"),
        (0x00007F + 1, 3, "msb_first", 7, "00 01 00"),
        (1000, 4, "lsb_first", 7, "68 07 00 00"),
        (0x1234, 2, "msb_first", 8, "12 34"),
    ],
)
def test_digits(value: int, size: int, order: Order, digit: int, written: str) -> None:
    assert write_digits(value, size, order, digit) == bytes.fromhex(written)
    assert read_digits(bytes.fromhex(written), order, digit) == value


@pytest.mark.parametrize(
    ("name", "bits", "pairs"),
    [
        ("offset", 7, {-64: "00", -1: "3F", 0: "40", 63: "7F"}),
        ("twos", 7, {-64: "40", -1: "7F", 0: "00", 63: "3F"}),
        (
            "offset",
            14,
            {-8192: "00 00", -127: "3F 01", -1: "3F 7F", 0: "40 00", 127: "40 7F", 8191: "7F 7F"},
        ),
        ("twos", 14, {-8192: "40 00", -127: "7F 01", -1: "7F 7F", 0: "00 00", 127: "00 7F", 8191: "3F 7F"}),
    ],
)
def test_signs(name: CodingName, bits: int, pairs: dict[int, str]) -> None:
    coding = Coding(bits, name)
    for value, written in pairs.items():
        raw = bytes.fromhex(written)
        assert write_digits(coding.encode(value), len(raw)) == raw
        assert coding.decode(read_digits(raw)) == value


def test_vector_v43() -> None:
    """V43: `3F 7F` is -1 as 14-bit offset binary, MSB first."""
    assert Coding(14, "offset").decode(read_digits(bytes.fromhex("3F 7F"), "msb_first")) == -1


def test_bit_fields_of_one_byte() -> None:
    """5A: bits 0-3, 4-5, 6 are 10, 1, 1."""
    fields = [pieces_of_digits(0, 1, "msb_first", 7, low, high) for low, high in ((0, 3), (4, 5), (6, 6))]
    assert [read_pieces(b"\x5a", pieces) for pieces in fields] == [10, 1, 1]


def test_left_justified_word() -> None:
    """12 bits FFF in two 7-bit bytes: 7F 7C, M1 p.39."""
    pieces = pieces_of_digits(0, 2, "msb_first", 7, 2, 13)
    assert read_pieces(bytes.fromhex("7F 7C"), pieces) == 0xFFF
    out = bytearray(2)
    write_pieces(out, pieces, 0xFFF)
    assert out == bytes.fromhex("7F 7C")


@pytest.mark.parametrize(
    ("coding", "value", "raw"),
    [
        (Coding(8, "sign"), -5, 0x85),
        (Coding(8, "sign"), 5, 0x05),
        (Coding(8, "plain", None, True), 85, 0xAA),
        (Coding(8, "offset", 100), -36, 64),
        (Coding(7, "offset", -1), 1, 0),
        (Coding(7, codes=(0, 3, 12, 64), first=0), 2, 12),
        (Coding(7, codes=(9, 1), first=-1), -1, 9),
    ],
)
def test_other_codings(coding: Coding, value: int, raw: int) -> None:
    assert coding.encode(value) == raw
    assert coding.decode(raw) == value


def test_two_zeros_of_sign_and_amount() -> None:
    assert Coding(8, "sign").decode(0x80) == Coding(8, "sign").decode(0x00) == 0


def test_a_code_that_stands_for_nothing() -> None:
    assert Coding(7, codes=(0, 3)).decode(1) is None


def test_what_does_not_fit() -> None:
    with pytest.raises(OverflowError):
        write_digits(128, 1)
    with pytest.raises(OverflowError):
        Coding(7, "offset").encode(64)


_names: st.SearchStrategy[CodingName] = st.sampled_from(["plain", "offset", "twos", "sign"])


@given(_names, st.integers(1, 20), st.booleans(), st.data())
def test_codings_there_and_back(name: CodingName, bits: int, inverted: bool, data: st.DataObject) -> None:
    coding = Coding(bits, name, None, inverted)
    low, high = coding.limits()
    value = data.draw(st.integers(low, high))
    raw = coding.encode(value)
    assert 0 <= raw < 2**bits
    assert coding.decode(raw) == value


@given(st.integers(1, 6), st.sampled_from(["msb_first", "lsb_first"]), st.sampled_from([4, 7, 8]), st.data())
def test_pieces_by_text_of_bits(count: int, order: Order, digit: int, data: st.DataObject) -> None:
    """Digits as texts of bits, joined in order and cut at `low`..`high`, give the same number; no other bit changes."""
    low = data.draw(st.integers(0, count * digit - 1))
    high = data.draw(st.integers(low, count * digit - 1))
    raw = data.draw(st.binary(min_size=count + 3, max_size=count + 3))
    pieces = pieces_of_digits(2, count, order, digit, low, high)
    words = [f"{byte:08b}"[8 - digit :] for byte in raw[2 : 2 + count]]
    joined = "".join(words if order == "msb_first" else reversed(words))
    end = len(joined) - low
    expected = int(joined[end - (high - low + 1) : end], 2)
    assert read_pieces(raw, pieces) == expected
    value = data.draw(st.integers(0, 2 ** (high - low + 1) - 1))
    out = bytearray(raw)
    write_pieces(out, pieces, value)
    assert read_pieces(out, pieces) == value
    write_pieces(out, pieces, expected)
    assert bytes(out) == raw
