"""Nearness against a brute force written with fractions: no numpy, no shortcuts, nothing shared with the program."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.errors import BadInput
from librarian.messages import Values
from librarian.sounds.near import LEAST_TAIL, Likeness


@dataclass(frozen=True)
class Knob:
    id: str
    section: str
    kind: str
    low: int
    high: int
    sound: bool = True


@dataclass(frozen=True)
class Part:
    id: str
    label: str


class Sheet:
    """The little of a chart that nearness reads."""

    def __init__(self, knobs: list[Knob]) -> None:
        self.name = "Invented"
        self.parameters = {knob.id: knob for knob in knobs}
        self.sound_ids = tuple(knob.id for knob in knobs if knob.sound)
        self.sections = tuple(Part(name, name.title()) for name in dict.fromkeys(knob.section for knob in knobs))


def brute(sheet, asked, sounds, limit, weights=None, least=Fraction(1, 2), leave_out=()):
    """[(id, distance, compared, differ)] by exact fractions, nearest first."""
    weights = weights or {}
    found = []
    for number, values in sounds.items():
        total = common = squares = Fraction(0)
        compared = differ = 0
        for name in sheet.sound_ids:
            knob = sheet.parameters[name]
            weight = Fraction(weights.get(knob.section, 1))
            if name not in asked or weight == 0:
                continue
            total += weight
            if name not in values:
                continue
            common += weight
            compared += 1
            differ += asked[name] != values[name]
            if knob.kind in ("stepped", "switch"):
                gap = Fraction(int(asked[name] != values[name]))
            else:
                gap = Fraction(abs(asked[name] - values[name]), max(1, knob.high - knob.low))
            squares += weight * gap * gap
        if number not in leave_out and common > 0 and common >= least * total:
            found.append((squares / common, number, compared, differ))
    found.sort()
    return [(number, sqrt(mean), compared, differ) for mean, number, compared, differ in found[:limit]]


KNOB = st.tuples(
    st.sampled_from(["filter", "lfo", "mixer"]),
    st.sampled_from(["continuous", "bipolar", "stepped", "switch"]),
    st.integers(-64, 64),
    st.sampled_from([1, 1, 4, 127, 127, 16383]),
    st.booleans() | st.just(True),
)


@st.composite
def sheets(draw):
    knobs = []
    for number, (section, kind, low, width, sound) in enumerate(draw(st.lists(KNOB, min_size=1, max_size=9))):
        high = low + (min(width, 4) if kind in ("stepped", "switch") else width)
        knobs.append(Knob(f"k{number}", section, kind, low, high, sound))
    if not any(knob.sound for knob in knobs):
        knobs.append(Knob("always", "filter", "continuous", 0, 127))
    return Sheet(knobs)


@st.composite
def collections(draw):
    sheet = draw(sheets())
    one = st.fixed_dictionaries(
        {}, optional={name: st.integers(knob.low, knob.high) for name, knob in sheet.parameters.items()}
    )
    sounds = {5 * at + 3: values for at, values in enumerate(draw(st.lists(one, max_size=40)))}
    asked = draw(one)
    weights = draw(
        st.dictionaries(st.sampled_from([part.id for part in sheet.sections]), st.sampled_from([0, 1, 2, 5]))
    )
    return sheet, sounds, asked, weights


@settings(max_examples=120)
@given(collections(), st.integers(1, 8), st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(1)]))
def test_the_nearest_are_those_of_the_brute_force(collection, limit, least):
    sheet, sounds, asked, weights = collection
    index = Likeness(sheet, ((number, Values(values)) for number, values in sounds.items()))
    usable = [name for name in sheet.sound_ids if name in asked and weights.get(sheet.parameters[name].section, 1)]
    if not usable:
        with pytest.raises(BadInput):
            index.nearest(Values(asked), limit, weights=weights, least_common=float(least))
        return
    found = index.nearest(Values(asked), limit, weights=weights, least_common=float(least))
    expected = brute(sheet, asked, sounds, limit, weights, least)
    assert [near.id for near in found] == [each[0] for each in expected]
    assert [near.distance for near in found] == pytest.approx([each[1] for each in expected], abs=1e-9)
    assert [(near.compared, near.differ) for near in found] == [each[2:] for each in expected]


def some_sounds(sheet, count, seed, unknown=0.1):
    rng = np.random.default_rng(seed)
    names = list(sheet.parameters)
    raw = np.stack([rng.integers(k.low, k.high + 1, count) for k in sheet.parameters.values()], axis=1)
    known = rng.random(raw.shape) >= unknown
    return names, raw, known


WIDE = Sheet(
    [Knob(f"c{n}", f"s{n % 5}", "continuous", 0, 127 if n % 3 else 16383) for n in range(20)]
    + [Knob(f"b{n}", f"s{n % 5}", "bipolar", -64, 63) for n in range(6)]
    + [Knob(f"t{n}", f"s{n % 5}", "stepped", 0, 7) for n in range(9)]
    + [Knob("setup", "s0", "continuous", 0, 127, sound=False)]
)


@pytest.mark.parametrize("unknown", [0.0, 0.02, 0.6])
def test_many_sounds_over_several_blocks(unknown):
    names, raw, known = some_sounds(WIDE, 70_000, seed=4, unknown=unknown)
    ids = np.arange(70_000)[::-1].copy()
    index = Likeness.from_raw(WIDE, ids, names, raw, known)
    asked = {name: int(raw[123, at]) for at, name in enumerate(names) if known[123, at]}
    sample = np.r_[0:500, 69_500:70_000]
    part = Likeness.from_raw(WIDE, ids[sample], names, raw[sample], known[sample])
    sounds = {
        int(ids[row]): {name: int(raw[row, at]) for at, name in enumerate(names) if known[row, at]} for row in sample
    }
    expected = brute(WIDE, asked, sounds, 12)
    found = part.nearest(Values(asked), 12)
    assert [(near.id, near.compared, near.differ) for near in found] == [(a, c, d) for a, _, c, d in expected]
    everything = index.nearest(Values(asked), 12)
    assert everything[0].id == ids[123]
    assert everything[0].distance == 0
    worst_of_all, worst_of_part = everything[-1].distance, found[-1].distance
    assert worst_of_all <= worst_of_part


def test_equal_sounds_are_found_at_zero_though_arithmetic_is_in_single_precision():
    names, raw, known = some_sounds(WIDE, 5_000, seed=9, unknown=0)
    raw[40:60] = raw[7]
    index = Likeness.from_raw(WIDE, np.arange(5_000), names, raw, known)
    found = index.nearest(Values(zip(names, raw[7].tolist(), strict=True)), 21)
    assert [near.id for near in found] == [7, *range(40, 60)]
    assert {near.distance for near in found} == {0.0}
    assert found[0].reason == "all 35 equal"


def test_one_step_of_a_fine_parameter_is_told_from_none():
    sheet = Sheet([Knob("fine", "a", "continuous", 0, 16383), Knob("other", "a", "continuous", 0, 127)])
    index = Likeness(sheet, [(n, Values({"fine": 8000 + n, "other": 64})) for n in range(50)])
    assert [near.id for near in index.nearest(Values({"fine": 8000, "other": 64}), 50)] == list(range(50))


def test_setup_parameters_are_no_part_of_it():
    near = Likeness(WIDE, [(1, Values({"c0": 5, "setup": 0})), (2, Values({"c0": 5, "setup": 127}))])
    assert [each.distance for each in near.nearest(Values({"c0": 5, "setup": 64}))] == [0, 0]
    with pytest.raises(BadInput, match="Nothing is known"):
        near.nearest(Values({"setup": 64}))


def test_too_little_in_common_is_not_judged():
    index = Likeness(WIDE, [(1, Values({"c0": 5})), (2, Values({"c0": 9, "c1": 9, "c2": 9}))])
    asked = Values({"c0": 5, "c1": 9, "c2": 9})
    assert [near.id for near in index.nearest(asked)] == [2]
    assert [near.id for near in index.nearest(asked, least_common=0.3)] == [1, 2]
    assert index.nearest(asked, least_common=0.3)[0].reason == "all 1 equal, 34 cannot be compared"


def test_the_reason_names_sections_by_their_labels():
    sheet = Sheet(
        [
            Knob("a", "filter", "continuous", 0, 100),
            Knob("b", "lfo", "continuous", 0, 100),
            Knob("c", "mixer", "continuous", 0, 100),
        ]
    )
    index = Likeness(sheet, [(1, Values({"a": 50, "b": 60, "c": 90}))])
    (near,) = index.nearest(Values({"a": 50, "b": 50, "c": 50}))
    assert near.reason == "2 of 3 differ, nearest in Filter and Lfo, farthest in Mixer"
    assert [part.distance for part in near.sections] == pytest.approx([0, 0.1, 0.4])


def test_what_is_left_out_put_and_dropped():
    sheet = Sheet([Knob("a", "filter", "continuous", 0, 127)])
    index = Likeness(sheet, [(n, Values({"a": n})) for n in range(100)])
    asked = Values({"a": 50})
    assert [near.id for near in index.nearest(asked, 3, leave_out=[50])] == [49, 51, 48]
    index.drop(49)
    index.put(7, Values({"a": 50}))
    assert [near.id for near in index.nearest(asked, 3, leave_out=[50])] == [7, 51, 48]
    for number in range(1000, 1000 + 2 * LEAST_TAIL):
        index.put(number, Values({"a": 127}))
    assert len(index) == 100 - 1 + 2 * LEAST_TAIL
    assert [near.id for near in index.nearest(asked, 3, leave_out=[50])] == [7, 51, 48]
    assert index.nearest(Values({"a": 127}), 3)[0].id == 1000


def test_nothing_to_search_and_wrong_weights():
    sheet = Sheet([Knob("a", "filter", "continuous", 0, 127)])
    assert Likeness(sheet).nearest(Values({"a": 1})) == ()
    index = Likeness(sheet, [(1, Values({"a": 1}))])
    assert index.nearest(Values({"a": 1}), 0) == ()
    with pytest.raises(BadInput, match="“fliter” is no section"):
        index.nearest(Values({"a": 1}), weights={"fliter": 1})
    with pytest.raises(BadInput, match="weight"):
        index.nearest(Values({"a": 1}), weights={"filter": -1})
