"""Eight-bit data in seven-bit bytes: every packing that published dump formats use, both ways.

| name | what goes on the wire |
| --- | --- |
| plain | the bytes as they are, all below 80h |
| file_dump | groups of 7: first their top bits (first byte's in bit 6), then the 7 low parts |
| reversed | the same with the first byte's top bit in bit 0 |
| file_dump_after, reversed_after | as these two, the byte of top bits after its group |
| nibbles_high, nibbles_low | two bytes of four bits each, the high or the low one first |
| split_high, split_low | 1 + 7 bits, the top bit first, or 7 + 1 bits, the top bit last |
| bitstream | one stream of bits, MSB first, 7 a byte, the last byte filled with 0 at the right |
| bitstream_low | one stream of bits, LSB first: the first byte carries bits 0-6, the next bit 7 and bits 0-5, ... |
| hex | two characters 0-9 A-F (30-39, 41-46) for each byte |

file_dump is the file dump of the MIDI 1.0 Detailed Specification 4.2.1 p.43; the others are common practice.
All work on columns (every 7th or 8th byte at once), because a bank of a megabyte has to be unpacked in milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

from librarian.errors import BadInput

PackingName = Literal[
    "plain", "file_dump", "reversed", "file_dump_after", "reversed_after",
    "nibbles_high", "nibbles_low", "split_high", "split_low", "bitstream", "bitstream_low", "hex",
]  # fmt: skip
PACKING_NAMES: tuple[PackingName, ...] = get_args(PackingName)[:-2]
"""The usual ones, all of which only move bits about."""


class NotPacked(BadInput):
    """Bytes that this packing cannot have produced: the sentence says which byte, or which length."""


@dataclass(frozen=True, slots=True)
class Packing:
    """One scheme. `pack`: bytes 0-255 to bytes 0-127. `unpack`: its inverse (`NotPacked` if there is none).

    `packed_size(n)`: wire bytes for n raw bytes. `raw_size(m)`: raw bytes in m wire bytes, None if m is impossible.
    `carries(place, n)`: of n raw bytes, which have bits in wire byte `place`. `eight`: carries values above 7Fh.
    `linear`: both directions only move bits about: pack(a ^ b) == pack(a) ^ pack(b).
    """

    name: PackingName
    pack: Callable[[bytes], bytes]
    unpack: Callable[[bytes], bytes]
    packed_size: Callable[[int], int]
    raw_size: Callable[[int], int | None]
    carries: Callable[[int, int], range]
    eight: bool = True
    linear: bool = True


def _table(function: Callable[[int], int]) -> bytes:
    return bytes(function(byte) & 0xFF for byte in range(256))


_LOW7 = _table(lambda byte: byte & 0x7F)
_HIGH_NIBBLE = _table(lambda byte: byte >> 4)
_LOW_NIBBLE = _table(lambda byte: byte & 0x0F)
_NIBBLE_UP = _table(lambda byte: byte << 4)
_TOP = _table(lambda byte: byte >> 7)
_TOP_UP = _table(lambda byte: byte << 7)
_LEFT = tuple(_table(lambda byte, by=by: byte << by) for by in range(9))  # type: ignore[misc]
_RIGHT = tuple(_table(lambda byte, by=by: byte >> by) for by in range(9))  # type: ignore[misc]
_TOP_AS_DIGIT = _table(lambda byte: ord("1") if byte & 0x80 else ord("0"))
# [first byte in bit 6][byte of top bits] -> seven bytes of 00 or 80
_SPREAD = tuple(
    tuple(bytes((top >> (6 - place if first else place) & 1) << 7 for place in range(7)) for top in range(128))
    for first in (False, True)
)


def _either(one: bytes | bytearray, other: bytes) -> bytes:
    """Two equally long columns ORed."""
    return (int.from_bytes(one, "big") | int.from_bytes(other, "big")).to_bytes(len(one), "big")


def _first_at_or_above(data: bytes, limit: int) -> int | None:
    return next((at for at, byte in enumerate(data) if byte >= limit), None)


def _seven_bit(data: bytes) -> bytes:
    if not data.isascii():
        at = _first_at_or_above(data, 0x80)
        raise NotPacked(f"Data byte {at} is {data[at or 0]:02X}; on the wire it must be below 80.")
    return data


# --- groups of seven with a byte of top bits -----------------------------------------------------------------------


def _bit(place: int, first_in_bit_6: bool) -> int:
    return 6 - place if first_in_bit_6 else place


def _pack_groups(raw: bytes, first_in_bit_6: bool) -> bytes:
    groups = -(-len(raw) // 7)
    lows, tops = raw.translate(_LOW7), raw.translate(_TOP_AS_DIGIT)
    out = bytearray(len(raw) + groups)
    digits = bytearray(b"0") * (8 * groups)  # the bytes of top bits, written as binary digits
    for place in range(7):
        out[place + 1 :: 8] = lows[place::7]
        column = tops[place::7]
        digits[7 - _bit(place, first_in_bit_6) : 8 * len(column) : 8] = column
    if groups:
        out[0::8] = int(digits, 2).to_bytes(groups, "big")
    return bytes(out)


def _unpack_groups(data: bytes, first_in_bit_6: bool) -> bytes:
    _seven_bit(data)
    lows = bytearray(data)
    tops = data[0::8]
    del lows[0::8]
    if not any(tops):
        return bytes(lows)
    spread = _SPREAD[first_in_bit_6]
    return _either(lows, b"".join([spread[top] for top in tops])[: len(lows)])


def _to_after(data: bytes) -> bytes:
    """Moves each byte of top bits from before its group to behind it (short last group too)."""
    whole = len(data) & ~7
    out = bytearray(data)
    for place in range(7):
        out[place:whole:8] = data[place + 1 : whole : 8]
    out[7:whole:8] = data[0:whole:8]
    if whole < len(data):
        out[whole:] = data[whole + 1 :] + data[whole : whole + 1]
    return bytes(out)


def _to_before(data: bytes) -> bytes:
    """The inverse of `_to_after`: a short last group is known by the total length, its last byte is the top bits."""
    whole = len(data) & ~7
    out = bytearray(data)
    for place in range(7):
        out[place + 1 : whole : 8] = data[place:whole:8]
    out[0:whole:8] = data[7:whole:8]
    if whole < len(data):
        out[whole:] = data[-1:] + data[whole:-1]
    return bytes(out)


def _groups_packed_size(raw: int) -> int:
    return raw + -(-raw // 7)


def _groups_raw_size(packed: int) -> int | None:
    return None if packed % 8 == 1 else packed - -(-packed // 8)


def _groups_carry(place: int, raw: int) -> range:
    group, inside = divmod(place, 8)
    first = 7 * group
    return range(first, min(first + 7, raw)) if inside == 0 else range(first + inside - 1, first + inside)


def _groups_after_carry(place: int, raw: int) -> range:
    group, inside = divmod(place, 8)
    first = 7 * group
    size = min(7, raw - first)
    return range(first, first + size) if inside == size else range(first + inside, first + inside + 1)


def _grouped(name: PackingName, *, first_in_bit_6: bool, after: bool) -> Packing:
    def pack(raw: bytes) -> bytes:
        packed = _pack_groups(raw, first_in_bit_6)
        return _to_after(packed) if after else packed

    def unpack(data: bytes) -> bytes:
        if len(data) % 8 == 1:
            raise NotPacked(f"{len(data)} bytes cannot be groups of 7 with their top bits: the last group is empty.")
        return _unpack_groups(_to_before(data) if after else data, first_in_bit_6)

    return Packing(
        name, pack, unpack, _groups_packed_size, _groups_raw_size, _groups_after_carry if after else _groups_carry
    )


# --- pairs: nibbles, 1 + 7 bits ------------------------------------------------------------------------------------


def _paired(
    name: PackingName, high: bytes, low: bytes, up: bytes, *, high_first: bool, high_limit: int, low_limit: int
) -> Packing:
    """Two wire bytes for each raw one; a wire byte at or above its limit means another packing was used."""
    first, second = (0, 1) if high_first else (1, 0)
    too_high = bytes(range(high_limit))
    too_low = bytes(range(low_limit))

    def pack(raw: bytes) -> bytes:
        out = bytearray(2 * len(raw))
        out[first::2] = raw.translate(high)
        out[second::2] = raw.translate(low)
        return bytes(out)

    def unpack(data: bytes) -> bytes:
        if len(data) % 2:
            raise NotPacked(f"{len(data)} bytes cannot be pairs ({name}): the number is odd.")
        highs, lows = data[first::2], data[second::2]
        # strip() leaves nothing exactly when every byte is one of the allowed
        for part, allowed, limit, place in ((highs, too_high, high_limit, first), (lows, too_low, low_limit, second)):
            if part.strip(allowed):
                at = _first_at_or_above(part, limit) or 0
                raise NotPacked(
                    f"Data byte {2 * at + place} is {part[at]:02X}; packed as {name} it must be below {limit:02X}.",
                    "The data is probably packed in another way: try another `packing` in the chart.",
                )
        return _either(highs.translate(up), lows)

    return Packing(
        name,
        pack,
        unpack,
        lambda raw: 2 * raw,
        lambda packed: None if packed % 2 else packed // 2,
        lambda place, _raw: range(place // 2, place // 2 + 1),
    )


# --- one stream of bits --------------------------------------------------------------------------------------------


def _pack_stream(raw: bytes) -> bytes:
    size = -(-8 * len(raw) // 7)
    padded = raw + bytes(-len(raw) % 7)
    columns = [padded[place::7] for place in range(7)]
    out = bytearray(8 * (len(padded) // 7))
    out[0::8] = columns[0].translate(_RIGHT[1])
    for place in range(1, 7):
        carried = columns[place - 1].translate(_LEFT[7 - place]).translate(_LOW7)
        out[place::8] = _either(carried, columns[place].translate(_RIGHT[place + 1]))
    out[7::8] = columns[6].translate(_LOW7)
    return bytes(out[:size])


def _unpack_stream(data: bytes) -> bytes:
    _seven_bit(data)
    size = 7 * len(data) // 8
    padded = data + bytes(-len(data) % 8)
    columns = [padded[place::8] for place in range(8)]
    out = bytearray(7 * (len(padded) // 8))
    for place in range(7):
        out[place::7] = _either(
            columns[place].translate(_LEFT[place + 1]), columns[place + 1].translate(_RIGHT[6 - place])
        )
    return bytes(out[:size])


def _stream_raw_size(packed: int) -> int | None:
    return None if packed % 8 == 1 else 7 * packed // 8


_FLIP_8 = _table(lambda byte: int(f"{byte:08b}"[::-1], 2))
_FLIP_7 = _table(lambda byte: int(f"{byte & 0x7F:07b}"[::-1], 2))


def _pack_low_stream(raw: bytes) -> bytes:
    return _pack_stream(raw.translate(_FLIP_8)).translate(_FLIP_7)


def _unpack_low_stream(data: bytes) -> bytes:
    return _unpack_stream(_seven_bit(data).translate(_FLIP_7)).translate(_FLIP_8)


_DIGITS = b"0123456789ABCDEF"


def _unpack_hex(data: bytes) -> bytes:
    if len(data) % 2:
        raise NotPacked(f"{len(data)} bytes cannot be pairs (hex): the number is odd.")
    if data.strip(_DIGITS):
        at = next(place for place, byte in enumerate(data) if byte not in _DIGITS)
        raise NotPacked(f"Data byte {at} is {data[at]:02X}, which is none of the characters 0-9 and A-F.")
    return bytes.fromhex(data.decode("ascii"))


# --- all of them ---------------------------------------------------------------------------------------------------


def _stream_carries(place: int, raw: int) -> range:
    return range(7 * place // 8, min((7 * place + 6) // 8 + 1, raw))


def _pack_plain(raw: bytes) -> bytes:
    if not raw.isascii():
        at = _first_at_or_above(raw, 0x80) or 0
        raise NotPacked(f"Byte {at} is {raw[at]:02X}; unpacked (plain) data must be below 80.")
    return raw


PACKINGS: Mapping[PackingName, Packing] = MappingProxyType(
    {
        "plain": Packing(
            "plain",
            _pack_plain,
            _seven_bit,
            lambda raw: raw,
            lambda packed: packed,
            lambda place, _raw: range(place, place + 1),
            eight=False,
        ),
        "file_dump": _grouped("file_dump", first_in_bit_6=True, after=False),
        "reversed": _grouped("reversed", first_in_bit_6=False, after=False),
        "file_dump_after": _grouped("file_dump_after", first_in_bit_6=True, after=True),
        "reversed_after": _grouped("reversed_after", first_in_bit_6=False, after=True),
        "nibbles_high": _paired(
            "nibbles_high", _HIGH_NIBBLE, _LOW_NIBBLE, _NIBBLE_UP, high_first=True, high_limit=0x10, low_limit=0x10
        ),
        "nibbles_low": _paired(
            "nibbles_low", _HIGH_NIBBLE, _LOW_NIBBLE, _NIBBLE_UP, high_first=False, high_limit=0x10, low_limit=0x10
        ),
        "split_high": _paired("split_high", _TOP, _LOW7, _TOP_UP, high_first=True, high_limit=0x02, low_limit=0x80),
        "split_low": _paired("split_low", _TOP, _LOW7, _TOP_UP, high_first=False, high_limit=0x02, low_limit=0x80),
        "bitstream": Packing(
            "bitstream", _pack_stream, _unpack_stream, lambda raw: -(-8 * raw // 7), _stream_raw_size, _stream_carries
        ),
        "bitstream_low": Packing(
            "bitstream_low",
            _pack_low_stream,
            _unpack_low_stream,
            lambda raw: -(-8 * raw // 7),
            _stream_raw_size,
            _stream_carries,
        ),
        "hex": Packing(
            "hex",
            lambda raw: raw.hex().upper().encode("ascii"),
            _unpack_hex,
            lambda raw: 2 * raw,
            lambda packed: None if packed % 2 else packed // 2,
            lambda place, _raw: range(place // 2, place // 2 + 1),
            linear=False,
        ),
    }
)

INSIDE = Packing(
    "plain",
    lambda raw: raw,
    lambda data: data,
    lambda raw: raw,
    lambda packed: packed,
    lambda place, _raw: range(place, place + 1),
)
"""What stands unpacked inside packed data: bytes of 8 bits as they are."""
