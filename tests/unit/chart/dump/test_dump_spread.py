"""Dumps in several messages as they arrive: in any order, twice, damaged, incomplete; handshakes; addresses."""

from __future__ import annotations

import itertools

import pytest

from librarian.chart.dump import DumpRefused
from librarian.messages import Address
from tests.dumped import codec_of, invented, specs

ADDRESS = Address(2, 16)
SPINDLE = tuple(
    bytes.fromhex(text)
    for text in (
        "F0 7D 10 60 14 00 F7",
        "F0 7D 10 61 00 64 7F 00 12 34 05 00 00 34 F7",
        "F0 7D 10 61 01 07 00 00 00 01 7F 7F 7F 74 F7",
        "F0 7D 10 61 02 60 00 00 7F 00 01 07 17 F7",
        "F0 7D 10 62 F7",
    )
)
GANTRY = tuple(
    bytes.fromhex(text)
    for text in (
        "F0 7D 10 42 12 10 00 00 41 42 43 44 66 F7",
        "F0 7D 10 42 12 10 00 04 64 3F 49 F7",
        "F0 7D 10 42 12 10 01 00 01 02 03 04 65 F7",
    )
)


def test_gathering_packets_tells_what_is_missing() -> None:
    gather = invented("spindle").codec.gather("edit", ADDRESS)
    assert gather.missing == ("packet 0", "packet 1", "packet 2")
    assert gather.feed(SPINDLE[0])
    assert gather.feed(SPINDLE[1])
    assert gather.feed(SPINDLE[3])
    assert gather.missing == ("packet 1",)
    assert not gather.complete
    assert not gather.feed(bytes.fromhex("F0 7D 11 62 F7")), "another device"
    assert not gather.feed(bytes.fromhex("B0 07 64"))
    assert gather.feed(SPINDLE[2])
    assert gather.missing == ("the end",)
    assert gather.feed(SPINDLE[4])
    assert gather.complete
    assert gather.missing == ()
    decoded = invented("spindle").codec.decode_all(gather.raws, ADDRESS)
    assert decoded.values["voice3.freq"] == 65535


def test_a_damaged_packet_is_refused_and_may_come_again() -> None:
    gather = invented("spindle").codec.gather("edit", ADDRESS)
    with pytest.raises(DumpRefused, match="The checksum is 35"):
        gather.feed(SPINDLE[1].replace(b"\x34\xf7", b"\x35\xf7"))
    assert gather.missing[0] == "packet 0"
    for raw in (*SPINDLE[:2], SPINDLE[1], *SPINDLE[2:]):
        assert gather.feed(raw)
    assert gather.complete
    assert gather.raws == SPINDLE


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_addresses_in_any_order(order: tuple[int, ...]) -> None:
    codec = invented("gantry").codec
    gather = codec.gather("patch", ADDRESS, program=0)
    for place in order:
        assert gather.feed(GANTRY[place])
    assert gather.complete
    decoded = codec.decode_all(gather.raws, ADDRESS)
    assert (decoded.name, decoded.values["part.time"]) == ("ABCD", 0x1234)
    assert codec.encode("patch", {}, ADDRESS, base=gather.raws, form="answer") == gather.raws


def test_an_instrument_may_cut_in_its_own_way() -> None:
    """The first block in one message: 16+65+66+67+68+100+63 = 445, mod 128 = 61, 128 - 61 = 67 = 43."""
    codec = invented("gantry").codec
    raws = (bytes.fromhex("F0 7D 10 42 12 10 00 00 41 42 43 44 64 3F 43 F7"), GANTRY[2])
    decoded = codec.decode_all(raws, ADDRESS)
    assert decoded.values["part.pan"] == -1
    assert codec.encode("patch", {}, ADDRESS, base=raws, form="answer") == raws


def test_another_program_is_not_gathered() -> None:
    gather = invented("gantry").codec.gather("patch", ADDRESS, program=1)
    assert not gather.feed(GANTRY[0])
    # 16+16+4+100+63 = 199 - 128 = 71 -> 57 = 39
    assert gather.feed(bytes.fromhex("F0 7D 10 42 12 10 10 04 64 3F 39 F7"))
    assert gather.missing == ("address 10 10 00", "address 10 11 00")


def test_pieces_of_two_programs_are_no_dump() -> None:
    codec = invented("gantry").codec
    other = bytes.fromhex("F0 7D 10 42 12 10 10 04 64 3F 39 F7")
    with pytest.raises(DumpRefused, match="for program 0, another for program 1"):
        codec.decode_all((GANTRY[0], other, GANTRY[2]), ADDRESS)


def test_an_incomplete_dump_is_refused() -> None:
    codec = invented("gantry").codec
    with pytest.raises(DumpRefused, match="address 10 00 04 did not come") as refused:
        codec.decode_all((GANTRY[0], GANTRY[2]), ADDRESS)
    assert refused.value.reason == "incomplete"
    with pytest.raises(DumpRefused, match="packet 0, packet 1 did not come"):
        invented("spindle").codec.decode(SPINDLE[3], ADDRESS)


def test_a_foreign_message_between_is_refused() -> None:
    codec = invented("spindle").codec
    with pytest.raises(DumpRefused, match="No message of the chart begins"):
        codec.decode_all((*SPINDLE[:2], bytes.fromhex("F0 7D 10 63 F7")), ADDRESS)


def test_the_size_in_a_message_has_to_be_true() -> None:
    codec = invented("ratchet").codec
    with pytest.raises(DumpRefused, match="The message says 9 data bytes, but has 8"):
        codec.decode(bytes.fromhex("F0 7D 10 07 01 00 50 00 00 09 7F 7C 0E 0F 0F 0F 68 07 F7"), ADDRESS)


def test_an_address_outside_is_another_message() -> None:
    codec = invented("gantry").codec
    # 18+100 = 118 -> 10 = 0A
    stray = bytes.fromhex("F0 7D 10 42 12 12 00 00 64 0A F7")
    assert codec.recognise(stray, ADDRESS) is None or codec.heard(stray, ADDRESS) == ()
    with pytest.raises(DumpRefused):
        codec.decode(stray, ADDRESS)


def test_the_standards_handshake() -> None:
    """MIDI 1.0 Detailed Specification 4.2.1 p.44-45; vector V31 is a NAK of device 16 for packet 5."""
    handshake = invented("spindle").codec.handshake("edit")
    assert handshake is not None
    assert handshake.make("ack", ADDRESS, 2) == bytes.fromhex("F0 7E 10 7F 02 F7")
    assert handshake.read(bytes.fromhex("F0 7E 10 7E 05 F7"), ADDRESS) == ("nak", 5)
    assert handshake.read(bytes.fromhex("F0 7E 11 7E 05 F7"), ADDRESS) is None
    assert handshake.read(SPINDLE[0], ADDRESS) is None
    assert (handshake.answer_s, handshake.retries, handshake.required) == (0.05, 3, False)


def test_a_handshake_with_frames_of_its_own() -> None:
    handshake = invented("tallow").codec.handshake("bank")
    assert handshake is not None
    assert handshake.make("nak", ADDRESS, 3) == bytes.fromhex("F0 7D 10 7B 03 F7")
    assert handshake.make("cancel", ADDRESS) == bytes.fromhex("F0 7D 10 7C F7")
    assert handshake.make("wait", ADDRESS) is None
    assert handshake.read(bytes.fromhex("F0 7D 10 7A 02 F7"), ADDRESS) == ("ack", 2)
    assert handshake.read(bytes.fromhex("F0 7D 10 7C F7"), ADDRESS) == ("cancel", 0)
    assert (handshake.answer_s, handshake.retries, handshake.required) == (0.2, 1, True)
    assert invented("thimble").codec.handshake("edit") is None


def test_packet_numbers_wrap_around() -> None:
    """40 packets numbered with 4 bits: 0 to F, then 0 again."""
    ids = [(f"p{n}", 0, 127) for n in range(40)]
    codec = codec_of(
        """
        [message.edit]
        answer = "F0 7D {device} 1{packet} {data} F7"
        parts.packet = { is = "packet", bytes = 1, digit = 4 }
        parts.data = { is = "data", layout = "patch", split = 1 }
        [layout.patch]
        fields = [{ repeat = "n", over = "0..39", fields = ["p{n}"] }]
        """,
        specs(*ids),
    )
    values = {f"p{n}": 2 * n for n in range(40)}
    raws = codec.encode("edit", values, ADDRESS)
    assert [raw[3] & 0x0F for raw in raws] == [n % 16 for n in range(40)]
    assert dict(codec.decode_all(raws, ADDRESS).values) == values
    gather = codec.gather("edit", ADDRESS)
    for raw in raws:
        assert gather.feed(raw)
    assert gather.complete


def test_single_parameters_with_addresses() -> None:
    """Pan 0 is 40 at 10 00 05: 16+5+64 = 85 -> 43 = 2B; program 1 is 2048 addresses on: 10 10 05, 101 -> 27 = 1B."""
    codec = invented("gantry").codec
    assert codec.set_one("part.pan", 0, ADDRESS) == (bytes.fromhex("F0 7D 10 42 12 10 00 05 40 2B F7"),)
    assert codec.set_one("part.pan", 0, ADDRESS, program=1) == (bytes.fromhex("F0 7D 10 42 12 10 10 05 40 1B F7"),)
    # 1234 as four nibbles, the third message of the whole dump
    assert codec.set_one("part.time", 0x1234, ADDRESS) == (GANTRY[2],)
    assert codec.heard(GANTRY[2], ADDRESS) == (("part.time", 0x1234),)
    assert codec.heard(bytes.fromhex("F0 7D 10 42 12 10 00 05 40 2B F7"), ADDRESS) == (("part.pan", 0),)
    assert codec.heard(GANTRY[0], ADDRESS) == ()
    found = codec.recognise(bytes.fromhex("F0 7D 10 42 12 10 00 05 40 2B F7"), ADDRESS)
    assert found is not None
    assert (found.message, found.form) == ("one", "write")
    # size 1: 16+5+1 = 22 -> 106 = 6A
    assert codec.ask_one("part.pan", ADDRESS) == (bytes.fromhex("F0 7D 10 42 11 10 00 05 00 00 01 6A F7"),)
    assert codec.single_ids == {"part.level", "part.pan", "part.time"}


def test_single_parameters_with_numbers() -> None:
    codec = invented("mortise").codec
    assert codec.single_ids == {"filter.cutoff", "filter.pan", "global.transpose", "global.local"}
    assert codec.set_one("filter.cutoff", 1000, Address(2)) == (bytes.fromhex("F0 7D 22 0A 02 05 47 68 F7"),)
    assert codec.ask_one("filter.pan", Address(2)) == (bytes.fromhex("F0 7D 22 0B 02 06 F7"),)
    assert codec.heard(bytes.fromhex("F0 7D 22 0A 02 06 3F 7F F7"), Address(2)) == (("filter.pan", -1),)
    assert codec.heard(bytes.fromhex("F0 7D 22 0B 02 06 F7"), Address(2)) == (), "a request sets nothing"
    assert codec.heard(bytes.fromhex("F0 7D 23 0A 02 06 3F 7F F7"), Address(2)) == (), "another channel"
    found = codec.recognise(bytes.fromhex("F0 7D 22 0B 02 06 F7"), Address(2))
    assert found is not None
    assert (found.message, found.form) == ("one", "request")


@pytest.mark.parametrize(("numbering", "number"), [("number", "05"), ("offset", "03"), ("order", "01")])
def test_numbers_from_a_layout(numbering: str, number: str) -> None:
    codec = codec_of(
        f"""
        [message.one]
        kind = "parameter"
        layout = "patch"
        numbering = "{numbering}"
        write = "F0 7D {{device}} 05 {{parameter}} {{value}} F7"
        parts.parameter = {{ is = "parameter" }}
        parts.value = {{ is = "value" }}
        [layout.patch]
        fields = [
          {{ of = "a", number = 4 }}, {{ gap = 2 }}, {{ of = "b", coding = "offset", number = 5 }},
          {{ of = "c", number = 9, bits = "0-3" }},
        ]
        """,
        specs(("a", 0, 127), ("b", -64, 63), ("c", 0, 15)),
    )
    (raw,) = codec.set_one("b", 1, ADDRESS)
    assert raw == bytes.fromhex(f"F0 7D 10 05 {number} 41 F7")
    assert codec.heard(raw, ADDRESS) == (("b", 1),)
