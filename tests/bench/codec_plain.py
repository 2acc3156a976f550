"""What somebody would write by hand for two instruments: the measure of the compiled codec, and its second opinion."""

from __future__ import annotations


def unpack(data: bytes) -> bytearray:
    """Groups of seven with their top bits first, first byte's in bit 6."""
    out = bytearray()
    for start in range(0, len(data), 8):
        tops = data[start]
        for place, byte in enumerate(data[start + 1 : start + 8]):
            out.append(byte | (tops << place + 1) & 0x80)
    return out


def pack(raw: bytes | bytearray) -> bytearray:
    """The inverse."""
    out = bytearray()
    for start in range(0, len(raw), 7):
        group = raw[start : start + 7]
        tops = 0
        for place, byte in enumerate(group):
            tops |= (byte & 0x80) >> place + 1
        out.append(tops)
        for byte in group:
            out.append(byte & 0x7F)
    return out


def signed(byte: int) -> int:
    """Two's complement of 8 bits."""
    return byte - 256 if byte > 127 else byte


def signed16(high: int, low: int) -> int:
    """Two's complement of 16 bits."""
    value = high << 8 | low
    return value - 65536 if value > 32767 else value


def plain_decode(raw: bytes, device: int) -> tuple[dict[str, int], str]:
    """Lanternfish's edit buffer."""
    if len(raw) != 263 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
        raise ValueError("no edit buffer")
    if raw[1] != 0x7D or raw[2] not in (device, 0x7F) or raw[3] != 0x21 or raw[4] != 2:
        raise ValueError("another message")
    if sum(raw[4:262]) & 0x7F:
        raise ValueError("checksum")
    s = unpack(raw[37:261])
    values = {
        "voice.transpose": raw[21] - 64,
        "voice.key-scale": raw[22],
        "osc1.wave": s[0],
        "osc1.octave": signed(s[1]),
        "osc1.tune": signed16(s[2], s[3]),
        "osc1.width": s[4],
        "osc1.pw-mod": s[5],
        "osc1.drift": s[6],
        "osc2.wave": s[16],
        "osc2.octave": signed(s[17]),
        "osc2.tune": signed16(s[18], s[19]),
        "osc2.width": s[20],
        "osc2.pw-mod": s[21],
        "osc2.interval": signed(s[22]),
        "osc2.sync": s[23] >> 7,
        "mixer.osc1": s[32],
        "mixer.osc2": s[33],
        "mixer.sub": s[34],
        "mixer.noise": s[35],
        "mixer.ring": s[36],
        "filter.mode": s[48] & 3,
        "filter.slope": s[48] >> 4 & 1,
        "filter.cutoff": s[49],
        "filter.resonance": s[50],
        "filter.env-depth": s[51] - 64,
        "filter.key-track": s[52],
        "filter.lfo-depth": s[53],
        "filter.drive": s[54],
        "fenv.attack": s[64],
        "fenv.decay": s[65],
        "fenv.sustain": s[66],
        "fenv.release": s[67],
        "fenv.velocity": s[68],
        "aenv.attack": s[80],
        "aenv.decay": s[81],
        "aenv.sustain": s[82],
        "aenv.release": s[83],
        "aenv.velocity": s[84],
        "mod.wheel": signed(s[96]),
        "mod.touch": signed(s[97]),
        "mod.velocity": signed(s[98]),
        "lfo.rate1": s[112] << 8 | s[113],
        "lfo.rate2": s[114] << 8 | s[115],
        "lfo.shape1": s[116] & 15,
        "lfo.shape2": s[116] >> 4,
        "lfo.fade-in": s[117],
        "lfo.key-sync": s[118] & 1,
        "lfo.to-pitch": signed(s[119]),
        "voice.voices": s[128],
        "voice.detune": s[129],
        "voice.glide": s[130],
        "voice.volume": s[131] << 8 | s[132],
    }
    return values, raw[5:21].decode("ascii").rstrip(" ")


def plain_encode(v: dict[str, int], name: str, device: int) -> bytes:
    """Lanternfish's edit buffer."""
    s = bytearray(196)
    s[0] = v["osc1.wave"]
    s[1] = v["osc1.octave"] & 0xFF
    s[2] = v["osc1.tune"] >> 8 & 0xFF
    s[3] = v["osc1.tune"] & 0xFF
    s[4] = v["osc1.width"]
    s[5] = v["osc1.pw-mod"]
    s[6] = v["osc1.drift"]
    s[16] = v["osc2.wave"]
    s[17] = v["osc2.octave"] & 0xFF
    s[18] = v["osc2.tune"] >> 8 & 0xFF
    s[19] = v["osc2.tune"] & 0xFF
    s[20] = v["osc2.width"]
    s[21] = v["osc2.pw-mod"]
    s[22] = v["osc2.interval"] & 0xFF
    s[23] = v["osc2.sync"] << 7
    s[32] = v["mixer.osc1"]
    s[33] = v["mixer.osc2"]
    s[34] = v["mixer.sub"]
    s[35] = v["mixer.noise"]
    s[36] = v["mixer.ring"]
    s[48] = v["filter.mode"] | v["filter.slope"] << 4
    s[49] = v["filter.cutoff"]
    s[50] = v["filter.resonance"]
    s[51] = v["filter.env-depth"] + 64
    s[52] = v["filter.key-track"]
    s[53] = v["filter.lfo-depth"]
    s[54] = v["filter.drive"]
    s[64] = v["fenv.attack"]
    s[65] = v["fenv.decay"]
    s[66] = v["fenv.sustain"]
    s[67] = v["fenv.release"]
    s[68] = v["fenv.velocity"]
    s[80] = v["aenv.attack"]
    s[81] = v["aenv.decay"]
    s[82] = v["aenv.sustain"]
    s[83] = v["aenv.release"]
    s[84] = v["aenv.velocity"]
    s[96] = v["mod.wheel"] & 0xFF
    s[97] = v["mod.touch"] & 0xFF
    s[98] = v["mod.velocity"] & 0xFF
    s[112] = v["lfo.rate1"] >> 8
    s[113] = v["lfo.rate1"] & 0xFF
    s[114] = v["lfo.rate2"] >> 8
    s[115] = v["lfo.rate2"] & 0xFF
    s[116] = v["lfo.shape1"] | v["lfo.shape2"] << 4
    s[117] = v["lfo.fade-in"]
    s[118] = v["lfo.key-sync"]
    s[119] = v["lfo.to-pitch"] & 0xFF
    s[128] = v["voice.voices"]
    s[129] = v["voice.detune"]
    s[130] = v["voice.glide"]
    s[131] = v["voice.volume"] >> 8
    s[132] = v["voice.volume"] & 0xFF
    setup = bytearray(16)
    setup[0] = v["voice.transpose"] + 64
    setup[1] = v["voice.key-scale"]
    body = b"\x02" + name.encode("ascii").ljust(16) + setup + pack(s)
    return bytes((0xF0, 0x7D, device, 0x21)) + body + bytes((-sum(body) & 0x7F, 0xF7))


# --- a bank of 128 x 128 bytes -------------------------------------------------------------------------------------

BANK_TABLES = """
[message.bank]
kind = "bank"
answer = "F0 7D {device} 41 {programs} {sum} F7"
parts.programs = { is = "data", layout = "voice", times = 128 }
parts.sum = { is = "checksum", kind = "xor", from = "programs" }

[layout.voice]
size = 128
fields = [
  { repeat = "n", over = "0..31", fields = [
    "a{n}",
    { of = "b{n}", bits = "0-3" },
    { of = "c{n}", same = true, bits = "4-6" },
    { of = "d{n}", bytes = 2, coding = "offset" },
  ] },
]
"""


def bank_fields() -> list[tuple[str, int, int]]:
    """Ids and ranges of the 128 parameters."""
    shapes = (("a", 0, 127), ("b", 0, 15), ("c", 0, 7), ("d", -8192, 8191))
    return [(f"{letter}{n}", low, high) for n in range(32) for letter, low, high in shapes]


def plain_bank_decode(raw: bytes, device: int) -> list[dict[str, int]]:
    """All programs of the bank."""
    if len(raw) != 16390 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
        raise ValueError("no bank")
    if raw[1] != 0x7D or raw[2] not in (device, 0x7F) or raw[3] != 0x41:
        raise ValueError("another message")
    check = 0
    for byte in raw[4:-2]:
        check ^= byte
    if check != raw[-2]:
        raise ValueError("checksum")
    programs = []
    for start in range(4, 16388, 128):
        values = {}
        for n, (name_a, name_b, name_c, name_d) in enumerate(_NAMES):
            at = start + 4 * n
            both = raw[at + 1]
            values[name_a] = raw[at]
            values[name_b] = both & 15
            values[name_c] = both >> 4
            values[name_d] = (raw[at + 2] << 7 | raw[at + 3]) - 8192
        programs.append(values)
    return programs


def plain_bank_encode(programs: list[dict[str, int]], device: int) -> bytes:
    """The bank of these programs."""
    body = bytearray()
    for values in programs:
        for name_a, name_b, name_c, name_d in _NAMES:
            wide = values[name_d] + 8192
            body += bytes((values[name_a], values[name_b] | values[name_c] << 4, wide >> 7, wide & 0x7F))
    check = 0
    for byte in body:
        check ^= byte
    return bytes((0xF0, 0x7D, device, 0x41)) + bytes(body) + bytes((check, 0xF7))


_NAMES = [(f"a{n}", f"b{n}", f"c{n}", f"d{n}") for n in range(32)]
