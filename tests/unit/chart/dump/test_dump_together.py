"""Dumps that belong together: parts on channels, maps of addresses, versions said once, sequences, shared bytes.

The bytes are worked out by hand beside each case, as in tests/dumped_cases.py.
"""

from __future__ import annotations

import pytest

from librarian.chart.dump import DumpCodec, DumpRefused
from librarian.messages import Address
from tests.dumped import RULE, codec_of, invented, plain_specs, problems_of
from tests.dumped_cases import BRAZIER, CAPSTAN, CAPSTAN_NEW, ORLOP, PARAPET

ADDRESS = Address(2, 16)


def raw(text: str) -> bytes:
    return bytes.fromhex(text)


# --- parts of a multitimbral unit -------------------------------------------------------------------------------------


def test_each_part_is_asked_for_and_heard_on_its_channel() -> None:
    """Part 1 lies at 02 00 00 00, part 16 at 02 0F 00 00; 2 + 15 + 6 = 23 -> 105 = 69."""
    codec = invented("parapet").codec
    assert codec.requests("part", Address(0, 16)) == (raw("F0 7D 10 51 11 02 00 00 00 00 00 00 06 78 F7"),)
    assert codec.requests("part", Address(15, 16)) == (raw("F0 7D 10 51 11 02 0F 00 00 00 00 00 06 69 F7"),)
    (dump,) = PARAPET.bytes
    for channel in range(16):
        found = codec.recognise(dump, Address(channel, 16))
        assert (found is None) == (channel != 2)
        gather = codec.gather("part", Address(channel, 16))
        assert gather.feed(dump) == (channel == 2)
    with pytest.raises(DumpRefused):
        codec.decode(dump, Address(3, 16))


def test_a_sound_of_one_part_goes_to_another() -> None:
    """To part 1: 53 - 2 = 51 -> 77 = 4D."""
    codec = invented("parapet").codec
    sent = codec.encode("part", {}, Address(0, 16), base=PARAPET.bytes)
    assert sent == (raw("F0 7D 10 51 12 02 00 00 00 0C 08 0F 0B 01 02 4D F7"),)
    assert dict(codec.decode(sent[0], Address(0, 16)).values) == PARAPET.values


def test_a_parameter_with_an_address_of_its_own_is_asked_for() -> None:
    """Volume lies at 00 00 00 01: 1 + 1 = 2 -> 7E; the answer 1 + 100 = 101 -> 27 = 1B."""
    codec = invented("parapet").codec
    assert codec.ask_one("system.volume", ADDRESS) == (raw("F0 7D 10 51 11 00 00 00 01 00 00 00 01 7E F7"),)
    assert codec.heard(raw("F0 7D 10 51 12 00 00 00 01 64 1B F7"), ADDRESS) == (("system.volume", 100),)
    ways = invented("parapet").ways_in
    assert [(way.kind, way.requested) for way in ways] == [("dump", True), ("parameters", True)]
    assert ways[1].carries == {"system.tune", "system.volume"}


# --- one frame, several maps ------------------------------------------------------------------------------------------

TWO_MAPS = """
[message.one]
request = "F0 7D 11 {{address}} {{size}} F7"
answer = "F0 7D 12 {{address}} {{data}} F7"
blocks = [{{ start = "10 00 00", size = 2 }}, {{ start = "10 10 00", size = 2 }}]
steps = {{ program = "01 00 00" }}
parts.address = {{ is = "address" }}
parts.size = {{ is = "size" }}
parts.program = {{ is = "slot", high = 3 }}
parts.data = {{ is = "data", layout = "four" }}
[message.two]
request = "F0 7D 11 {{address}} {{size}} F7"
answer = "F0 7D 12 {{address}} {{data}} F7"
blocks = [{{ start = "{start}", size = 2 }}]
parts.address = {{ is = "address" }}
parts.size = {{ is = "size" }}
parts.data = {{ is = "data", layout = "two" }}
[layout.four]
fields = ["a", "b", "c", "d"]
[layout.two]
fields = ["e", "f"]
"""


@pytest.mark.parametrize(
    ("start", "apart"),
    [
        ("20 00 00", True),
        ("10 00 02", True),  # right behind the first block
        ("10 08 00", True),  # between the blocks
        ("12 08 00", True),  # between those of the third program
        ("0F 7F 7E", True),
        ("14 00 00", True),  # there is no fifth program
        ("10 00 01", False),
        ("13 10 00", False),
        ("12 0F 7F", False),
    ],
)
def test_two_maps_in_one_frame_are_told_apart_by_their_addresses(start: str, apart: bool) -> None:
    text = TWO_MAPS.format(start=start).replace('parts.program = { is = "slot", high = 3 }\n', "")
    rule = type(RULE)(manufacturer=b"\x7d", device=16, programs=4)
    problems = problems_of(text, plain_specs("abcdef"), rule)
    assert (not problems) == apart
    if apart:
        codec = codec_of(text, plain_specs("abcdef"), rule)
        request = codec.request("two", ADDRESS)
        found = codec.recognise(request, ADDRESS)
        assert found is not None
        assert (found.message, found.form) == ("two", "request")
        for ask in codec.requests("one", ADDRESS, program=2):
            found = codec.recognise(ask, ADDRESS)
            assert found is not None
            assert (found.message, found.form, dict(found.slots)) == ("one", "request", {"program": 2})


def test_numbers_of_parameters_tell_messages_apart() -> None:
    """The high byte of a known number is a constant of the other message: 154 = 01 1A, never 08."""
    text = """
[message.change]
kind = "parameter"
answer = "F0 7D {number} {value} F7"
parts.number = { is = "parameter", bytes = 2 }
parts.value = { is = "value" }
numbers = { a = 0, b = 154 }
[message.function]
kind = "parameter"
answer = "F0 7D 08 {number} {value} F7"
parts.number = { is = "parameter" }
parts.value = { is = "value" }
numbers = { c = 69, d = 65 }
"""
    codec = codec_of(text, plain_specs("abcd"))
    assert codec.heard(raw("F0 7D 01 1A 07 F7"), ADDRESS) == (("b", 7),)
    assert codec.heard(raw("F0 7D 08 45 07 F7"), ADDRESS) == (("c", 7),)
    (problem,) = problems_of(text.replace("b = 154", "b = 1093"), plain_specs("abcd"))  # 08 45
    assert "cannot be told from" in problem.sentence


# --- versions said once -----------------------------------------------------------------------------------------------


def test_the_version_in_the_begin_frame_chooses_the_layout() -> None:
    codec = invented("capstan").codec
    for case in (CAPSTAN, CAPSTAN_NEW):
        gather = codec.gather("edit", ADDRESS)
        assert [gather.feed(each) for each in case.bytes] == [True] * 4
        assert gather.complete
        assert dict(codec.decode_all(gather.raws, ADDRESS).values) == case.values


def test_an_unknown_version_is_refused() -> None:
    codec = invented("capstan").codec
    raws = (CAPSTAN.bytes[0].replace(b"\x60\x01", b"\x60\x07"), *CAPSTAN.bytes[1:])
    with pytest.raises(DumpRefused, match="version 7; the chart knows 1 and 2"):
        codec.decode_all(raws, ADDRESS)


def test_packets_of_two_versions_do_not_mix() -> None:
    codec = invented("capstan").codec
    with pytest.raises(DumpRefused):
        codec.decode_all((CAPSTAN.bytes[0], *CAPSTAN_NEW.bytes[1:]), ADDRESS)


def test_the_checksum_inside_the_packed_whole_is_judged() -> None:
    """39 became 3A: the CRC-7 of the packet is made anew (00 by long division), the CRC-16 inside does not agree."""
    codec = invented("capstan").codec
    wrong = raw("F0 7D 10 61 01 08 38 3A 29 31 00 F7")
    with pytest.raises(DumpRefused) as refused:
        codec.decode_all((*CAPSTAN.bytes[:2], wrong, CAPSTAN.bytes[3]), ADDRESS)
    assert refused.value.reason == "checksum"
    assert str(refused.value) == "The checksum is 29B1, but the bytes of the message make 19D2."


# --- asked for as a whole ---------------------------------------------------------------------------------------------


def test_a_header_and_a_footer_belong_to_the_blocks_between() -> None:
    codec = invented("brazier").codec
    assert codec.answers("voice", program=9) == (4,)
    gather = codec.gather("voice", BRAZIER.address, program=9)
    for each in BRAZIER.bytes[:3]:
        assert gather.feed(each)
    assert not gather.complete
    assert gather.missing == ("the end",)
    assert gather.feed(BRAZIER.bytes[3])
    assert gather.complete
    other = codec.gather("voice", BRAZIER.address, program=8)
    assert not other.feed(BRAZIER.bytes[0])


def test_bytes_that_several_parameters_share_are_sent_only_whole() -> None:
    """mode 5 is 05, on is bit 3: 0D."""
    codec = invented("brazier").codec
    address = Address(2, 5)
    assert codec.heard(raw("F0 7D 15 5A 40 00 01 0D F7"), address) == (("mode", 5), ("on", 1))
    assert codec.set_one("mode", 5, address) == ()
    assert codec.set_one("mode", 5, address, {"on": 1}) == (raw("F0 7D 15 5A 40 00 01 0D F7"),)
    assert codec.set_one("rate", 1000, address) == (raw("F0 7D 15 5A 41 00 00 07 68 F7"),)
    both = codec.encode("one", {"mode": 5, "on": 1, "level": 3}, address)
    assert both == (raw("F0 7D 15 5A 40 00 00 03 F7"), raw("F0 7D 15 5A 40 00 01 0D F7"))


# --- several messages, one sound --------------------------------------------------------------------------------------


def test_a_sequence_is_complete_with_all_its_messages_in_any_order() -> None:
    codec = invented("orlop").codec
    voice, supplement = ORLOP.bytes
    assert codec.answers("edit") == (2,)
    gather = codec.gather("edit", ADDRESS)
    assert gather.feed(supplement)
    assert gather.missing == ("the dump",)
    assert gather.feed(voice)
    assert gather.complete
    assert gather.raws == ORLOP.bytes
    assert dict(codec.decode_all((supplement, voice), ADDRESS).values) == ORLOP.values
    with pytest.raises(DumpRefused, match="not complete"):
        three().decode_all((raw("F0 7D 01 05 F7"), raw("F0 7D 03 07 F7")), ADDRESS)


def three() -> DumpCodec:
    return codec_of(
        """
[message.all]
sequence = ["a", "b", "c"]
"""
        + "".join(
            f'''
[message.{name}]
request = "F0 7D 1{place} F7"
answer = "F0 7D 0{place} {{data}} F7"
parts.data = {{ is = "data", layout = "{name}" }}
[layout.{name}]
fields = ["{name}"]
'''
            for place, name in enumerate("abc", 1)
        ),
        plain_specs("abc"),
    )


def test_a_sequence_without_a_request_asks_for_each() -> None:
    codec = three()
    assert codec.requests("all", ADDRESS) == (raw("F0 7D 11 F7"), raw("F0 7D 12 F7"), raw("F0 7D 13 F7"))
    assert codec.answers("all") == (1, 1, 1)
    info = codec.messages["all"]
    assert (info.messages, info.length, info.forms) == (3, 15, {"request", "answer", "write"})
    assert codec.messages["b"].part_of == "all"
    assert dict(codec.decode(raw("F0 7D 02 09 F7"), ADDRESS).values) == {"b": 9}  # one alone is a dump of its own
