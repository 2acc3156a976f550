"""Banks: in one message, in packets, as many messages; one program out of a bank and back, to the bit.

The bytes are worked out by hand beside each case (see test_dump_instruments.py for how).
"""

from __future__ import annotations

import pytest

from librarian.chart import load, shipped
from librarian.chart.dump import DumpRefused, ProgramSource, UnknownValues
from librarian.errors import BadInput
from librarian.messages import Address
from tests.dumped import codec_of, invented, specs

TRESTLE = Address(2, 0)
# byte 0: a and d in bit 7, byte 1: b and c, byte 2: e in 7-bit two's complement, six letters; groups of seven with
# their top bits first, the first byte's in bit 0: E4 -> 01, FF as fifth of its group -> 10. Sum of the 42 packed bytes
# 2218, mod 128 = 42, one's complement 85 = 55
BANK = bytes.fromhex(
    "F0 7D 00 52"
    " 01 64 5A 7F 41 4C 44 45"
    " 00 52 20 00 00 00 42 49"
    " 10 52 43 48 20 7F 7F 40"
    " 00 43 45 44 41 52 20 01"
    " 00 11 3F 45 4C 4D 20 20"
    " 00 20"
    " 55 F7"
)
SOUNDS = [
    ("ALDER", {"lfo.a": 100, "lfo.b": 10, "lfo.c": 5, "lfo.d": 1, "lfo.e": -1}),
    ("BIRCH", {"lfo.a": 0, "lfo.b": 0, "lfo.c": 0, "lfo.d": 0, "lfo.e": 0}),
    ("CEDAR", {"lfo.a": 127, "lfo.b": 15, "lfo.c": 7, "lfo.d": 1, "lfo.e": -64}),
    ("ELM", {"lfo.a": 1, "lfo.b": 1, "lfo.c": 1, "lfo.d": 0, "lfo.e": 63}),
]
CEDAR = bytes.fromhex("F0 7D 00 51 02 7F 0F 07 01 00 43 45 44 41 52 20 6A F7")

# the ten bytes of the packing samples as two programs, one stream of bits (vector V39), packets of 5 counted from 1,
# the last one filled; sums of packet number and data: 175 = 01 2F, 393 = 03 09, 133 = 01 05
TALLOW = tuple(
    bytes.fromhex(text)
    for text in (
        "F0 7D 10 70 01 00 00 2F 78 07 01 2F F7",
        "F0 7D 10 70 02 7D 2B 2A 78 3D 03 09 F7",
        "F0 7D 10 70 03 62 20 00 00 00 01 05 F7",
    )
)


def test_a_bank_in_one_message() -> None:
    codec = invented("trestle").codec
    decoded = codec.decode(BANK, TRESTLE)
    assert [(one.number, one.name, dict(one.values)) for one in decoded.programs] == [
        (number, name, values) for number, (name, values) in enumerate(SOUNDS)
    ]
    assert dict(decoded.values) == {}
    assert codec.encode_bank("bank", {}, TRESTLE, base=BANK) == (BANK,)
    sources = {number: ProgramSource(values, name) for number, (name, values) in enumerate(SOUNDS)}
    assert codec.encode_bank("bank", sources, TRESTLE) == (BANK,)


def test_one_program_of_a_bank_changes_alone() -> None:
    codec = invented("trestle").codec
    (changed,) = codec.encode_bank("bank", {3: ProgramSource({"lfo.a": 2})}, TRESTLE, base=BANK)
    assert [place for place in range(len(BANK)) if changed[place] != BANK[place]] == [35, 46]
    assert codec.decode(changed, TRESTLE).programs[3].values["lfo.a"] == 2


def test_the_same_sound_in_two_layouts() -> None:
    """Out of the packed bank into the plain program and back, with the name: nothing is lost."""
    codec = invented("trestle").codec
    assert codec.encode("program", {}, TRESTLE, base=BANK, base_program=2, name="CEDAR", program=2) == (CEDAR,)
    source = ProgramSource({}, "CEDAR", CEDAR)
    assert codec.encode_bank("bank", {2: source}, TRESTLE, base=BANK) == (BANK,)
    everything = {
        number: ProgramSource({}, name, codec.encode("program", values, TRESTLE, name=name, program=number))
        for number, (name, values) in enumerate(SOUNDS)
    }
    assert codec.encode_bank("bank", everything, TRESTLE) == (BANK,)


def test_a_program_that_no_message_of_its_own_can_hold() -> None:
    """Trestle has no message with the packed layout for one program; a program is carried over by values instead."""
    codec = invented("trestle").codec
    assert codec.extract(codec.decode(BANK, TRESTLE), 2, TRESTLE) is None
    with pytest.raises(BadInput, match="The bank has no program 4"):
        codec.extract(codec.decode(BANK, TRESTLE), 4, TRESTLE)
    with pytest.raises(BadInput, match="The bank has no program 7"):
        codec.encode("program", {}, TRESTLE, base=BANK, base_program=7, program=0)


def test_a_bank_needs_every_program() -> None:
    codec = invented("trestle").codec
    with pytest.raises(BadInput, match="needs program 1"):
        codec.encode_bank("bank", {0: ProgramSource(SOUNDS[0][1])}, TRESTLE)
    with pytest.raises(BadInput, match="holds 4 programs"):
        codec.encode("bank", SOUNDS[0][1], TRESTLE)


def test_a_bank_in_packets() -> None:
    codec = invented("tallow").codec
    address = Address(2, 16)
    decoded = codec.decode_all(TALLOW, address)
    assert [[one.values[f"eq.{letter}"] for letter in "abcde"] for one in decoded.programs] == [
        [0, 1, 0x7F, -128, 0xFF],
        [0x55, 0xAA, 0xF0, -9, 0x12],
    ]
    assert codec.encode_bank("bank", {}, address, base=TALLOW) == TALLOW
    sources = {one.number: ProgramSource(one.values) for one in decoded.programs}
    assert codec.encode_bank("bank", sources, address) == TALLOW


def test_what_fills_the_last_packet_is_kept() -> None:
    """Three bytes of filling; 3 + 62 + 20 + 01 + 02 + 03 = 139 = 01 0B."""
    codec = invented("tallow").codec
    raws = (*TALLOW[:2], bytes.fromhex("F0 7D 10 70 03 62 20 01 02 03 01 0B F7"))
    assert codec.encode_bank("bank", {}, Address(2, 16), base=raws) == raws


def test_a_bank_as_many_messages() -> None:
    codec = invented("culvert").codec
    address = Address(2, 16)
    one = bytes.fromhex(
        "F0 7D 10 23 02 7A 7B 7F 00 01 7F 00 01 55 54 55 05 01 00 01 7F 00 7F 55 2A 58 70 77 12 03 60 F7"
    )
    bank = tuple(one[:4] + bytes((number,)) + one[5:] for number in (2, 0, 1))
    decoded = codec.decode_all(bank, address)
    assert (decoded.message, [each.number for each in decoded.programs]) == ("all", [0, 1, 2])
    assert decoded.slots == {"part": 3}
    encoded = codec.encode_bank("all", {1: ProgramSource({"mid.a": 5})}, address, base=bank)
    assert encoded[0] == bank[1]
    assert encoded[2] == bank[0]
    assert encoded[1][16:18] == b"\x05\x00"
    name, raws = codec.extract(decoded, 2, address) or ("", ())
    assert (name, raws) == ("program", (bank[0],))
    with pytest.raises(BadInput, match="is a bank of many messages"):
        codec.encode("all", {}, address)
    with pytest.raises(DumpRefused, match="belong to different dumps"):
        invented("mortise").codec.decode_all(
            (bytes.fromhex("F0 7D 22 1D 34 40 F7"), bytes.fromhex("F0 7D 22 0A 02 05 47 68 F7")), Address(2)
        )


NUMBERED = """
[message.bank]
kind = "bank"
answer = "F0 7D {device} 41 {common} {programs} {sum} F7"
parts.common = { is = "data", layout = "common" }
parts.programs = { is = "group", holds = "{program} {sound} {check}", times = 3 }
parts.program = { is = "slot", of = "program", plus = 1 }
parts.sound = { is = "data", layout = "sound", packing = "nibbles_high" }
parts.check = { is = "checksum", kind = "xor", from = "sound" }
parts.sum = { is = "checksum", kind = "sum", from = "common" }
[layout.common]
fields = ["tempo"]
[layout.sound]
fields = ["level"]
"""


def test_programs_that_say_their_numbers_in_an_order_of_their_own() -> None:
    """Each one: number + 1, two nibbles, their XOR. 78+3+0A+0B+01+1+1+2+3+2+7+7+0 = 120+3+10+11+1+1+1+2+3+2+7+7+0
    = 168, mod 128 = 40 = 28.
    """
    codec = codec_of(NUMBERED, specs(("tempo", 0, 127), ("level", 0, 255)))
    address = Address(0, 16)
    raw = bytes.fromhex("F0 7D 10 41 78  03 0A 0B 01  01 01 02 03  02 07 07 00  28 F7")
    decoded = codec.decode(raw, address)
    assert dict(decoded.values) == {"tempo": 120}
    assert dict(decoded.slots) == {}
    assert [(one.number, one.values["level"]) for one in decoded.programs] == [(2, 0xAB), (0, 0x12), (1, 0x77)]
    assert codec.encode_bank("bank", {}, address, base=raw) == (raw,)
    # level 12 of program 0 becomes 34: XOR 07, so the sum grows by 2 + 2 + 4 = 8
    changed = bytes.fromhex("F0 7D 10 41 78  03 0A 0B 01  01 03 04 07  02 07 07 00  30 F7")
    assert codec.encode_bank("bank", {0: ProgramSource({"level": 0x34})}, address, base=raw) == (changed,)
    # from nothing: in order; 120 + 1+1+2+3 + 2+7+7+0 + 3+10+11+1 is the same sum
    fresh = bytes.fromhex("F0 7D 10 41 78  01 01 02 03  02 07 07 00  03 0A 0B 01  28 F7")
    levels = {0: 0x12, 1: 0x77, 2: 0xAB}
    sources = {number: ProgramSource({"level": level}) for number, level in levels.items()}
    assert codec.encode_bank("bank", sources, address, values={"tempo": 120}) == (fresh,)
    with pytest.raises(UnknownValues, match="The value of tempo is not known"):
        codec.encode_bank("bank", sources, address)
    with pytest.raises(DumpRefused, match="Two programs of the bank have the same number"):
        codec.decode(bytes.fromhex("F0 7D 10 41 78  03 0A 0B 01  01 01 02 03  01 07 07 00  27 F7"), address)
    with pytest.raises(DumpRefused, match="The checksum is 02, but the bytes of the message make 01"):
        codec.decode(bytes.fromhex("F0 7D 10 41 78  03 0A 0B 02  01 01 02 03  02 07 07 00  29 F7"), address)


def test_a_program_of_lanternfish_out_of_its_bank() -> None:
    """Group of two layouts, each program packed for itself; both travel to a dump of its own."""
    codec = load(shipped()["lanternfish"]).codec
    address = Address(2, 17)
    known = dict.fromkeys(codec.messages["edit"].carries, 0)

    def dump_of(number: int) -> bytes:
        (raw,) = codec.encode("program", known, address, name=f"Lamp {number}", program=number, form="answer")
        decoded = codec.decode(raw, address)
        return raw if decoded.name == f"Lamp {number}" else b""

    bank = codec.encode_bank("bank", {n: ProgramSource({}, None, dump_of(n)) for n in range(64)}, address)
    decoded = codec.decode(bank[0], address)
    assert [each.name for each in decoded.programs] == [f"Lamp {number}" for number in range(64)]
    for number in (0, 31, 63):
        assert codec.extract(decoded, number, address) == ("program", (dump_of(number),))
