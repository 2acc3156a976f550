"""Wrong dumps: each is refused with its own reason, and the sentence says what was found and what was expected."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.dump import DumpRefused
from librarian.errors import BadInput
from librarian.messages import Address
from tests.dumped import invented, invented_names

ADDRESS = Address(2, 16)
THIMBLE = "F0 7D 10 02 64 3F 3F 01 01 40 02 2A 46 4F 47 42 45 4C 4C 20 20 20 65 F7"
SLUICE = "F0 7D 23 31 01 05 08 00 05 08 02 01 04 03 02 01 79 F7"


def refusal(instrument: str, raw: str, device: int = 16) -> DumpRefused:
    with pytest.raises(DumpRefused) as refused:
        invented(instrument).codec.decode(bytes.fromhex(raw), Address(2, device))
    return refused.value


@pytest.mark.parametrize(
    ("raw", "reason", "sentence"),
    [
        ("", "not sysex", "The message is empty"),
        ("B0 07 64", "not sysex", "begins with B0"),
        (THIMBLE[:-3], "unterminated", "ends after 23 bytes without F7"),
        (THIMBLE.replace(" 2A ", " AA "), "status byte", "Byte 12 of the message is AA"),
        (THIMBLE.replace("F0 7D", "F0 41"), "other maker", "of maker 41; the chart is of 7D"),
        (THIMBLE.replace("F0 7D", "F0 00 20 7A"), "other maker", "of maker 00 20 7A"),
        (THIMBLE.replace("7D 10", "7D 11"), "other device", "for device ID 17; this instrument has 16"),
        (THIMBLE.replace("10 02", "10 03"), "other message", "No message of the chart begins with F0 7D 10 03"),
        ("F0 7D 10 01 F7", "other message", "This asks for the edit dump"),
        (THIMBLE.replace("65 F7", "64 F7"), "checksum", "The checksum is 64, but the bytes of the message make 65"),
        (THIMBLE.replace(" 20 20 20", " 20 20"), "too short", "has 23 bytes; the chart says 24"),
        (THIMBLE.replace(" 20 20 20", " 20 20 20 20"), "too long", "has 25 bytes; the chart says 24"),
        ("F0 7D 10 F7", "too short", "has only 4 bytes"),
        ("F0 7D F7", "too short", "has only 3 bytes"),
        ("F0 F7", "too short", "The message is empty (F0 F7)"),
    ],
)
def test_thimble(raw: str, reason: str, sentence: str) -> None:
    refused = refusal("thimble", raw)
    assert refused.reason == reason, str(refused)
    assert sentence in str(refused)


@pytest.mark.parametrize(
    ("raw", "reason", "sentence"),
    [
        (SLUICE.replace("31 01 05", "31 01 00"), "out of range", "The program number is -1; the chart says 0 to 31"),
        (SLUICE.replace("31 01 05", "31 02 05"), "out of range", "The bank number is 2; the chart says 0 to 1"),
        (SLUICE.replace("05 08 00 05", "05 09 00 05"), "length field", "The length in the message is 9"),
        # one nibble too high; the sum is 10 more: 79 + 10 - 80 = 09
        (SLUICE.replace("00 05 08 02", "00 15 08 02").replace("79 F7", "09 F7"), "packing", "Data byte 0 is 15"),
        (SLUICE.replace("00 05 08 02", "00 15 08 02"), "checksum", "The checksum is 79, but"),
    ],
)
def test_sluice(raw: str, reason: str, sentence: str) -> None:
    refused = refusal("sluice", raw, device=3)
    assert refused.reason == reason, str(refused)
    assert sentence in str(refused)


def test_the_checksum_inside_packed_data() -> None:
    """Ferrule: inside 49 becomes 4A, so the last nibble is 0A and the outer checksum 53."""
    refused = refusal("ferrule", "F0 7D 10 21 02 00 01 08 00 0C 08 04 0A 53 F7")
    assert refused.reason == "checksum"
    assert "The checksum is 4A, but the bytes of the message make 49" in str(refused)


def test_a_version_that_the_chart_does_not_know() -> None:
    """128 - (3 + 42) = 83 = 53."""
    refused = refusal("ferrule", "F0 7D 10 21 03 00 01 08 00 0C 08 04 09 53 F7")
    assert refused.reason == "version"
    assert "The dump has version 3; the chart knows 1 and 2" in str(refused)


def test_a_constant_in_the_middle() -> None:
    refused = refusal(
        "culvert", "F0 7D 10 23 02 7A 7B 7F 00 01 7F 00 01 55 54 56 05 01 00 01 7F 00 7F 55 2A 58 70 77 12 03 63 F7"
    )
    assert refused.reason == "constant"
    assert "Byte 16 is 56; the chart says 55" in str(refused)


def test_another_channel() -> None:
    with pytest.raises(DumpRefused, match="for channel 3; this instrument has 2"):
        invented("mortise").codec.decode(bytes.fromhex("F0 7D 23 1D 34 40 F7"), Address(2))


def test_a_single_parameter_that_is_none_of_the_chart() -> None:
    codec = invented("mortise").codec
    assert codec.recognise(bytes.fromhex("F0 7D 22 0A 02 07 47 68 F7"), Address(2)) is None
    assert codec.heard(bytes.fromhex("F0 7D 22 0A 02 07 47 68 F7"), Address(2)) == ()
    with pytest.raises(DumpRefused, match=r"The value of filter\.pan in the message is none of its values"):
        codec.decode(bytes.fromhex("F0 7D 22 0A 02 06 47 68 F7"), Address(2))


# ferrule's and sluice's dumps are checksummed over all that is not a constant or an address
CHECKED = {
    "thimble": (THIMBLE, 16, range(4, 23)),
    "sluice": (SLUICE, 3, range(1, 17)),
    "wicker": ("F0 00 7F 7F 35 20 0F 0E 08 05 0A 0A 05 0A 0F 0F 0F 0E 04 00 1F F7", 5, range(1, 21)),
    "ferrule": ("F0 7D 10 21 02 00 01 08 00 0C 08 04 09 54 F7", 16, range(1, 14)),
}


@pytest.mark.parametrize("name", CHECKED)
def test_every_single_changed_byte_of_a_checksummed_dump_is_refused(name: str) -> None:
    text, device, covered = CHECKED[name]
    raw = bytes.fromhex(text)
    codec = invented(name).codec
    taken = []
    for place in range(len(raw)):
        for byte in range(256):
            if byte == raw[place]:
                continue
            changed = raw[:place] + bytes((byte,)) + raw[place + 1 :]
            try:
                codec.decode(changed, Address(2, device))
            except DumpRefused:
                continue
            taken.append((place, byte))
    # what a checksum cannot see: the all-call device ID
    assert [each for each in taken if each[0] in covered and each[1] != 0x7F] == []
    assert all(place == 2 and byte == 0x7F for place, byte in taken), taken


@given(st.binary(max_size=80), st.sampled_from(invented_names()))
def test_random_bytes_raise_nothing_but_ours(noise: bytes, name: str) -> None:
    codec = invented(name).codec
    for raw in (noise, b"\xf0" + noise + b"\xf7", b"\xf0\x7d\x10" + bytes(byte & 0x7F for byte in noise) + b"\xf7"):
        codec.recognise(raw, ADDRESS)
        codec.heard(raw, ADDRESS)
        assert len(codec.explain(raw, ADDRESS)) == len(raw)
        for call in (codec.decode, lambda raw, address: codec.decode_all((raw, raw), address)):
            with suppress(BadInput):
                call(raw, ADDRESS)
