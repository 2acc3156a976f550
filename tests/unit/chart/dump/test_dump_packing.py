"""Packings. The table is that of the project's notes on published formats, each row worked there by two methods;
file_dump is the file dump of the MIDI 1.0 Detailed Specification 4.2.1 p.43, the others are common practice.
The second computation here writes every scheme as text of bits.
"""

from __future__ import annotations

from collections.abc import Callable

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump.steps.packing import INSIDE, PACKING_NAMES, PACKINGS, NotPacked, PackingName

S1 = "85"
S7 = "FF 00 81 7F 80 01 55"
S10 = "00 01 7F 80 FF 55 AA F0 F7 12"

TABLE: dict[PackingName, tuple[str, str, str]] = {
    "file_dump": ("40 05", "54 7F 00 01 7F 00 01 55", "0D 00 01 7F 00 7F 55 2A 60 70 77 12"),
    "reversed": ("01 05", "15 7F 00 01 7F 00 01 55", "58 00 01 7F 00 7F 55 2A 03 70 77 12"),
    "file_dump_after": ("05 40", "7F 00 01 7F 00 01 55 54", "00 01 7F 00 7F 55 2A 0D 70 77 12 60"),
    "reversed_after": ("05 01", "7F 00 01 7F 00 01 55 15", "00 01 7F 00 7F 55 2A 58 70 77 12 03"),
    "nibbles_high": (
        "08 05",
        "0F 0F 00 00 08 01 07 0F 08 00 00 01 05 05",
        "00 00 00 01 07 0F 08 00 0F 0F 05 05 0A 0A 0F 00 0F 07 01 02",
    ),
    "nibbles_low": (
        "05 08",
        "0F 0F 00 00 01 08 0F 07 00 08 01 00 05 05",
        "00 00 01 00 0F 07 00 08 0F 0F 05 05 0A 0A 00 0F 07 0F 02 01",
    ),
    "split_high": (
        "01 05",
        "01 7F 00 00 01 01 00 7F 01 00 00 01 00 55",
        "00 00 00 01 00 7F 01 00 01 7F 00 55 01 2A 01 70 01 77 00 12",
    ),
    "split_low": (
        "05 01",
        "7F 01 00 00 01 01 7F 00 00 01 01 00 55 00",
        "00 00 01 00 7F 00 00 01 7F 01 55 00 2A 01 70 01 77 01 12 00",
    ),
    "bitstream": ("42 40", "7F 40 10 17 7C 00 02 55", "00 00 2F 78 07 7D 2B 2A 78 3D 62 20"),
}


def bits_of(data: bytes, width: int = 8) -> str:
    return "".join(f"{byte:0{width}b}" for byte in data)


def by_bits(name: PackingName) -> Callable[[bytes], bytes]:
    """The same scheme worked with texts of 0 and 1, group by group."""

    def grouped(raw: bytes, *, turned: bool, after: bool) -> bytes:
        out: list[int] = []
        for start in range(0, len(raw), 7):
            group = raw[start : start + 7]
            tops = "".join(f"{byte:08b}"[0] for byte in group).ljust(7, "0")
            top = int(tops[::-1] if turned else tops, 2)
            lows = [int(f"{byte:08b}"[1:], 2) for byte in group]
            out += [*lows, top] if after else [top, *lows]
        return bytes(out)

    def paired(raw: bytes, cut: int, *, swap: bool) -> bytes:
        out: list[int] = []
        for byte in raw:
            high, low = f"{byte:08b}"[:cut], f"{byte:08b}"[cut:]
            out += [int(low, 2), int(high, 2)] if swap else [int(high, 2), int(low, 2)]
        return bytes(out)

    def stream(raw: bytes) -> bytes:
        bits = bits_of(raw)
        bits += "0" * (-len(bits) % 7)
        return bytes(int(bits[at : at + 7], 2) for at in range(0, len(bits), 7))

    return {
        "plain": lambda raw: raw,
        "file_dump": lambda raw: grouped(raw, turned=False, after=False),
        "reversed": lambda raw: grouped(raw, turned=True, after=False),
        "file_dump_after": lambda raw: grouped(raw, turned=False, after=True),
        "reversed_after": lambda raw: grouped(raw, turned=True, after=True),
        "nibbles_high": lambda raw: paired(raw, 4, swap=False),
        "nibbles_low": lambda raw: paired(raw, 4, swap=True),
        "split_high": lambda raw: paired(raw, 1, swap=False),
        "split_low": lambda raw: paired(raw, 1, swap=True),
        "bitstream": stream,
    }[name]


@pytest.mark.parametrize("name", TABLE)
def test_published_samples(name: PackingName) -> None:
    packing = PACKINGS[name]
    for raw, packed in zip((S1, S7, S10), TABLE[name], strict=True):
        assert packing.pack(bytes.fromhex(raw)) == bytes.fromhex(packed)
        assert packing.unpack(bytes.fromhex(packed)) == bytes.fromhex(raw)


@pytest.mark.parametrize(
    ("packed", "name", "raw"),
    [
        ("00 00 2F 78 07 7D 2B 2A 78 3D 62 20", "bitstream", S10),  # V39
        ("58 00 01 7F 00 7F 55 2A 03 70 77 12", "reversed", S10),  # V40
        ("40 05", "file_dump", "85"),  # V41
        ("05 08 02 01", "nibbles_low", "85 12"),  # V42
        ("0D 00 01 7F 00 7F 55 2A 60 70 77 12", "file_dump", S10),  # data of V38, M1 p.43
    ],
)
def test_vectors(packed: str, name: PackingName, raw: str) -> None:
    assert PACKINGS[name].unpack(bytes.fromhex(packed)) == bytes.fromhex(raw)


@pytest.mark.parametrize(
    ("name", "raw", "packed"),
    [
        # 85 = 1000 0101: bits 0-6 are 05, bit 7 is the lowest of the next byte
        ("bitstream_low", "85", "05 01"),
        # FF 00 81: 7F | 1 + 000000 -> 01 | 00 then 81 from bit 0: 00 + 1 000000 -> bits 6-7 of 00, 0-4 of 81 = 00001
        # the stream from its lowest bit: 11111111 00000000 10000001 -> 1111111 1000000 0010000 001
        ("bitstream_low", "FF 00 81", "7F 01 04 04"),
        ("hex", "85 0A F0", "38 35 30 41 46 30"),
    ],
)
def test_packings_that_are_seldom(name: PackingName, raw: str, packed: str) -> None:
    """Worked out by hand; common practice, no source."""
    assert PACKINGS[name].pack(bytes.fromhex(raw)) == bytes.fromhex(packed)
    assert PACKINGS[name].unpack(bytes.fromhex(packed)) == bytes.fromhex(raw)


@given(st.binary(max_size=64), st.sampled_from(["bitstream_low", "hex"]))
def test_seldom_packings_there_and_back(raw: bytes, name: PackingName) -> None:
    packing = PACKINGS[name]
    packed = packing.pack(raw)
    assert packed.isascii()
    assert len(packed) == packing.packed_size(len(raw))
    assert packing.raw_size(len(packed)) == len(raw)
    assert packing.unpack(packed) == raw
    if name == "bitstream_low":  # the definition: bits from the lowest on, seven a byte
        bits = "".join(f"{byte:08b}"[::-1] for byte in raw)
        sevens = [bits[at : at + 7].ljust(7, "0")[::-1] for at in range(0, len(bits), 7)]
        assert packed == bytes(int(seven, 2) for seven in sevens)


@pytest.mark.parametrize("data", ["38 35 30", "38 61", "00 00"])
def test_what_is_no_hexadecimal_text(data: str) -> None:
    with pytest.raises(NotPacked):
        PACKINGS["hex"].unpack(bytes.fromhex(data))


def test_the_wrong_order_decodes_without_an_error() -> None:
    """Section 7 of the notes: file_dump read as reversed has the same length and other bytes."""
    packed = PACKINGS["file_dump"].pack(bytes.fromhex(S10))
    assert PACKINGS["reversed"].unpack(packed) == bytes.fromhex("80 01 FF 80 7F 55 2A 70 77 12")


@given(st.binary(max_size=64), st.sampled_from(PACKING_NAMES))
def test_there_and_back_and_by_bits(raw: bytes, name: PackingName) -> None:
    packing = PACKINGS[name]
    if not packing.eight:
        raw = bytes(byte & 0x7F for byte in raw)
    packed = packing.pack(raw)
    assert packed == by_bits(name)(raw)
    assert packing.unpack(packed) == raw
    assert packed.isascii()
    assert len(packed) == packing.packed_size(len(raw))
    assert packing.raw_size(len(packed)) == len(raw)


@given(st.binary(min_size=1, max_size=40), st.sampled_from([name for name in PACKING_NAMES if name != "plain"]))
def test_a_packed_message_is_one_that_mido_takes(raw: bytes, name: PackingName) -> None:
    packed = PACKINGS[name].pack(raw)
    message = mido.Message.from_bytes(b"\xf0\x7d" + packed + b"\xf7")
    assert bytes(message.data)[1:] == packed


@given(st.binary(min_size=1, max_size=30), st.sampled_from(PACKING_NAMES))
def test_which_bytes_a_wire_byte_carries(raw: bytes, name: PackingName) -> None:
    """Changing one raw bit changes exactly the wire bytes that say they carry that byte (packings only move bits)."""
    packing = PACKINGS[name]
    size = len(raw)
    carried: dict[int, set[int]] = {place: set() for place in range(packing.packed_size(size))}
    for at in range(size):
        for bit in range(8 if packing.eight else 7):
            one = bytearray(size)
            one[at] = 1 << bit
            for place, byte in enumerate(packing.pack(bytes(one))):
                if byte:
                    carried[place].add(at)
    assert {place: set(packing.carries(place, size)) for place in carried} == carried


@given(st.binary(min_size=5, max_size=40), st.binary(min_size=5, max_size=40), st.sampled_from(PACKING_NAMES))
def test_packing_keeps_differences(one: bytes, other: bytes, name: PackingName) -> None:
    size = min(len(one), len(other))
    mask = 0xFF if PACKINGS[name].eight else 0x7F
    one, other = (bytes(byte & mask for byte in data[:size]) for data in (one, other))
    both = bytes(a ^ b for a, b in zip(one, other, strict=True))
    pack = PACKINGS[name].pack
    assert pack(both) == bytes(a ^ b for a, b in zip(pack(one), pack(other), strict=True))


@pytest.mark.parametrize("name", ["file_dump", "reversed", "file_dump_after", "reversed_after"])
def test_impossible_group_lengths(name: PackingName) -> None:
    assert PACKINGS[name].raw_size(9) is None
    with pytest.raises(NotPacked, match="9 bytes cannot be groups of 7"):
        PACKINGS[name].unpack(bytes(9))


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("nibbles_high", "0F 10", "Data byte 1 is 10; packed as nibbles_high it must be below 10."),
        ("nibbles_low", "10 01", "Data byte 0 is 10; packed as nibbles_low it must be below 10."),
        ("nibbles_high", "01 02 03", "3 bytes cannot be pairs"),
        ("split_high", "02 01", "Data byte 0 is 02; packed as split_high it must be below 02."),
        ("split_low", "7F 02", "Data byte 1 is 02; packed as split_low it must be below 02."),
        ("plain", "00 80", "Data byte 1 is 80"),
        ("file_dump", "00 80", "Data byte 1 is 80"),
        ("bitstream", "80 00", "Data byte 0 is 80"),
    ],
)
def test_what_cannot_have_been_packed(name: PackingName, data: str, sentence: str) -> None:
    with pytest.raises(NotPacked) as refused:
        PACKINGS[name].unpack(bytes.fromhex(data))
    assert sentence in str(refused.value)


def test_plain_data_stays_below_80() -> None:
    with pytest.raises(NotPacked, match="Byte 1 is 80"):
        PACKINGS["plain"].pack(b"\x7f\x80")
    assert INSIDE.pack(b"\xff") == INSIDE.unpack(b"\xff") == b"\xff"
