"""Comparison: what is equal, different, unknown; how large; in which order. Charts are the shipped ones."""

from __future__ import annotations

import itertools
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart, load, shipped
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.sounds import compare, compare_versions
from librarian.sounds.compare import share_between, strangers


@cache
def chart(name: str) -> Chart:
    return load(shipped()[name])


def some_values(name: str) -> st.SearchStrategy[Values]:
    parameters = chart(name).parameters.values()
    return st.fixed_dictionaries({}, optional={each.id: st.integers(each.low, each.high) for each in parameters}).map(
        Values
    )


PAIRS = st.sampled_from(["lanternfish", "fogbell"]).flatmap(
    lambda name: st.tuples(st.just(name), some_values(name), some_values(name))
)


@settings(max_examples=40)
@given(PAIRS, st.booleans())
def test_every_parameter_is_in_exactly_one_state(pair, with_setup):
    name, a, b = pair
    result = compare(chart(name), a, b, with_setup=with_setup)
    assert [row.parameter for row in result.rows] == list(chart(name).parameters)
    for row in result.rows:
        known = row.parameter in a and row.parameter in b
        expected = "unknown" if not known else "equal" if a[row.parameter] == b[row.parameter] else "different"
        assert row.state == expected
        assert (row.a, row.b) == (a.get(row.parameter), b.get(row.parameter))
        assert (row.text_a == "unknown") == (row.a is None)
        assert bool(row.text_difference) == (row.state == "different")
    states = ("equal", "different", "unknown")
    counted = len(chart(name).parameters if with_setup else chart(name).sound_ids)
    assert sum(result.count(state) for state in states) == len(result.counted) == counted


@settings(max_examples=40)
@given(PAIRS)
def test_turned_round_the_size_stays_and_the_sign_changes(pair):
    name, a, b = pair
    there, back = compare(chart(name), a, b), compare(chart(name), b, a)
    for one, other in zip(there.rows, back.rows, strict=True):
        assert one.share == other.share
        assert one.state == other.state
        swap = {"+": "−", "−": "+"}
        if one.text_difference[:1] in swap:
            assert other.text_difference == swap[one.text_difference[0]] + one.text_difference[1:]


@settings(max_examples=40)
@given(PAIRS)
def test_shares_lie_between_nothing_and_the_whole_range(pair):
    name, a, b = pair
    for row in compare(chart(name), a, b).rows:
        parameter = chart(name).parameters[row.parameter]
        assert (row.share > 0) == (row.state == "different")
        assert 0 <= row.share <= 1
        if row.state == "different" and parameter.kind in ("stepped", "switch"):
            assert row.share == 1
            assert row.text_difference == "differs"
        elif row.state == "different":
            width = parameter.high - parameter.low
            assert row.share == pytest.approx(abs(a[row.parameter] - b[row.parameter]) / width)


@settings(max_examples=40)
@given(PAIRS, st.booleans())
def test_by_size_the_largest_go_first_and_the_unknown_last(pair, with_setup):
    name, a, b = pair
    result = compare(chart(name), a, b, with_setup=with_setup)
    ordered = result.by_size()
    assert sorted(row.parameter for row in ordered) == sorted(row.parameter for row in result.counted)
    rank = {"different": 0, "equal": 1, "unknown": 2}
    keys = [(rank[row.state], -row.share) for row in ordered]
    assert keys == sorted(keys)
    place = {row.parameter: number for number, row in enumerate(result.rows)}
    for one, other in itertools.pairwise(ordered):
        if (one.state, one.share) == (other.state, other.share):
            assert place[one.parameter] < place[other.parameter]


def test_texts_are_in_display_units():
    cutoff = chart("lanternfish").parameters["filter.cutoff"]
    a, b = cutoff.parse("642 Hz"), cutoff.parse("1.2 kHz")
    (row,) = compare(chart("lanternfish"), Values({cutoff.id: a}), Values({cutoff.id: b})).different
    assert (row.text_a, row.text_b) == ("642 Hz", "1.2 kHz")
    assert row.text_difference.startswith("+")
    assert row.text_difference.endswith("Hz")


def test_setup_is_a_row_but_counts_only_when_asked():
    a, b = Values({"voice.transpose": 0}), Values({"voice.transpose": 12})
    left_out, asked = (compare(chart("lanternfish"), a, b, with_setup=asked) for asked in (False, True))
    assert left_out.different == ()
    assert [row.parameter for row in asked.different] == ["voice.transpose"]
    assert len(left_out.rows) == 52
    assert len(left_out.counted) == 50


def test_a_value_outside_the_range_is_not_larger_than_the_range():
    cutoff = chart("fogbell").parameters["filter.cutoff"]
    assert share_between(cutoff, 0, 400) == 1
    (row,) = compare(chart("fogbell"), Values({cutoff.id: 0}), Values({cutoff.id: 400})).different
    assert row.share == 1


def test_ids_that_the_chart_does_not_have_are_named_not_compared():
    a, b = Values({"old.knob": 1, "filter.cutoff": 3}), Values({"older.knob": 2})
    assert strangers(chart("fogbell"), a, b) == ("old.knob", "older.knob")
    assert len(compare(chart("fogbell"), a, b).rows) == 22


def test_sounds_of_different_instruments_are_refused():
    mine, other = Version("fogbell", 2, Values()), Version("lanternfish", 4, Values())
    with pytest.raises(Refused, match="“lanternfish” cannot be compared"):
        compare_versions(chart("fogbell"), mine, other)
    assert compare_versions(chart("fogbell"), mine, Version("fogbell", 2, Values())).count("unknown") == 22


def test_sounds_of_a_revision_that_the_chart_tells_nothing_of_are_refused():
    with pytest.raises(Refused, match="does not tell how it came from revision 1"):
        compare_versions(chart("fogbell"), Version("fogbell", 2, Values()), Version("fogbell", 1, Values()))
