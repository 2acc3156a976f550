"""Checksums of dumps. The table and the vectors are those of the project's notes on published dump formats (common
practice, each worked there by two methods); XOR over a universal message is MIDI 1.0 Detailed Specification 4.2.1
p.37-43. Second computations here: bit columns, search, numpy.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump.steps.checksum import CHECKSUM_KINDS, ChecksumKind, checksum, xor_bytes
from librarian.chart.dump.steps.number import write_digits
from librarian.chart.dump.steps.packing import PACKINGS

# kind, bits, bytes, result: rows 1 to 9 of the table (common practice, no source)
TABLE: list[tuple[ChecksumKind, int, str, int]] = [
    ("xor", 7, "7F 05", 0x7A),
    ("xor", 7, "10 00 2A 7F 05", 0x40),
    ("xor", 7, "7D 01 10 00 2A 7F 05", 0x3C),
    ("sum", 7, "10 00 2A 7F 05", 0x3E),
    ("sum", 7, "7D 01 10 00 2A 7F 05", 0x3C),
    ("twos", 7, "10 00 2A 7F 05", 0x42),
    ("twos", 7, "20 40 20 00 00", 0x00),
    ("ones", 7, "10 00 2A 7F 05", 0x41),
    ("sum", 7, "FF 80 01", 0x00),
    ("sum", 14, "FF 80 01 FF FF", 0x037E),
]


@pytest.mark.parametrize(("kind", "bits", "data", "expected"), TABLE)
def test_published_cases(kind: ChecksumKind, bits: int, data: str, expected: int) -> None:
    assert checksum(kind, bytes.fromhex(data), bits=bits) == expected


def test_fourteen_bits_travel_in_either_order() -> None:
    """Row 12: 037E as `06 7E` or `7E 06`; negated modulo 4000h as `79 02`."""
    data = bytes.fromhex("FF 80 01 FF FF")
    total = checksum("sum", data, bits=14)
    assert write_digits(total, 2, "msb_first") == bytes.fromhex("06 7E")
    assert write_digits(total, 2, "lsb_first") == bytes.fromhex("7E 06")
    assert write_digits(checksum("twos", data, bits=14), 2) == bytes.fromhex("79 02")


def test_the_view_matters() -> None:
    """Rows 9 to 11: the same three bytes before packing, packed, and as nibbles."""
    raw = bytes.fromhex("FF 80 01")
    packed = PACKINGS["file_dump"].pack(raw)
    nibbles = PACKINGS["nibbles_high"].pack(raw)
    assert packed == bytes.fromhex("60 7F 00 01")
    assert (checksum("sum", packed), checksum("xor", packed)) == (0x60, 0x1E)
    assert nibbles == bytes.fromhex("0F 0F 08 00 00 01")
    assert checksum("sum", nibbles) == 0x27


@pytest.mark.parametrize(
    ("message", "first", "last", "kind"),
    [
        ("F0 7D 10 00 2A 7F 05 40 F7", 3, 7, "xor"),  # V33
        ("F0 7D 10 00 2A 7F 05 3E F7", 3, 7, "sum"),  # V34
        ("F0 7D 10 00 2A 7F 05 42 F7", 3, 7, "twos"),  # V35
        ("F0 7D 20 40 20 00 00 00 F7", 3, 7, "twos"),  # V36
        # V38: file dump packet, M1 p.43; XOR of everything between F0 and the checksum
        ("F0 7E 10 07 02 00 0B 0D 00 01 7F 00 7F 55 2A 60 70 77 12 66 F7", 2, 19, "xor"),
    ],
)
def test_vectors(message: str, first: int, last: int, kind: ChecksumKind) -> None:
    """Byte 1 is F0; the checksum stands right after byte `last`."""
    raw = bytes.fromhex(message)
    assert checksum(kind, raw[first - 1 : last]) == raw[last]


def test_what_no_checksum_notices() -> None:
    """Swapped bytes and lost zero bytes pass every kind: the length has to be judged as well."""
    whole, swapped, lost = (bytes.fromhex(text) for text in ("10 00 2A 7F 05", "10 2A 00 7F 05", "10 2A 7F 05"))
    for kind in CHECKSUM_KINDS:
        assert checksum(kind, whole) == checksum(kind, swapped) == checksum(kind, lost)


@given(st.binary(max_size=300))
def test_xor_by_bit_columns(data: bytes) -> None:
    columns = [sum(byte >> bit & 1 for byte in data) % 2 << bit for bit in range(8)]
    assert xor_bytes(data) == sum(columns)


@given(st.binary(max_size=300), st.sampled_from([4, 7, 8, 14, 16]), st.integers(0, 300))
def test_sums_by_numpy_and_complements_by_search(data: bytes, bits: int, start: int) -> None:
    total = int(np.frombuffer(data, dtype=np.uint8).astype(np.int64).sum()) + start
    modulus = 2**bits
    assert checksum("sum", data, bits=bits, start=start) == total % modulus
    twos = next(value for value in range(modulus) if (total + value) % modulus == 0)
    ones = next(value for value in range(modulus) if (total + value) % modulus == modulus - 1)
    assert checksum("twos", data, bits=bits, start=start) == twos
    assert checksum("ones", data, bits=bits, start=start) == ones


@given(st.binary(min_size=1, max_size=60), st.data(), st.sampled_from(CHECKSUM_KINDS))
def test_every_single_changed_bit_shows(data: bytes, choice: st.DataObject, kind: ChecksumKind) -> None:
    place = choice.draw(st.integers(0, len(data) - 1))
    bit = choice.draw(st.integers(0, 6))
    changed = bytearray(data)
    changed[place] ^= 1 << bit
    assert checksum(kind, data) != checksum(kind, bytes(changed))
