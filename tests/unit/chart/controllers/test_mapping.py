"""Values to wire numbers and back: published figures, and there and back for every value."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.controllers.mapping import Mapping, Misfit, build_mapping, scale_up
from librarian.chart.language.parameters import BindingTable

# M2-115 v1.0.2, section 3.2-3.4, published examples; the 14-bit column worked out twice by hand methods
CENTRED = {
    0: (0, 0x0000, 0x00000000), 1: (128, 0x0200, 0x02000000), 5: (640, 0x0A00, 0x0A000000),
    30: (3840, 0x3C00, 0x3C000000), 63: (8064, 0x7E00, 0x7E000000), 64: (8192, 0x8000, 0x80000000),
    65: (8322, 0x8208, 0x82082082), 70: (8972, 0x8C30, 0x8C30C30C), 96: (12353, 0xC104, 0xC1041041),
    120: (15473, 0xF1C7, 0xF1C71C71), 127: (16383, 0xFFFF, 0xFFFFFFFF),
}  # fmt: skip
# M2-115 section 5: the middle of the bin is sent
BINS = {
    2: [0, 127], 3: [21, 64, 107], 4: [16, 48, 80, 112], 5: [12, 38, 64, 89, 115],
    8: [8, 24, 40, 56, 72, 88, 104, 120], 12: [5, 16, 27, 37, 48, 59, 69, 80, 91, 101, 112, 123],
}  # fmt: skip


def mapping(low: int, high: int, bits: int = 7, kind: str = "continuous", **keys: object) -> Mapping:
    table = BindingTable.model_validate({"cc" if bits == 7 else "nrpn": 20, **keys})
    return build_mapping(table, kind, low, high, bits)  # type: ignore[arg-type]


@pytest.mark.parametrize(("seven", "wider"), CENTRED.items())
def test_min_centre_max_figures(seven: int, wider: tuple[int, int, int]) -> None:
    assert tuple(scale_up(seven, 7, bits) for bits in (14, 16, 32)) == wider


def test_min_centre_max_from_14_bits() -> None:
    # M2-115, published: 8193 -> 80040020, 12345 -> C0E60730, 16383 -> FFFFFFFF
    assert [scale_up(value, 14, 32) for value in (8193, 12345, 16383)] == [0x80040020, 0xC0E60730, 0xFFFFFFFF]


@pytest.mark.parametrize(("count", "middles"), BINS.items())
def test_stepped_bins(count: int, middles: list[int]) -> None:
    bins = mapping(0, count - 1, kind="stepped", map="stepped")
    assert [bins.to_wire(value) for value in range(count)] == middles


@pytest.mark.parametrize("count", range(2, 129))
def test_every_number_of_positions_comes_back(count: int) -> None:
    bins = mapping(0, count - 1, kind="stepped", map="stepped")
    assert bins.exact
    assert [bins.from_wire(bins.to_wire(value)) for value in range(count)] == list(range(count))


def test_a_switch_is_0_and_127_and_on_from_64() -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.12: 0-63 off, 64-127 on
    switch = mapping(0, 1, kind="switch")
    assert [switch.to_wire(0), switch.to_wire(1)] == [0, 127]
    assert [switch.from_wire(63), switch.from_wire(64)] == [0, 1]


def test_own_values_and_bounds() -> None:
    nearest = mapping(0, 3, kind="stepped", values=[0, 32, 64, 127])
    assert [nearest.to_wire(value) for value in range(4)] == [0, 32, 64, 127]
    assert [nearest.from_wire(wire) for wire in (0, 15, 17, 32, 95, 96, 127)] == [0, 0, 1, 1, 2, 3, 3]
    bounded = mapping(0, 2, kind="stepped", values=[5, 60, 100], bounds=[0, 20, 90])
    assert [bounded.from_wire(wire) for wire in (0, 19, 20, 89, 90, 127)] == [0, 0, 1, 1, 2, 2]
    by_bounds = mapping(0, 2, kind="stepped", bounds=[10, 20, 90])
    assert by_bounds.from_wire(9) is None
    assert [by_bounds.from_wire(by_bounds.to_wire(value)) for value in range(3)] == [0, 1, 2]


def test_unordered_values() -> None:
    wild = mapping(0, 2, kind="stepped", values=[64, 0, 127])
    assert [wild.to_wire(value) for value in range(3)] == [64, 0, 127]
    assert [wild.from_wire(wire) for wire in (64, 0, 127, 20, 100)] == [0, 1, 2, 1, 2]


def test_inverted_and_offset() -> None:
    inverted = mapping(0, 127, inverted=True)
    assert [inverted.to_wire(0), inverted.to_wire(127)] == [127, 0]
    signed = mapping(-64, 63, offset=64)
    assert [signed.to_wire(-64), signed.to_wire(63), signed.from_wire(64)] == [0, 127, 0]
    short = mapping(0, 100, inverted=True, wire=[0, 100])
    assert short.to_wire(0) == 100
    assert short.from_wire(101) is None


def test_top_bits_say_that_they_are_not_exact() -> None:
    top = mapping(0, 16383, map="top_bits")
    assert not top.exact
    assert (top.to_wire(16383), top.from_wire(127)) == (127, 16256)  # the wire is not the scale: plain shift
    centred = mapping(0, 16383, map="centred")
    assert (centred.to_wire(16383), centred.from_wire(127), centred.from_wire(64)) == (127, 16383, 8192)


@pytest.mark.parametrize(
    ("low", "high", "keys", "said"),
    [
        (0, 128, {}, "carries 0 to 127"),
        (-1, 5, {}, "carries 0 to 127"),
        (0, 10, {"wire": [0, 5]}, "carries 0 to 5"),
        (0, 200, {"map": "stepped"}, "do not fit"),
        (0, 2, {"values": [0, 1]}, "2 values for 3 positions"),
        (0, 2, {"values": [0, 1, 1]}, "same number"),
        (0, 2, {"values": [0, 1, 200]}, "outside"),
        (0, 2, {"values": [0, 1, 2], "bounds": [0, 1]}, "2 bounds for 3 positions"),
        (0, 2, {"values": [0, 1, 2], "bounds": [0, 2, 1]}, "do not rise"),
        (0, 2, {"values": [0, 1, 2], "bounds": [5, 6, 7]}, "outside its own bounds"),
        (0, 100, {"map": "top_bits"}, "whole bits"),
        (0, 127, {"wire": [0, 200]}, "bits carry"),
    ],
)
def test_what_does_not_fit_is_refused(low: int, high: int, keys: dict[str, object], said: str) -> None:
    with pytest.raises(Misfit, match=said):
        mapping(low, high, **keys)


@given(st.data())
def test_exact_mappings_give_every_value_back(data: st.DataObject) -> None:
    low = data.draw(st.integers(-500, 500))
    high = low + data.draw(st.integers(1, 3000))
    bits = data.draw(st.sampled_from([7, 14]))
    names = ["direct", "scaled", "stepped", "top_bits", "centred"]
    keys: dict[str, object] = {"map": data.draw(st.sampled_from(names))}
    if data.draw(st.booleans()):
        keys["inverted"] = True
    if data.draw(st.booleans()):
        first = data.draw(st.integers(0, 60))
        keys["wire"] = [first, data.draw(st.integers(first + 1, 127 if bits == 7 else 16383))]
    if keys["map"] == "direct":
        keys["offset"] = data.draw(st.integers(-500, 16000))
    try:
        built = mapping(low, high, bits, **keys)
    except Misfit:
        return
    first, last = keys.get("wire", [0, (1 << bits) - 1])  # type: ignore[misc]
    for value in {low, high, (low + high) // 2, data.draw(st.integers(low, high))}:
        wire = built.to_wire(value)
        assert 0 <= wire < 1 << bits
        if keys["map"] not in {"top_bits", "centred"}:
            assert first <= wire <= last
        back = built.from_wire(wire)
        assert back is not None
        assert low <= back <= high
        if built.exact:
            assert back == value
    for wire in range(0, 1 << bits, 97):
        back = built.from_wire(wire)
        assert back is None or low <= back <= high
