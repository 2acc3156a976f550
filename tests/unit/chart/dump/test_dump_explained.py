"""A message explained byte by byte: offset, byte, field or reason, value, checksum as computed and received."""

from __future__ import annotations

from librarian.chart.dump import Row
from librarian.messages import Address
from tests.dumped import codec_of, invented, specs
from tests.dumped_cases import BRAZIER, SPINDLE

THIMBLE = "F0 7D 10 02 64 3F 3F 01 01 40 02 2A 46 4F 47 42 45 4C 4C 20 20 20 65 F7"
FERRULE = "F0 7D 10 21 02 00 01 08 00 0C 08 04 09 54 F7"
CAIRN = "F0 7D 10 40 0D 00 01 7F 00 7F 55 2A 60 70 77 12 6B 64 F7"


def rows_of(instrument: str, text: str, device: int = 16) -> list[Row]:
    raw = bytes.fromhex(text)
    rows = invented(instrument).codec.explain(raw, Address(2, device))
    assert [(row.offset, row.byte) for row in rows] == list(enumerate(raw)), "every byte, once, in order"
    return list(rows)


def test_a_sound_dump() -> None:
    rows = rows_of("thimble", THIMBLE)
    told = [(row.what, row.value) for row in rows]
    assert told[:5] == [
        ("start of SysEx", "edit (answer)"),
        ("maker", ""),
        ("device ID", "16"),
        ("constant", ""),
        ("tone.level", "100"),
    ]
    assert told[6] == ("tone.pitch", "−127") == told[7], "both bytes of a wide number, in display text"
    assert told[10] == ("tone.wave", "pulse")
    assert told[11][0] == "not explained: kept as it came"
    assert not rows[11].claimed
    assert told[12] == ("name, character 1", "“F”")
    assert told[22] == ("checksum sum (xor)", "received 65, computed 65: agrees")
    assert told[23] == ("end of SysEx", "")
    assert rows[4].place == "data 0"


def test_a_wrong_checksum_is_shown_as_computed_and_received() -> None:
    rows = rows_of("thimble", THIMBLE.replace("65 F7", "64 F7"))
    assert rows[22].value == "received 64, computed 65: does not agree"
    assert rows[0].value.startswith("edit (answer): The checksum is 64")
    assert rows[4].value == "100", "what can be read is shown all the same"


def test_a_number_that_means_nothing() -> None:
    rows = rows_of("thimble", THIMBLE.replace("40 02 2A", "40 05 2A"))
    assert (rows[10].what, rows[10].value) == ("tone.wave", "5 is none of its values")


def test_packed_data_leads_to_its_bytes() -> None:
    rows = rows_of("cairn", CAIRN)
    assert (rows[5].what, rows[5].value, rows[5].place) == ("vco.a", "0", "data 0 = 00")
    assert rows[4].what == "bits of vco.a, vco.b, vco.c, vco.d, vco.e, vco.f, vco.g"
    assert rows[4].place == "data 0 to 6"
    assert rows[9].place == "data 4 = FF"
    assert rows[10].what == "vco.e, vco.f"
    assert rows[10].value == "vco.e 5, vco.f 5"
    assert rows[15].what == "not explained: kept as it came"
    assert rows[16].value == "received 6B, computed 6B: agrees"


def test_groups_and_versions() -> None:
    rows = rows_of("ferrule", FERRULE)
    assert (rows[4].what, rows[4].value) == ("version", "2")
    assert rows[5].what == "filter.cutoff"
    assert rows[5].value == "384"
    assert rows[11].what == "checksum inner (sum)"
    assert rows[11].value == "received 49, computed 49: agrees"


def test_messages_that_are_cut_or_too_long() -> None:
    short = rows_of("thimble", THIMBLE[: 3 * 10] + "F7")
    assert short[0].value.startswith("edit (answer): The edit dump has 11 bytes; the chart says 24")
    assert "cut off" in short[5].what
    long = rows_of("thimble", THIMBLE.replace("65 F7", "65 00 F7"))
    assert long[24].what == "beyond the end of the message"


def test_a_message_that_is_none_of_the_chart() -> None:
    rows = rows_of("thimble", "F0 41 10 02 F7")
    assert rows[0].value.startswith("The message is of maker 41")
    assert [row.what for row in rows[1:4]] == ["not explained"] * 3


def test_a_packet_is_explained_as_its_part_of_the_whole() -> None:
    rows = rows_of("spindle", "F0 7D 10 61 01 07 00 00 00 01 7F 7F 7F 74 F7")
    assert (rows[4].what, rows[4].value) == ("packet number", "1")
    assert rows[6].what == "voice2.freq"
    assert rows_of("spindle", "F0 7D 10 60 14 00 F7")[4].value == "20"


def test_another_device_is_explained_and_said() -> None:
    rows = rows_of("thimble", THIMBLE, device=5)
    assert "for device ID 16; this instrument has 5" in rows[0].value
    assert rows[4].what == "tone.level"


def test_requests_and_single_parameters() -> None:
    assert rows_of("thimble", "F0 7D 10 01 F7")[0].value == "edit (request)"
    rows = rows_of("mortise", "F0 7D 22 0A 02 06 3F 7F F7")
    assert rows[0].value == "one (write): filter.pan −1"
    assert [(row.what, row.value) for row in rows[2:8]] == [
        ("channel", "3"),
        ("constant", ""),
        ("parameter", "262"),
        ("parameter", ""),
        ("value", "8191"),
        ("value", ""),
    ]


def test_each_message_of_several_is_explained_by_its_place_in_the_whole() -> None:
    told = rows_of("brazier", BRAZIER.raws[2], 5)
    assert [(row.what, row.value) for row in told[6:11]] == [
        ("address", "41 00 00"), ("address", ""), ("address", ""), ("rate", "1\u2009000"), ("rate", "1\u2009000"),
    ]  # fmt: skip
    packed = rows_of("spindle", SPINDLE.raws[1])
    assert (packed[6].what, packed[6].value, packed[6].place) == ("voice1.level", "255", "data 0 = FF")
    assert all(row.claimed for row in packed)


def test_a_value_that_lies_in_two_messages_is_not_said_from_one() -> None:
    codec = codec_of(
        """
[message.edit]
answer = "F0 7D {packet} {data} F7"
parts.data = { is = "data", layout = "two", split = 2 }
[layout.two]
fields = ["a", { of = "b", bytes = 2 }, "c"]
""",
        specs(("a", 0, 127), ("b", 0, 16383), ("c", 0, 127)),
    )
    told = codec.explain(bytes.fromhex("F0 7D 00 05 07 F7"), Address(0, 16))
    assert [(row.what, row.value) for row in told[3:5]] == [("a", "5"), ("b", "(not in this message alone)")]
