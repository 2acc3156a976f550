"""What no field claims is kept: bytes of a dump that was received go back as they came."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump import DumpRefused, NotAddressable, NotStorable, NotWritable, UnknownValues
from librarian.chart.dump.steps.checksum import checksum
from librarian.messages import ALL_CALL, Address
from tests.dumped import codec_of, invented, specs

ADDRESS = Address(2, 16)
THIMBLE = bytes.fromhex("F0 7D 10 02 64 3F 3F 01 01 40 02 2A 46 4F 47 42 45 4C 4C 20 20 20 65 F7")


def thimble_of(data: bytes) -> bytes:
    """A Thimble dump with these 18 data bytes; the checksum worked here."""
    check = 0
    for byte in data:
        check ^= byte
    return bytes.fromhex("F0 7D 10 02") + data + bytes((check, 0xF7))


@given(st.binary(min_size=18, max_size=18))
def test_any_dump_goes_back_to_the_byte(data: bytes) -> None:
    """Also where stored numbers mean nothing: they are odd, never 0, and stay."""
    codec = invented("thimble").codec
    raw = thimble_of(bytes(byte & 0x7F for byte in data))
    decoded = codec.decode(raw, ADDRESS)
    assert codec.encode("edit", decoded.values, ADDRESS, base=raw, form="answer", name=decoded.name) == (raw,)
    wave = raw[10]
    assert decoded.values.get("tone.wave") == (wave if wave < 3 else None)
    assert decoded.odd == (() if wave < 3 else ("tone.wave",))


def test_one_changed_value_changes_its_bytes_and_the_checksum() -> None:
    codec = invented("thimble").codec
    (raw,) = codec.encode("edit", {"tone.level": 101}, ADDRESS, base=THIMBLE)
    assert raw == THIMBLE[:4] + b"\x65" + THIMBLE[5:22] + b"\x64\xf7"  # 64 -> 65, so the XOR changes by 1


def test_the_unexplained_byte_travels_to_another_sound() -> None:
    codec = invented("thimble").codec
    values = {"tone.level": 0, "tone.pan": 0, "tone.pitch": 0, "tone.rate": 0, "tone.wave": 0}
    (raw,) = codec.encode("edit", values, ADDRESS, base=THIMBLE, name="OTHER")
    assert raw[11] == 0x2A
    assert raw[12:22] == b"OTHER     "


def test_unknown_values_are_named_and_never_zero() -> None:
    codec = invented("thimble").codec
    with pytest.raises(UnknownValues, match=r"tone\.pan, tone\.pitch, tone\.rate, tone\.wave are not known") as refused:
        codec.encode("edit", {"tone.level": 1}, ADDRESS)
    assert set(refused.value.parameters) == {"tone.pan", "tone.pitch", "tone.rate", "tone.wave"}
    with pytest.raises(UnknownValues, match=r"The value of tone\.level is not known"):
        codec.encode("edit", {"tone.pan": 0, "tone.pitch": 0, "tone.rate": 0, "tone.wave": 0}, ADDRESS)


def test_a_value_outside_the_field_is_refused() -> None:
    with pytest.raises(NotStorable, match=r"tone\.pan is 64; this dump can hold -64 to 63"):
        invented("thimble").codec.encode("edit", {"tone.pan": 64}, ADDRESS, base=THIMBLE)


def test_a_name_that_does_not_fit_is_refused() -> None:
    with pytest.raises(NotWritable, match="has 12 characters; the instrument stores 10"):
        invented("thimble").codec.encode("edit", {}, ADDRESS, base=THIMBLE, name="TWELVE CHARS")


def test_a_dump_of_one_device_is_written_to_another() -> None:
    codec = invented("thimble").codec
    (raw,) = codec.encode("edit", {}, Address(2, 17), base=THIMBLE)
    assert raw == THIMBLE.replace(b"\x7d\x10", b"\x7d\x11")
    (raw,) = codec.encode("edit", {}, Address(2, ALL_CALL), base=THIMBLE)
    assert raw == THIMBLE, "the device of the dump is kept where none is known"


def test_no_device_id_no_message() -> None:
    """Wicker's device is a nibble: all call does not fit into it."""
    with pytest.raises(NotAddressable, match="device ID is not known"):
        invented("wicker").codec.request("edit", Address(2, ALL_CALL))
    with pytest.raises(NotAddressable, match="device number 17 does not exist"):
        invented("wicker").codec.request("edit", Address(2, 17))


def test_slots_that_are_missing_or_outside() -> None:
    codec = invented("sluice").codec
    with pytest.raises(NotAddressable, match="needs a program number"):
        codec.request("program", Address(2, 3), bank=0)
    with pytest.raises(NotAddressable, match="program number 32 does not exist; the chart says 0 to 31"):
        codec.request("program", Address(2, 3), bank=0, program=32)


def test_reserved_bytes_and_slots_stay_unless_said() -> None:
    codec = invented("culvert").codec
    raw = bytes.fromhex(
        "F0 7D 10 23 02 7A 7B 7F 00 01 7F 00 01 55 54 55 05 01 00 01 7F 00 7F 55 2A 58 70 77 12 03 60 F7"
    )
    assert codec.encode("program", {}, ADDRESS, base=raw) == (raw,)
    (moved,) = codec.encode("program", {}, ADDRESS, base=raw, part=1, program=0)
    assert moved == raw[:3] + b"\x21\x00" + raw[5:], "the checksum does not cover the address"
    decoded = codec.decode(raw, ADDRESS)
    (fresh,) = codec.encode("program", decoded.values, ADDRESS, part=1, program=0)
    assert fresh[5:7] == b"\x01\x01", "without a dump, reserved bytes have their fill"


def test_bits_of_the_packing_that_carry_no_data_are_kept() -> None:
    """Cairn's short last group has top bits for three bytes; an instrument may leave anything in the other four."""
    codec = invented("cairn").codec
    raw = bytearray.fromhex("F0 7D 10 40 0D 00 01 7F 00 7F 55 2A 60 70 77 12 6B 64 F7")
    raw[12] |= 0x0F
    raw[17] = checksum("sum", bytes(raw[4:16]))
    decoded = codec.decode(bytes(raw), ADDRESS)
    assert codec.encode("edit", decoded.values, ADDRESS, base=bytes(raw), form="answer") == (bytes(raw),)
    (changed,) = codec.encode("edit", {"vco.h": 0}, ADDRESS, base=bytes(raw), form="answer")
    assert changed[12] & 0x0F == 0x0F
    assert codec.decode(changed, ADDRESS).values["vco.h"] == 0


def test_both_zeros_of_sign_and_amount_survive() -> None:
    codec = invented("wicker").codec
    raw = bytearray.fromhex("F0 00 7F 7F 35 20 0F 0E 08 00 0A 0A 05 0A 0F 0F 0F 0E 04 00 00 F7")
    raw[20] = checksum("twos", bytes(raw[4:20]))
    decoded = codec.decode(bytes(raw), Address(2, 5))
    assert decoded.values["osc.b"] == 0
    assert codec.encode("edit", decoded.values, Address(2, 5), base=bytes(raw)) == (bytes(raw),)


def test_a_dump_of_another_layout_gives_values_only() -> None:
    """Ferrule's old dump over a new one: the values that are not given come along, the bytes cannot."""
    codec = invented("ferrule").codec
    old = bytes.fromhex("F0 7D 10 21 01 0C 08 00 01 0C 09 55 F7")
    (new,) = codec.encode("edit", {"filter.reso": 200}, ADDRESS, base=old, version=2)
    # 00 C8 C8, inside 00 + C8 + C8 = 190, & FF = 90; nibbles 0+0+12+8+12+8+9+0 = 49, + 2 = 51, 128 - 51 = 77 = 4D
    assert new == bytes.fromhex("F0 7D 10 21 02 00 00 0C 08 0C 08 09 00 4D F7")
    (again,) = codec.encode("edit", {}, ADDRESS, base=old)
    assert again == old, "the version of the dump is kept where none is asked for"
    with pytest.raises(NotAddressable, match="has no version 3"):
        codec.encode("edit", {}, ADDRESS, base=old, version=3)


def test_a_version_inside_the_packed_data() -> None:
    """Both layouts give messages of the same length: only the unpacked version byte tells them apart."""
    codec = codec_of(
        """
        [message.edit]
        answer = "F0 7D {device} 01 {block} F7"
        parts.block = { is = "group", holds = "{version} {patch}", packing = "nibbles_high" }
        parts.version = { is = "version", digit = 8 }
        parts.patch = { is = "data", layouts = { "1" = "old", "200" = "new" } }
        [layout.old]
        fields = ["a", "b"]
        [layout.new]
        fields = ["b", "a"]
        """,
        specs(("a", 0, 255), ("b", 0, 255)),
    )
    old = bytes.fromhex("F0 7D 10 01 00 01 0A 0B 0C 0D F7")
    new = bytes.fromhex("F0 7D 10 01 0C 08 0A 0B 0C 0D F7")
    assert dict(codec.decode(old, ADDRESS).values) == {"a": 0xAB, "b": 0xCD}
    assert dict(codec.decode(new, ADDRESS).values) == {"a": 0xCD, "b": 0xAB}
    assert codec.encode("edit", {"a": 0xAB, "b": 0xCD}, ADDRESS, version=1) == (old,)
    assert codec.encode("edit", {"a": 0xCD, "b": 0xAB}, ADDRESS) == (new,), "the highest version where none is said"
    assert codec.encode("edit", {}, ADDRESS, base=old) == (old,)
    with pytest.raises(DumpRefused, match="The dump has version 2; the chart knows 1 and 200"):
        codec.decode(bytes.fromhex("F0 7D 10 01 00 02 0A 0B 0C 0D F7"), ADDRESS)


def test_a_base_that_is_no_dump_is_refused() -> None:
    with pytest.raises(DumpRefused, match="checksum"):
        invented("thimble").codec.encode("edit", {}, ADDRESS, base=THIMBLE[:-2] + b"\x00\xf7")


def test_gaps_have_their_fill_where_nothing_came() -> None:
    codec = codec_of(
        """
        [message.edit]
        answer = "F0 7D {device} 01 {data} F7"
        parts.data = { is = "data", layout = "patch" }
        [layout.patch]
        size = 6
        fill = 3
        fields = ["a", { gap = 2, fill = 9 }, "b"]
        """,
        specs(("a", 0, 127), ("b", 0, 127)),
    )
    assert codec.encode("edit", {"a": 1, "b": 2}, ADDRESS) == (bytes.fromhex("F0 7D 10 01 01 09 09 02 03 03 F7"),)
