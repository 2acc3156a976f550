"""Ways of a chart, also of one that lists none; program numbers as instruments show them."""

from __future__ import annotations

import pytest

from librarian.chart import Memory, loads

HEAD = """\
id = "x"
name = "X"
[[section]]
id = "a"
label = "A"
"""


def parameter(name: str, bindings: str, more: str = "") -> str:
    return (
        f'[[parameter]]\nid = "{name}"\nlabel = "P"\nsection = "a"\nrange = [0, 127]\nbindings = [{bindings}]\n{more}\n'
    )


def test_a_chart_that_lists_no_ways_has_those_that_its_bindings_allow() -> None:
    chart = loads(HEAD + parameter("p", "{ cc = 74 }"))
    assert [(way.kind, way.carries) for way in chart.ways_in] == [("hand", {"p"})]
    assert [(way.kind, way.carries) for way in chart.ways_out] == [("controllers", {"p"})]


def test_what_is_only_sent_or_only_obeyed() -> None:
    chart = loads(HEAD + parameter("p", '{ cc = 74, only = "recognized" }, { cc = 75, only = "transmitted" }'))
    address = chart.default_address
    assert [burst.messages for burst in chart.codec.controllers({"p": 5}, address)] == [(bytes.fromhex("B04A05"),)]
    instrument = chart.codec.controllers({"p": 5}, address, side="instrument")
    assert [burst.messages for burst in instrument] == [(bytes.fromhex("B04B05"),)]
    assert chart.parameters["p"].binding_text == "CC 74"


def test_by_hand_only() -> None:
    chart = loads(HEAD + parameter("p", "{ cc = 74 }") + parameter("q", "", "by_hand = true"))
    assert chart.parameters["q"].binding_text == "by hand"
    assert [way.carries for way in chart.ways_out] == [{"p"}]


def test_the_binding_that_carries_every_value_is_sent() -> None:
    text = parameter("p", '{ cc = 74, map = "top_bits" }, { nrpn = 5 }').replace("127", "16383")
    chart = loads(HEAD + text)
    assert chart.codec.carried()["p"].text == "NRPN 5"
    assert chart.parameters["p"].binding_text == "CC 74"


def test_ways_keep_their_order_and_timing() -> None:
    text = '[[capture]]\nway = "hand"\nlabel = "knob by knob"\n[[capture]]\nway = "controllers"\ntimeout_ms = 750\n'
    text += 'request = [{ program = 3 }, { nrpn = 130, value = 1 }, { sysex = "F0 7D {device} 0{channel} F7" }]\n'
    with pytest.raises(Exception, match="not hexadecimal"):
        loads(HEAD + parameter("p", "{ cc = 74 }") + text)
    chart = loads(HEAD + parameter("p", "{ cc = 74 }") + text.replace("0{channel}", "{channel}"))
    hand, asked = chart.ways_in
    assert (hand.kind, hand.label, hand.requested) == ("hand", "knob by knob", False)
    assert (asked.kind, asked.timeout_s, asked.requested) == ("controllers", 0.75, True)
    messages = chart.codec.controller_request(chart.default_address)
    assert [raw.hex() for raw in messages] == ["c003", "b06301", "b06202", "b00601", "b0637f", "b0627f", "f07d7f00f7"]


@pytest.mark.parametrize(
    ("display", "texts"),
    [
        ("from_one", ["1", "2", "9", "64"]),
        ("from_zero", ["0", "1", "8", "63"]),
        ("octal", ["11", "12", "21", "88"]),
        ("letters", ["A1", "A2", "B1", "H8"]),
    ],
)
def test_programs_as_instruments_show_them(display: str, texts: list[str]) -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.18: 11 octal is 00 on the wire
    memory = Memory(64, display=display)  # type: ignore[arg-type]
    assert [memory.shown(index) for index in (0, 1, 8, 63)] == texts


def test_bank_select() -> None:
    # p.13-14: CC 0, CC 32, program change; 01 02 is bank 130 on the wire
    assert Memory(128, banks=200, bank_select="both", first_bank=30).select(100 * 128 + 5, 2) == (
        bytes.fromhex("B20001"),
        bytes.fromhex("B22002"),
        bytes.fromhex("C205"),
    )
    assert Memory(128, banks=2, bank_select="msb").select(128, 0) == (bytes.fromhex("B00001"), bytes.fromhex("C000"))
    assert Memory(128, banks=2, bank_select="lsb").select(128, 0) == (bytes.fromhex("B02001"), bytes.fromhex("C000"))
    assert Memory(64).select(5, 15) == (bytes.fromhex("CF05"),)
    assert Memory(128, banks=2).shown(129) == "2-2"
