"""Invented instruments that speak in controllers, with bytes worked out by hand (not by the code under test)."""

from __future__ import annotations

import pytest

from librarian.chart import Chart, loads
from librarian.messages import Address


def head(name: str) -> str:
    return f'id = "{name.lower()}"\nname = "{name}"\n[[section]]\nid = "s"\nlabel = "S"\n'


def parameter(name: str, keys: str) -> str:
    return f'[[parameter]]\nid = "{name}"\nlabel = "{name}"\nsection = "s"\n{keys}\n'


def sent(chart: Chart, values: dict[str, int], channel: int = 0) -> str:
    bursts = chart.codec.controllers(values, Address(channel))
    return " ".join(raw.hex().upper() for burst in bursts for raw in burst.messages)


def heard(chart: Chart, text: str, channel: int = 0) -> dict[str, int]:
    listener = chart.codec.listener(Address(channel))
    got: dict[str, int] = {}
    for word in text.split():
        got.update({one.parameter: one.value for one in listener.feed(bytes.fromhex(word))})
    return got


# Tollgate: positions on controllers by bins, by own numbers with bounds, inverted, and a pot that runs backwards.
TOLLGATE = loads(
    head("Tollgate")
    + parameter(
        "mode", 'kind = "stepped"\npositions = ["a", "b", "c", "d", "e"]\nbindings = [{ cc = 20, map = "stepped" }]'
    )
    + parameter(
        "range",
        'kind = "stepped"\npositions = ["32", "16", "8", "4"]\n'
        "bindings = [{ cc = 21, values = [10, 40, 80, 120], bounds = [0, 30, 60, 100] }]",
    )
    + parameter("shape", 'kind = "stepped"\npositions = ["x", "y", "z"]\nbindings = [{ cc = 22, map = "direct" }]')
    + parameter("gate", 'kind = "switch"\nbindings = [{ cc = 23, inverted = true }]')
    + parameter("fall", "range = [0, 100]\nbindings = [{ cc = 24, inverted = true, wire = [0, 100] }]")
    + parameter("wide", 'range = [-50, 50]\nbindings = [{ cc = 25, map = "scaled" }]')
)


def test_tollgate() -> None:
    # bins of five: middles 12 38 64 89 115 (M2-115 section 5); wide: (0 + 50) · 127 ÷ 100 = 63.5, half up 64
    values = {"mode": 3, "range": 2, "shape": 2, "gate": 1, "fall": 100, "wide": 0}
    assert sent(TOLLGATE, values) == "B01459 B01550 B01602 B01700 B01800 B01940"
    assert heard(TOLLGATE, "B01459 B01550 B01602 B01700 B01800 B01940") == values
    # 63 of 5 bins: 63 · 5 ÷ 128 = 2.46; 29 is still the first range; 127 inverted is off; 37 ÷ 127 · 100 = 29.1
    assert heard(TOLLGATE, "B0143F B0151D B0177F B01925") == {"mode": 2, "range": 0, "gate": 0, "wide": -21}
    assert heard(TOLLGATE, "B01603") == {}, "there is no fourth shape"


# Weir: two halves on its own two controllers, LSB first; NRPN 7 bits in the LSB; RPN fine tuning; other numbers out.
WEIR = loads(
    head("Weir")
    + '[controllers]\nnull = "after_each"\n'
    + parameter("level", 'range = [0, 16383]\nbindings = [{ cc14 = [70, 20], order = "lsb_first" }]')
    + parameter("depth", 'range = [0, 127]\nbindings = [{ nrpn = [1, 5], bits = 7, half = "lsb" }]')
    + parameter("tune", "range = [-8192, 8191]\nbindings = [{ rpn = 1, offset = 8192 }]")
    + parameter(
        "speed", 'range = [0, 127]\nbindings = [{ cc = 30, only = "recognized" }, { cc = 90, only = "transmitted" }]'
    )
)


def test_weir() -> None:
    # 2080 = 10h · 128 + 20h; fine tuning +50 cents = 8192 + 4096 = 12288 = 60h · 128 (standard's RPN 1)
    values = {"level": 2080, "depth": 5, "tune": 4096, "speed": 64}
    level, depth = "B21420 B24610", "B26301 B26205 B22605 B2637F B2627F"
    tune = "B26500 B26401 B20660 B22600 B2657F B2647F"
    assert sent(WEIR, values, 2) == f"{level} {depth} {tune} B21E40"
    assert heard(WEIR, f"{level} {depth} {tune} B25A40", 2) == values
    assert heard(WEIR, "B21E40", 2) == {}, "it sends its speed on 90"
    assert heard(WEIR, "B24610", 2) == {"level": 2048}, "an MSB alone is a whole value"
    assert heard(WEIR, "B21420", 2) == {}, "an LSB alone is none"


# Halyard: one row of knobs for three layers behind a selector, and the same knobs of two parts on two channels.
HALYARD = loads(
    head("Halyard")
    + '[[selector]]\nid = "layer"\ncc = 9\n'
    + "".join(
        parameter(f"layer{n}.level", f"range = [0, 127]\nbindings = [{{ cc = 20, under = {{ layer = {n} }} }}]")
        for n in range(3)
    )
    + "[[group]]\nrepeat = { p = [1, 2], n = [1, 2] }\n[[group.parameter]]\n"
    + 'id = "part{p}.knob{n}"\nlabel = "Knob {n}"\nsection = "s"\nrange = [0, 127]\n'
    + "bindings = [{ cc = 30, step = { n = 1 }, channel_step = { p = 1 } }]\n"
)


def test_halyard() -> None:
    values = {"layer0.level": 1, "layer1.level": 2, "layer2.level": 3}
    values |= {"part1.knob1": 4, "part1.knob2": 5, "part2.knob1": 6, "part2.knob2": 7}
    text = "B00900 B01401 B00901 B01402 B00902 B01403 B01E04 B01F05 B11E06 B11F07"
    assert sent(HALYARD, values) == text
    assert heard(HALYARD, text) == values
    assert heard(HALYARD, "B01401 B10901 B11402") == {}, "no layer was chosen on this channel"


# Capstan: a program for a sound. Its bank travels in CC 32 alone.
CAPSTAN = loads(head("Capstan") + parameter("voice", 'range = [0, 383]\nbindings = [{ program = true, bank = "lsb" }]'))


def test_capstan() -> None:
    # 300 = 2 · 128 + 44
    assert sent(CAPSTAN, {"voice": 300}, 15) == "BF2002 CF2C"
    assert heard(CAPSTAN, "BF2002 CF2C CF2D", 15) == {"voice": 301}
    assert heard(CAPSTAN, "CF2C", 15) == {}, "before any bank select the bank is unknown"


# Gudgeon: 10 bits by NRPN, their top 7 bits by a controller; a 14-bit value scaled over a range of its own.
GUDGEON = loads(
    head("Gudgeon")
    + parameter("cutoff", 'range = [0, 1023]\nbindings = [{ cc = 74, map = "top_bits" }, { nrpn = 3 }]')
    + parameter("rate", 'range = [0, 1000]\nbindings = [{ cc14 = 16, map = "scaled", wire = [0, 10000] }]')
    + parameter("pan", 'range = [0, 16383]\nbindings = [{ cc = 10, map = "centred" }, { nrpn = 4 }]')
)


def test_gudgeon() -> None:
    # 1000 ÷ 8 = 125 (top bits); 700 · 10 = 7000 = 36h · 128 + 58h; by NRPN 1000 = 07h · 128 + 68h
    assert sent(GUDGEON, {"cutoff": 1000, "rate": 700}) == "B06300 B06203 B00607 B02668 B0637F B0627F B01036 B03058"
    assert heard(GUDGEON, "B04A7D B01036 B03058 B00A41") == {"cutoff": 1000, "rate": 700, "pan": 8322}
    assert heard(GUDGEON, "B06300 B06203 B00607 B02669") == {"cutoff": 1001}


@pytest.mark.parametrize("chart", [TOLLGATE, WEIR, HALYARD, CAPSTAN, GUDGEON], ids=lambda chart: chart.id)
def test_the_instrument_understands_what_the_computer_sends(chart: Chart) -> None:
    values = {name: one.low + one.steps // 3 for name, one in chart.parameters.items()}
    listener = chart.codec.listener(Address(3), "instrument")
    got: dict[str, int] = {}
    for burst in chart.codec.controllers(values, Address(3)):
        for raw in burst.messages:
            assert listener.is_known(raw)
            got.update({one.parameter: one.value for one in listener.feed(raw)})
    assert got == values
