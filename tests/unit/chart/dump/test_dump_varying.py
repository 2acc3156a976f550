"""Dumps whose length varies: names, steps, banks; and small things of layouts and checksums.

The bytes are worked out by hand beside each case, as in tests/dumped_cases.py.
"""

from __future__ import annotations

import pytest

from librarian.chart.dump import DumpRefused, ProgramSource
from librarian.messages import Address
from tests.dumped import codec_of, invented, plain_specs, problems_of, specs
from tests.dumped_cases import VARNISH

ADDRESS = Address(2, 16)


def raw(text: str) -> bytes:
    return bytes.fromhex(text)


# --- lengths that vary ------------------------------------------------------------------------------------------------


def test_a_longer_name_makes_a_longer_dump() -> None:
    """OAK: the CRC of 4F 41 4B by long division of the reflected bits is worked out by the published variant."""
    codec = invented("varnish").codec
    (renamed,) = codec.encode("edit", {}, ADDRESS, base=VARNISH.bytes, name="OAK")
    assert renamed[4:8] == raw("03 4F 41 4B")
    assert renamed[8:14] == VARNISH.bytes[0][14:20]
    assert codec.decode(renamed, ADDRESS).name == "OAK"
    assert dict(codec.decode(renamed, ADDRESS).values) == VARNISH.values
    (nameless,) = codec.encode("edit", VARNISH.values, ADDRESS)
    assert nameless[4:11] == raw("00 22 02 3C 01 40 00")


@pytest.mark.parametrize("steps", [1, 2, 3, 4])
def test_only_the_steps_that_are_known_are_written(steps: int) -> None:
    codec = invented("varnish").codec
    values = {"level": 1} | {f"step{n}.{what}": n for n in range(1, steps + 1) for what in ("note", "gate")}
    (sent,) = codec.encode("edit", values, ADDRESS, name="X")
    assert sent[7] == steps
    assert len(sent) == 4 + 2 + 1 + 1 + 2 * steps + 4
    assert dict(codec.decode(sent, ADDRESS).values) == values
    assert codec.encode("edit", {}, ADDRESS, base=sent) == (sent,)


def test_lengths_that_cannot_be_are_refused() -> None:
    codec = invented("varnish").codec
    (good,) = VARNISH.bytes
    for bad in (good[:4] + b"\x08" + good[5:], good[:15] + b"\x03" + good[16:], good[:18] + good[20:]):
        with pytest.raises(DumpRefused):
            codec.decode(bad, ADDRESS)


BANK = """
[message.bank]
kind = "bank"
answer = "F0 7D {count} {data} F7"
parts.count = { is = "length", from = "data", unit = 2 }
parts.data = { is = "data", layout = "one", times = 4, shortest = 2 }
[message.numbered]
kind = "bank"
answer = "F0 7D 70 {all} F7"
parts.all = { is = "group", holds = "{program} {one}", times = 4, fewest = 1, packing = "nibbles_low" }
parts.one = { is = "data", layout = "one" }
[layout.one]
fields = ["a", "b"]
"""


@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_bank_of_as_many_programs_as_there_are(count: int) -> None:
    codec = codec_of(BANK, plain_specs("ab"))
    dump = bytes([0xF0, 0x7D, count, *(byte for n in range(count) for byte in (n, n + 1)), 0xF7])
    decoded = codec.decode(dump, ADDRESS)
    assert [dict(each.values) for each in decoded.programs] == [{"a": n, "b": n + 1} for n in range(count)]
    programs = {n: ProgramSource({"a": n, "b": n + 1}) for n in range(count)}
    assert codec.encode_bank("bank", programs, ADDRESS) == (dump,)
    nibbles = bytes(nibble for n in range(count) for byte in (n, n, n + 1) for nibble in (byte & 15, byte >> 4))
    numbered = b"\xf0\x7d\x70" + nibbles + b"\xf7"
    assert codec.encode_bank("numbered", programs, ADDRESS) == (numbered,)
    assert [each.number for each in codec.decode(numbered, ADDRESS).programs] == list(range(count))


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("shortest = 2 }", "shortest = 3 }"), "One program has 2 bytes."),
        (("fewest = 1", "fewest = 5"), "At least 5 are more than at most 4."),
        (('{ is = "data", layout = "one" }', '{ is = "data", layout = "one", shortest = 1 }'), "inside a group"),
    ],
)
def test_what_cannot_vary_so(change: tuple[str, str], sentence: str) -> None:
    problems = problems_of(BANK.replace(*change), plain_specs("ab"))
    assert any(sentence in each.sentence for each in problems), problems


def test_two_lengths_need_one_that_is_said() -> None:
    text = """
[message.edit]
answer = "F0 7D {one} {two} F7"
parts.one = { is = "data", layout = "one", shortest = 0 }
parts.two = { is = "data", layout = "two", shortest = 0 }
[layout.one]
fields = ["a", "b"]
[layout.two]
fields = ["c"]
"""
    (problem,) = problems_of(text, plain_specs("abc"))
    assert "nothing before it says how long" in problem.sentence


# --- small things -----------------------------------------------------------------------------------------------------


def test_a_repeat_that_moves_by_bits() -> None:
    """Sixteen switches in 7 + 7 + 2 bits, lowest first: 1, 8 and 16 are on: 01, 01, 02."""
    text = """
[message.edit]
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "steps" }
[layout.steps]
fields = [
  { repeat = "n", over = "1..16", bit_step = 1, fields = [{ of = "s{n}", bytes = 3, order = "lsb_first", bits = 0 }] },
  "level",
]
"""
    codec = codec_of(text, specs(*((f"s{n}", 0, 1) for n in range(1, 17)), ("level", 0, 127)))
    decoded = codec.decode(raw("F0 7D 01 01 02 09 F7"), ADDRESS)
    assert {identity for identity, value in decoded.values.items() if value} == {"s1", "s8", "s16", "level"}
    assert codec.encode("edit", decoded.values, ADDRESS) == (raw("F0 7D 01 01 02 09 F7"),)


def test_a_checksum_that_may_be_left_out() -> None:
    text = """
[message.edit]
answer = "F0 7D {data} {sum} F7"
parts.data = { is = "data", layout = "one" }
parts.sum = { is = "checksum", kind = "sum", from = "data", or = 127 }
[layout.one]
fields = ["a", "b"]
"""
    codec = codec_of(text, plain_specs("ab"))
    for dump in (raw("F0 7D 01 02 03 F7"), raw("F0 7D 01 02 7F F7")):
        assert dict(codec.decode(dump, ADDRESS).values) == {"a": 1, "b": 2}
        assert codec.encode("edit", {}, ADDRESS, base=dump) == (dump,)
    with pytest.raises(DumpRefused, match="checksum"):
        codec.decode(raw("F0 7D 01 02 04 F7"), ADDRESS)


def test_a_table_with_a_character_of_code_0() -> None:
    """0 is the blank and does not end the name; it also fills it."""
    text = """
[message.edit]
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "one" }
[layout.one]
fields = [{ name = 4, charset = "own" }]
[charset.own]
characters = " ABC"
"""
    codec = codec_of(text, {})
    assert codec.decode(raw("F0 7D 01 00 02 00 F7"), ADDRESS).name == "A B"
    assert codec.encode("edit", {}, ADDRESS, name="C") == (raw("F0 7D 03 00 00 00 F7"),)


def test_the_same_mistake_in_every_repetition_is_told_a_few_times() -> None:
    text = """
[message.edit]
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "one" }
[layout.one]
fields = [
  { repeat = "n", over = "1..90", fields = [{ of = "s{n}", bits = 0 }, { of = "t{n}", bits = 0, same = true }] },
]
"""
    parameters = specs(*((f"{letter}{n}", 0, 1) for letter in "st" for n in range(1, 91)))
    problems = problems_of(text, parameters)
    assert len(problems) == 4
    assert "87 more faults like this" in problems[-1].sentence


def test_bits_beside_a_checksum_in_nibbles_are_not_overlooked() -> None:
    """5 + 6 = 0B in two nibbles: 00 0B; 40 0B says the same to whoever looks at four bits."""
    text = """
[message.edit]
answer = "F0 7D {data} {sum} F7"
parts.data = { is = "data", layout = "one" }
parts.sum = { is = "checksum", kind = "sum", from = "data", bits = 8, digit = 4 }
[layout.one]
fields = ["a", "b"]
"""
    codec = codec_of(text, plain_specs("ab"))
    assert dict(codec.decode(raw("F0 7D 05 06 00 0B F7"), ADDRESS).values) == {"a": 5, "b": 6}
    with pytest.raises(DumpRefused, match="bits set that are no part of it"):
        codec.decode(raw("F0 7D 05 06 40 0B F7"), ADDRESS)


def test_a_sound_packed_as_text_is_written_over_what_came() -> None:
    text = """
[message.edit]
answer = "F0 7D {data} F7"
parts.data = { is = "data", layout = "one", packing = "hex" }
[layout.one]
fields = ["a", { gap = 1 }, "b"]
"""
    codec = codec_of(text, specs(("a", 0, 255), ("b", 0, 255)))
    dump = raw("F0 7D 46 46 41 35 30 39 F7")
    assert dict(codec.decode(dump, ADDRESS).values) == {"a": 255, "b": 9}
    assert codec.encode("edit", {}, ADDRESS, base=dump) == (dump,)
    assert codec.encode("edit", {"b": 171}, ADDRESS, base=dump) == (raw("F0 7D 46 46 41 35 41 42 F7"),)
