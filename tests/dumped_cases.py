"""Dumps of the invented instruments, worked out by hand.

Every message below was written from the chart's comment and the tables of number formats, packings and checksums
(common practice; the file dump packing is MIDI 1.0 Detailed Specification 4.2.1 p.43) before any code read it; the
sums stand beside it. Nothing here comes from the codec.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.messages import Address


@dataclass(frozen=True)
class Case:
    """One dump: its bytes, and what they say. `whole`: what nobody explains is 0, so values and name make it again."""

    instrument: str
    message: str
    raws: tuple[str, ...]
    values: dict[str, int]
    name: str = ""
    slots: dict[str, int] = field(default_factory=dict)
    device: int = 16
    form: str = "answer"
    whole: bool = True

    @property
    def address(self) -> Address:
        """Where the instrument listens."""
        return Address(channel=2, device=self.device)

    @property
    def bytes(self) -> tuple[bytes, ...]:
        """The messages."""
        return tuple(bytes.fromhex(raw) for raw in self.raws)


THIMBLE = Case(
    "thimble",
    "edit",
    # level 100 = 64; pan -1 + 64 = 3F; pitch -127 + 8192 = 8065 = 3F 01; rate 8193, LSB first = 01 40; wave 2;
    # one byte nobody explains (2A); FOGBELL and three blanks. XOR of these 18:
    # 64 5B 64 65 64 24 26 0C 4A 05 42 00 45 09 45 65 45 65
    ("F0 7D 10 02  64 3F 3F 01 01 40 02 2A 46 4F 47 42 45 4C 4C 20 20 20  65 F7",),
    {"tone.level": 100, "tone.pan": -1, "tone.pitch": -127, "tone.rate": 8193, "tone.wave": 2},
    "FOGBELL",
    whole=False,
)
WICKER = Case(
    "wicker",
    "edit",
    # -2 in two's complement FE; -5 as sign and amount 85; 85 = 55 inverted AA; 10, 1, 1 in one byte 5A;
    # -2 in 16 bits FF FE; -36 + 100 = 64 = 40. Nibbles, high first. Sum from byte 5 on: 35 + 20 + 140 (decimal
    # 53 + 32 + 140 = 225), 225 mod 128 = 97, 128 - 97 = 31 = 1F
    ("F0 00 7F 7F 35 20  0F 0E 08 05 0A 0A 05 0A 0F 0F 0F 0E 04 00  1F F7",),
    {"osc.a": -2, "osc.b": -5, "osc.c": 85, "osc.d": 10, "osc.e": 1, "osc.f": 1, "osc.g": -2, "osc.h": -36},
    device=5,
)
SLUICE = Case(
    "sluice",
    "program",
    # device 3 + 20 = 23; bank 1, program 4 travels as 5; 8 data bytes, LSB first 08 00; 85 and 12 as in vector V42;
    # 1234 LSB first is 34 12, as nibbles low first 04 03 02 01. Sum after F0: 125 + 35 + 49 + 1 + 5 + 8 + 0 + 26
    # = 249, - 128 = 121 = 79
    ("F0 7D 23 31 01 05 08 00  05 08 02 01 04 03 02 01  79 F7",),
    {"amp.level": 133, "amp.depth": 18, "amp.time": 0x1234},
    slots={"bank": 1, "program": 4},
    device=3,
)
CAIRN = Case(
    "cairn",
    "edit",
    # the data of vector V38: 00 01 7F80 FF 55 AA F0F7 12. 7F80 = 32640; FF = -1; 55 = 5 and 5; AA = 170 - 128 = 42;
    # F0 F7 LSB first is F7F0 = -2064; 12 is not explained. XOR of the 8-bit bytes is EB, & 7F = 6B.
    # Sum of the packed ones: 13+0+1+127+0+127+85+42+96+112+119+18 = 740, 740 mod 128 = 100 = 64
    ("F0 7D 10 40  0D 00 01 7F 00 7F 55 2A 60 70 77 12  6B 64 F7",),
    {
        "vco.a": 0, "vco.b": 1, "vco.c": 32640, "vco.d": -1,
        "vco.e": 5, "vco.f": 5, "vco.g": 42, "vco.h": -2064,
    },
    whole=False,
)  # fmt: skip
TRESTLE = Case(
    "trestle",
    "program",
    # 127, 15, 7, on, -64 + 64 = 0, CEDAR and a blank. 127+15+7+1+0+67+69+68+65+82+32 = 533, mod 128 = 21,
    # one's complement 127 - 21 = 106 = 6A
    ("F0 7D 00 51 02  7F 0F 07 01 00 43 45 44 41 52 20  6A F7",),
    {"lfo.a": 127, "lfo.b": 15, "lfo.c": 7, "lfo.d": 1, "lfo.e": -64},
    "CEDAR",
    {"program": 2},
    device=0,
)
GANTRY = Case(
    "gantry",
    "patch",
    # blocks of 6 and 4 bytes in chunks of 4: ABCD | 64 3F | 1234 as nibbles. Two's complement from the address on:
    # 16+65+66+67+68 = 282 - 256 = 26 -> 102 = 66; 16+4+100+63 = 183 - 128 = 55 -> 73 = 49; 16+1+10 = 27 -> 101 = 65
    (
        "F0 7D 10 42 12 10 00 00  41 42 43 44  66 F7",
        "F0 7D 10 42 12 10 00 04  64 3F  49 F7",
        "F0 7D 10 42 12 10 01 00  01 02 03 04  65 F7",
    ),
    {"part.level": 100, "part.pan": -1, "part.time": 0x1234},
    "ABCD",
    {"program": 0},
)
RATCHET = Case(
    "ratchet",
    "part",
    # part 3: 01 00 20 00 + 3 x 00 00 10 00 = 01 00 50 00; 8 bytes. 4095 left-justified in 14 bits 7F 7C (M1 p.39);
    # -2 = FFFE, nibbles low first 0E 0F 0F 0F; 1000 LSB first 68 07
    ("F0 7D 10 07 01 00 50 00 00 08  7F 7C 0E 0F 0F 0F 68 07  F7",),
    {"part.gain": 4095, "part.tune": -2, "part.time": 1000},
    slots={"part": 3},
)
SPINDLE = Case(
    "spindle",
    "edit",
    # FF 80 12 34 85 | 00 00 00 00 00 | 01 FF FF FF 80 | 80 7F 00 01 07, seven raw bytes a packet.
    # Top bits: FF 80 .. 85 of packet 0: 40 + 20 + 04 = 64; FF FF FF of packet 1: 4 + 2 + 1 = 07; 80 80: 60.
    # XOR after F0: 7D 10 61 = 0C; with packet 0: 0C 68 17 17 05 31 34; packet 1: 0D 0A 0B 74 0B 74; packet 2:
    # 0E 6E 11 10 17
    (
        "F0 7D 10 60 14 00 F7",  # 20 raw bytes, LSB first
        "F0 7D 10 61 00  64 7F 00 12 34 05 00 00  34 F7",
        "F0 7D 10 61 01  07 00 00 00 01 7F 7F 7F  74 F7",
        "F0 7D 10 61 02  60 00 00 7F 00 01 07  17 F7",
        "F0 7D 10 62 F7",
    ),
    {
        "voice1.level": 255, "voice1.pan": -128, "voice1.freq": 0x1234, "voice1.mode": 5, "voice1.on": 1,
        "voice2.level": 0, "voice2.pan": 0, "voice2.freq": 0, "voice2.mode": 0, "voice2.on": 0,
        "voice3.level": 1, "voice3.pan": -1, "voice3.freq": 65535, "voice3.mode": 0, "voice3.on": 1,
        "voice4.level": 128, "voice4.pan": 127, "voice4.freq": 1, "voice4.mode": 7, "voice4.on": 0,
    },
)  # fmt: skip
FERRULE = Case(
    "ferrule",
    "edit",
    # 384 = 01 80, 200 = C8; inside: 01 + 80 + C8 = 149, & FF = 49. Nibbles sum to 42, with version 2: 44,
    # 128 - 44 = 84 = 54
    ("F0 7D 10 21 02  00 01 08 00 0C 08 04 09  54 F7",),
    {"filter.cutoff": 384, "filter.reso": 200},
    slots={"version": 2},
)
FERRULE_OLD = Case(
    "ferrule",
    "edit",
    # C8 01, inside C9; nibbles sum to 42, with version 1: 43, 128 - 43 = 85 = 55
    ("F0 7D 10 21 01  0C 08 00 01 0C 09  55 F7",),
    {"filter.cutoff": 200, "filter.reso": 1},
    slots={"version": 1},
)
MORTISE = Case(
    "mortise",
    "one",
    # 261 = 02 05; 1000 + 8192 = 9192 = 47 68. 262 = 02 06; -1 + 8192 = 3F 7F (vector V43)
    ("F0 7D 22 0A 02 05 47 68 F7", "F0 7D 22 0A 02 06 3F 7F F7"),
    {"filter.cutoff": 1000, "filter.pan": -1},
    form="write",
)
MORTISE_SETUP = Case(
    "mortise",
    "setup",
    # -12 + 64 = 34; on is bit 6
    ("F0 7D 22 1D 34 40 F7",),
    {"global.transpose": -12, "global.local": 1},
)
BRAMBLE = Case(
    "bramble",
    "edit",
    # operators 3, 2, 1: C8 (200) 33 | 10xxxxxx of the cutoff = A1, 11 unexplained; 00 3F 22; FF 01 33. Notes 60 62 64
    # 65, gates 1 2 7 0. Cutoff 677 = 10 1010 0101: A5 here, 10 above. Third mode has code 12. H E D G E are 8 5 4 7 5
    # in the alphabet, the first with an unexplained bit 7: 88. Sum of the 24 raw bytes 1377; 16384 - 1377 = 15007
    # = 75 1F, LSB first 1F 75. One bit and seven bits a byte:
    (
        "F0 7D 10 33  01 48 01 21 00 11 00 00 00 3F 00 22 01 7F 00 01 00 33  00 3C 00 3E 00 40 00 41"
        " 00 01 00 02 00 07 00 00  01 25 00 0C  01 08 00 05 00 04 00 07 00 05  1F 75 F7",
    ),
    {
        "op3.level": 200, "op3.rate": 33, "op2.level": 0, "op2.rate": 63, "op1.level": 255, "op1.rate": 1,
        "step1.note": 60, "step2.note": 62, "step3.note": 64, "step4.note": 65,
        "step1.gate": 1, "step2.gate": 2, "step3.gate": 7, "step4.gate": 0,
        "filter.cutoff": 677, "filter.mode": 2,
    },
    "HEDGE",
    whole=False,
)  # fmt: skip
CULVERT = Case(
    "culvert",
    "program",
    # part 3, program 2, reserved 7A 7B; three samples of the packing table: FF 00 817F 80 | 01 55 LSB first = 5501;
    # 85; 00017F80 FF ........ 12. XOR of all between the reserved bytes and the checksum, 55 included:
    # 7F 7F 7E 01 01 00 55 01 | 54 | 51 50 | 50 51 2E 2E 51 04 2E 76 06 71 63 60 -> 60
    (
        "F0 7D 10 23 02 7A 7B  7F 00 01 7F 00 01 55 54  55  05 01"
        "  00 01 7F 00 7F 55 2A 58 70 77 12 03  60 F7",
    ),
    {
        "head.a": 255, "head.b": 0, "head.c": 0x817F, "head.d": 128, "head.e": 0x5501,
        "mid.a": 133, "tail.a": 0x00017F80, "tail.b": 255, "tail.c": 18,
    },
    slots={"part": 3, "program": 2},
    whole=False,
)  # fmt: skip

PARAPET = Case(
    "parapet",
    "part",
    # part 3 is on channel 3 (2 on the wire): 02 00 00 00 + 2 x 00 01 00 00; C8, FB and 12 in nibbles, high first.
    # 2 + 2 + 12 + 8 + 15 + 11 + 1 + 2 = 53, 128 - 53 = 75 = 4B
    ("F0 7D 10 51 12 02 02 00 00  0C 08 0F 0B 01 02  4B F7",),
    {"part.level": 200, "part.pan": -5, "part.cutoff": 18},
)
PARAPET_SYSTEM = Case(
    "parapet",
    "system",
    # the same frame, other addresses: -3 + 64 = 3D, 100 = 64. 61 + 100 = 161 - 128 = 33, 128 - 33 = 95 = 5F
    ("F0 7D 10 51 12 00 00 00 00  3D 64  5F F7",),
    {"system.tune": -3, "system.volume": 100},
)
CAPSTAN = Case(
    "capstan",
    "edit",
    # 31 ... 39 have the CRC 29B1 (the published check value of this CRC-16); top bits of 38 39 29 B1: 08.
    # The CRC-7 of each packet by long division: 00 00 31 ... 37 leaves 2C, 01 08 38 39 29 31 leaves 71
    (
        "F0 7D 10 60 01 0B F7",
        "F0 7D 10 61 00  00 31 32 33 34 35 36 37  2C F7",
        "F0 7D 10 61 01  08 38 39 29 31  71 F7",
        "F0 7D 10 62 F7",
    ),
    {"w": 0x36, "x": 0x37, "y": 0x38, "z": 0x39},
    "12345",
    {"version": 1},
)
CAPSTAN_NEW = Case(
    "capstan",
    "edit",
    # one byte more in version 2: 31 ... 35 80 00 FF 01 02 has the CRC 952D (long division); top bits 02 and 48
    (
        "F0 7D 10 60 02 0C F7",
        "F0 7D 10 61 00  02 31 32 33 34 35 00 00  5D F7",
        "F0 7D 10 61 01  48 7F 01 02 15 2D  51 F7",
        "F0 7D 10 62 F7",
    ),
    {"w": 128, "x": 0, "y": 255, "z": 1, "v": 2},
    "12345",
    {"version": 2},
)
BRAZIER = Case(
    "brazier",
    "voice",
    # program 9: 14 + 15 + 9 = 38 -> 90 = 5A; 15 + 15 + 9 = 39 -> 89 = 59. 64 + 77 + 3 + 63 = 207 - 128 = 79 -> 49 = 31;
    # 1000 = 07 68: 65 + 7 + 104 = 176 - 128 = 48 -> 80 = 50. Three address bytes and the data: 6 and 5
    (
        "F0 7D 05 5A 00 03 0E 0F 09 5A F7",
        "F0 7D 05 5A 00 06 40 00 00  4D 03 3F  31 F7",
        "F0 7D 05 5A 00 05 41 00 00  07 68  50 F7",
        "F0 7D 05 5A 00 03 0F 0F 09 59 F7",
    ),
    {"level": 77, "mode": 3, "on": 0, "pan": -1, "rate": 1000},
    slots={"program": 9},
    device=5,
)
ORLOP = Case(
    "orlop",
    "edit",
    # 01 7F O A K: 01 ^ 7F = 7E, ^ 4F = 31, ^ 41 = 70, ^ 4B = 3B; 2A is not explained
    ("F0 7D 10 70  01 7F 4F 41 4B  3B F7", "F0 7D 10 71  2A 05  F7"),
    {"a": 1, "b": 127, "c": 5},
    "OAK",
    whole=False,
)
VARNISH = Case(
    "varnish",
    "edit",
    # nine characters, two steps of two bytes; the CRC of 123456789 is 4B37 (published check value of this variant):
    # 01 0010110 0110111 = 01 16 37
    ("F0 7D 10 33  09 31 32 33 34 35 36 37 38 39  22  02 3C 01 40 00  01 16 37 F7",),
    {"level": 34, "step1.note": 60, "step1.gate": 1, "step2.note": 64, "step2.gate": 0},
    "123456789",
)

TRELLIS = Case(
    "trellis",
    "multi",
    # part from 0, level 100 - n, tune n - 8 + 64, and what makes the sum of the three a multiple of 128. As level and
    # tune change against each other, the sum grows by 1 with each part: 00 + 63 + 39 = 9C, 100 - 9C = 64; then 63 ...
    (
        "F0 7D 10 02 00 63 39 64 F7", "F0 7D 10 02 01 62 3A 63 F7",
        "F0 7D 10 02 02 61 3B 62 F7", "F0 7D 10 02 03 60 3C 61 F7",
        "F0 7D 10 02 04 5F 3D 60 F7", "F0 7D 10 02 05 5E 3E 5F F7",
        "F0 7D 10 02 06 5D 3F 5E F7", "F0 7D 10 02 07 5C 40 5D F7",
        "F0 7D 10 02 08 5B 41 5C F7", "F0 7D 10 02 09 5A 42 5B F7",
        "F0 7D 10 02 0A 59 43 5A F7", "F0 7D 10 02 0B 58 44 59 F7",
        "F0 7D 10 02 0C 57 45 58 F7", "F0 7D 10 02 0D 56 46 57 F7",
        "F0 7D 10 02 0E 55 47 56 F7", "F0 7D 10 02 0F 54 48 55 F7",
    ),
    {f"part{n}.level": 100 - n for n in range(1, 17)} | {f"part{n}.tune": n - 8 for n in range(1, 17)},
)  # fmt: skip
CASES = [
    THIMBLE, WICKER, SLUICE, CAIRN, TRESTLE, GANTRY, RATCHET, SPINDLE, FERRULE, FERRULE_OLD,
    MORTISE, MORTISE_SETUP, BRAMBLE, CULVERT,
    PARAPET, PARAPET_SYSTEM, CAPSTAN, CAPSTAN_NEW, BRAZIER, ORLOP, VARNISH, TRELLIS,
]  # fmt: skip
