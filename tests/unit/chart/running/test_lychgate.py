"""Lychgate, which speaks in controllers alone, and its variant with keys; bytes and readings worked out by hand."""

from __future__ import annotations

import pytest

from librarian.chart import load, loads, paper
from librarian.chart.carry import carry
from librarian.errors import BadInput
from librarian.messages import Address, Values, Version
from tests.dumped import FOLDER, invented


@pytest.mark.parametrize(
    ("parameter", "value", "messages"),
    [
        ("level", 64, ["B9 4A 40"]),  # channel 10 is 9 on the wire
        # NRPN 261 = 02 05; 2080 = 10 20; null after each
        ("fine", 2080, ["B9 63 02", "B9 62 05", "B9 06 10", "B9 26 20", "B9 63 7F", "B9 62 7F"]),
        # RPN 2; -1 + 64 = 63 = 3F, and no LSB
        ("coarse", -1, ["B9 65 00", "B9 64 02", "B9 06 3F", "B9 65 7F", "B9 64 7F"]),
        # 2080 = 10 20, the LSB first, on two controllers of its own choice; and the standard's pair, MSB first
        ("depth", 2080, ["B9 5A 20", "B9 18 10"]),
        ("sweep", 2080, ["B9 10 10", "B9 30 20"]),
        # 133 = bank 1 and program 5 (MIDI 1.0 Detailed Specification 4.2.1 p.13: CC 0, CC 32, program change)
        ("tuning", 133, ["B9 00 00", "B9 20 01", "C9 05"]),
    ],
)
def test_what_is_sent(parameter: str, value: int, messages: list[str]) -> None:
    chart = invented("lychgate")
    (burst,) = chart.codec.controllers({parameter: value}, chart.default_address)
    assert [raw.hex(" ").upper() for raw in burst.messages] == messages
    listener = chart.codec.listener(chart.default_address)
    heard = [one for raw in burst.messages for one in listener.feed(raw)] + list(listener.flush(10.0))
    assert [(one.parameter, one.value) for one in heard][-1] == (parameter, value)


@pytest.mark.parametrize(
    ("parameter", "value", "text"),
    [
        ("level", 64, "25.4 %"),  # (64 / 127) squared = 0.25396
        ("level", 127, "100.0 %"),
        ("key", 60, "C3"),  # this maker calls middle C C3
        ("mix", 0, "1:4"),
        ("mix", 2, "1:1"),
        ("mix", 4, "4:1"),
        ("width", 64, "79 %"),  # log(1 + 19 · 64 / 127) / log 20 = 2.3585 / 2.9957 = 0.7873
        ("bend", 70, "+6 ct"),
        ("bend", 60, "−4 ct"),
        ("bend", 64, "0 ct"),
    ],
)
def test_what_is_read(parameter: str, value: int, text: str) -> None:
    one = invented("lychgate").parameters[parameter]
    assert one.display(value) == text
    assert one.display(one.parse(text)) == text


def test_a_pair_in_either_order() -> None:
    """CC 16 and 48: 10 and 20 hexadecimal, whichever comes first."""
    chart = invented("lychgate")
    for order in (("B9 10 10", "B9 30 20"), ("B9 30 20", "B9 10 10")):
        listener = chart.codec.listener(chart.default_address)
        heard = [one for raw in order for one in listener.feed(bytes.fromhex(raw))] + list(listener.flush(10.0))
        assert [(one.parameter, one.value) for one in heard][-1] == ("sweep", 2080)


def test_both_requests_for_all_controllers() -> None:
    chart = invented("lychgate")
    assert chart.codec.controller_request(chart.default_address) == (bytes.fromhex("F0 7D 01 F7"),)
    first, second = chart.ways_in
    assert first.end is not None
    assert second.end is not None
    assert (first.end.last, first.end.silence_s, second.end.count) == ("level", 0.4, 3)
    assert second.carries == {"level", "key", "mix"}
    keys = invented("lychgate-keys")
    assert keys.codec.controller_request(Address(1)) == (bytes.fromhex("C1 7F"),)


def test_what_goes_around_a_recall_and_where_the_pots_stand() -> None:
    codec = invented("lychgate").codec
    (way,) = invented("lychgate").ways_out
    assert (way.before, way.after, way.settle_s) == (("open",), ("store",), 0.03)
    address = Address(9)
    assert codec.encode("open", {}, address) == (bytes.fromhex("B9 76 7F"),)
    assert codec.encode("store", {}, address) == (bytes.fromhex("F0 7D 04 F7"),)
    assert codec.request("pots", address) == bytes.fromhex("F0 7D 02 F7")
    assert dict(codec.decode(bytes.fromhex("F0 7D 03 40 3C F7"), address).values) == {"level": 64, "key": 60}


def test_programs_as_the_instrument_shows_them() -> None:
    memory = invented("lychgate").memory
    assert memory is not None
    assert [memory.shown(number) for number in (0, 7, 8, 63, 64)] == ["1-11", "1-18", "1-21", "1-88", "2-11"]


def test_the_variant_says_only_what_is_different() -> None:
    keys = invented("lychgate-keys")
    assert list(keys.parameters) == [
        "level",
        "key",
        "width",
        "bend",
        "fine",
        "coarse",
        "depth",
        "sweep",
        "tuning",
        "pedal",
    ]
    assert keys.channel == 1
    (burst,) = keys.codec.controllers({"pedal": 1}, keys.default_address)
    assert burst.messages == (bytes.fromhex("B1 42 7F"),)
    assert load(FOLDER / "lychgate-keys.toml").text != load(FOLDER / "lychgate.toml").text
    with pytest.raises(BadInput):
        loads('extends = "../lychgate.toml"\nid = "x"\nname = "X"\n')


def test_a_sound_of_the_first_revision() -> None:
    """Bank 1 and program 5 are 133; the old fine tuning 64 is 8192; 50 of 99 is 64 of 127; new is 2, or unknown."""
    chart = invented("lychgate")
    old = Values(
        {"tuning.bank": 1, "tuning.program": 5, "fine": 64, "volume": 9, "bend": 50, "register": 127, "spread": 7}
    )
    there = carry(Version("lychgate", 1, old), chart)
    new = {"tuning": 133, "fine": 8192, "level": 9, "bend": 64, "mix": 2, "key": 127, "coarse": 24}
    assert there.version.values.only(new) == Values(new)
    assert set(there.version.values) - set(new) == {"spread@2"}, "what is gone is kept aside"
    back = carry(there.version, chart, 1)
    assert back.version.values.only(old) == old
    assert set(back.version.values) - set(old) == {"mix@2"}, "what revision 1 does not know is kept aside"


def test_what_stands_on_paper() -> None:
    page = paper.markdown(invented("lychgate"))
    assert "| Control Change | 0 | o | o | Bank select MSB |" in page
    assert "| Prog Change |  | 0-127 | 0-127 | Right: Tuning |" in page
    assert "ID 7D: store, pots |" in page, "a command that is a controller is no SysEx message"
    assert "| Level | level | 0 to 127 | 0 to 127 | dump, SysEx | dump, SysEx |" in paper.markdown(invented("brazier"))
