"""Versions carried between revisions: what each change does, hand-worked, and there and back for random histories."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Carried, Chart, ChartFaults, carry, load, loads, shipped
from librarian.errors import Refused
from librarian.messages import Values, Version


def chart(parameters: dict[str, tuple[int, int]], history: list[str], revision: int = 2) -> Chart:
    text = f'id = "x"\nname = "X"\nrevision = {revision}\n[[section]]\nid = "s"\nlabel = "S"\n'
    for number, (name, (low, high)) in enumerate(parameters.items()):
        text += f'[[parameter]]\nid = "{name}"\nlabel = "P"\nsection = "s"\nrange = [{low}, {high}]\n'
        text += f'bindings = [{{ nrpn = {number}, map = "scaled" }}]\n'
    for number, changes in enumerate(history, revision - len(history) + 1):
        text += f"[[history]]\nnumber = {number}\nchanges = [{changes}]\n"
    return loads(text)


def carried(one: Chart, values: dict[str, int], start: int, to: int | None = None) -> Carried:
    return carry(Version(chart="x", revision=start, values=Values(values), name="Fog"), one, to)


RANGE = (0, 127)


@pytest.mark.parametrize(
    ("parameters", "change", "before", "after"),
    [
        ({"b": RANGE}, '{ renamed = "a", to = "b" }', {"a": 5}, {"b": 5}),
        ({"a": (0, 16383)}, '{ rescaled = "a", was = [0, 127] }', {"a": 127}, {"a": 16383}),
        ({"a": (0, 16383)}, '{ rescaled = "a", was = [0, 127] }', {"a": 1}, {"a": 129}),  # 16383 / 127 = 129.0
        ({"a": (-50, 50)}, '{ rescaled = "a", was = [0, 100] }', {"a": 75}, {"a": 25}),
        ({"b": (0, 63)}, '{ rescaled = "a", to = "b", was = [0, 127] }', {"a": 127}, {"b": 63}),
        ({"a": (0, 100)}, '{ rescaled = "a", was = [0, 4], points = [[0, 0], [2, 10], [4, 100]] }', {"a": 3},
         {"a": 55}),
        ({"a": RANGE, "b": (0, 1)}, '{ split = "ab", was = [0, 255], into = ["a", "b"], by = "digits" }', {"ab": 201},
         {"a": 100, "b": 1}),
        ({"a": RANGE, "b": (0, 63)}, '{ split = "ab", was = [0, 127], into = ["a", "b"] }', {"ab": 127},
         {"a": 127, "b": 63}),
        ({"c": (0, 16383)}, '{ merged = ["a", "b"], ranges = [[0, 127], [0, 127]], to = "c", by = "digits" }',
         {"a": 2, "b": 5}, {"c": 261}),
        ({"a": RANGE, "n": (0, 9)}, '{ added = "n", value = 3 }', {"a": 1}, {"a": 1, "n": 3}),
        ({"a": RANGE, "n": (0, 9)}, '{ added = "n" }', {"a": 1}, {"a": 1}),
        ({"a": RANGE}, '{ moved = "a" }', {"a": 1}, {"a": 1}),
        ({"a": RANGE}, "", {"a": 1}, {"a": 1}),
    ],
)  # fmt: skip
def test_changes(
    parameters: dict[str, tuple[int, int]], change: str, before: dict[str, int], after: dict[str, int]
) -> None:
    one = chart(parameters, [change])
    there = carried(one, before, 1)
    assert {name: value for name, value in there.version.values.items() if "@" not in name} == after
    assert there.version.revision == 2
    assert there.version.unknown == set(parameters) - set(after)
    back = carry(there.version, one, 1)
    assert {name: value for name, value in back.version.values.items() if "@" not in name} == before


def test_what_is_removed_is_kept_aside_and_comes_back() -> None:
    one = chart({"a": RANGE}, ['{ removed = "b", was = [0, 9] }'])
    there = carried(one, {"a": 1, "b": 7}, 1)
    assert there.version.values == Values({"a": 1, "b@1": 7})
    (lost,) = there.lost
    assert lost.sentence == "b is not in revision 2; its value is kept aside."
    back = carry(there.version, one, 1)
    assert back.version.values == Values({"a": 1, "b": 7})
    assert not back.lost


def test_what_is_new_is_kept_aside_on_the_way_back() -> None:
    one = chart({"a": RANGE, "n": (0, 9)}, ['{ added = "n", value = 3 }'])
    old = carried(one, {"a": 1, "n": 8}, 2, 1)
    assert old.version.values == Values({"a": 1, "n@2": 8})
    assert carry(old.version, one).version.values == Values({"a": 1, "n": 8})


def test_what_is_inexact_comes_back_unless_it_was_changed() -> None:
    one = chart({"a": (0, 63)}, ['{ rescaled = "a", was = [0, 127] }'])
    there = carried(one, {"a": 100}, 1)
    assert there.version.values == Values({"a": 50, "a@1": 100})
    assert carry(there.version, one, 1).version.values == Values({"a": 100})
    changed = Version(chart="x", revision=2, values=there.version.values.with_values({"a": 51}))
    assert carry(changed, one, 1).version.values["a"] == 103


def test_unknown_stays_unknown() -> None:
    one = chart({"c": (0, 16383)}, ['{ merged = ["a", "b"], ranges = [[0, 127], [0, 127]], to = "c", by = "digits" }'])
    there = carried(one, {"a": 2}, 1)
    assert there.version.unknown == {"c"}
    assert there.version.values == Values({"a@1": 2})
    assert len(there.lost) == 1


def test_a_copy_that_was_turned_apart_is_not_expressed_exactly() -> None:
    one = chart({"a": RANGE, "b": RANGE}, ['{ split = "ab", was = [0, 127], into = ["a", "b"] }'])
    old = carried(one, {"a": 5, "b": 6}, 2, 1)
    assert old.version.values == Values({"ab": 5, "a@2": 5, "b@2": 6})
    assert carry(old.version, one).version.values == Values({"a": 5, "b": 6})


def test_lanternfish_back_to_its_second_revision_and_forth() -> None:
    one = load(shipped()["lanternfish"])
    assert one.revisions == (3, 2)
    values = {**one.defaults(), "filter.mode": 2, "filter.slope": 1, "lfo.rate1": 1000}
    version = Version(chart="lanternfish", revision=4, values=Values(values), received=(b"\xf0\xf7",))
    old = carry(version, one, 2)
    assert old.version.values["filter.type"] == 5
    assert old.version.values["voice.portamento"] == values["voice.glide"]
    assert old.version.values["lfo.rate1"] == 8  # 1000 · 127 ÷ 16383 = 7.75
    assert "voice.spread" in old.version.unknown
    assert old.version.received == ()
    assert [row.new or row.old for row in old.lost] == [("osc1.drift",), ("lfo.rate1",)]
    again = carry(old.version, one)
    assert again.version.values == version.values
    assert not again.version.unknown
    assert again.version.origin.kind == "carried"


def test_what_cannot_be_carried() -> None:
    one = chart({"a": RANGE}, ["", ""], revision=5)
    assert one.revisions == (4, 3)
    with pytest.raises(Refused, match="does not tell how it came from revision 2"):
        carried(one, {"a": 1}, 2)
    with pytest.raises(Refused, match="does not tell how it came from revision 9"):
        carried(one, {"a": 1}, 9)
    with pytest.raises(Refused, match="belongs to the chart y"):
        carry(Version(chart="y", revision=5, values=Values()), one)
    same = carried(one, {"a": 1}, 5)
    assert same.rows == ()
    assert same.version.origin.kind == "captured"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ('{ added = "z" }', "no parameter “z”"),
        ('{ renamed = "b", to = "a" }, { moved = "a" }', "Two changes"),
        ('{ renamed = "b" }', "needs “to”"),
        ('{ added = "a", was = [0, 1] }', "“was” has no meaning"),
        ('{ added = "a", moved = "a" }', "added and moved"),
        ("{ lossless = true }", "none of them"),
        ('{ added = "a", value = 200 }', "outside the range"),
        ('{ removed = "a", was = [0, 5] }', "in both revisions"),
        ('{ removed = "q", was = [5, 0] }', "no two values"),
        ('{ rescaled = "a", was = [0, 255], lossless = true }', "not lossless: 1 does not come back"),
        ('{ rescaled = "a", was = [0, 5], points = [[0, 0], [4, 127]] }', "the range from 0 to 5"),
        ('{ rescaled = "a", was = [0, 5], points = [[0, 5], [5, 127]] }', "run from 5 to 127"),
        ('{ rescaled = "a", was = [0, 5], points = [[0, 0], [0, 127]] }', "do not rise"),
        ('{ merged = ["p", "q"], ranges = [[0, 1]], to = "a" }', "at least 2"),
        ('{ merged = ["p", "p"], ranges = [[0, 1], [0, 1]], to = "a" }', "stands here twice"),
    ],
)
def test_histories_that_cannot_be(change: str, said: str) -> None:
    with pytest.raises(ChartFaults) as caught:
        chart({"a": RANGE}, [change])
    (fault,) = caught.value.faults
    assert said in fault.sentence
    assert fault.line > 0


def test_numbers_of_revisions() -> None:
    for number, said in ((3, "chart is revision 2"), (2, "twice")):
        text = 'id = "x"\nname = "X"\nrevision = 2\n[[history]]\nnumber = 2\n'
        text += (
            '[[section]]\nid = "s"\nlabel = "S"\n[[parameter]]\nid = "a"\nlabel = "P"\nsection = "s"\nrange = [0, 1]\n'
        )
        with pytest.raises(ChartFaults, match=said):
            loads(f"{text}bindings = [{{ cc = 20 }}]\n[[history]]\nnumber = {number}\n")


def histories() -> st.SearchStrategy[tuple[Chart, dict[str, tuple[int, int]], dict[str, tuple[int, int]]]]:
    """A chart of two revisions with random changes, and the ranges of both."""
    return st.lists(
        st.tuples(
            st.sampled_from(["same", "renamed", "rescaled", "points", "split", "digits", "merged", "added", "removed"]),
            st.tuples(st.integers(-50, 50), st.integers(1, 40)),
            st.tuples(st.integers(-50, 50), st.integers(1, 40)),
            st.booleans(),
        ),
        min_size=1,
        max_size=8,
    ).map(_history)


def _history(items: list[Any]) -> tuple[Chart, dict[str, tuple[int, int]], dict[str, tuple[int, int]]]:
    older: dict[str, tuple[int, int]] = {}
    newer: dict[str, tuple[int, int]] = {"always": (0, 1)}
    changes: list[str] = []
    older["always"] = (0, 1)
    for index, (word, (low, size), (low2, size2), flag) in enumerate(items):
        a, b, c = f"a{index}", f"b{index}", f"c{index}"
        first, second = (low, low + size), (low2, low2 + size2)
        if word == "same":
            older[a] = newer[a] = first
        elif word == "renamed":
            older[a] = newer[b] = first
            changes.append(f'{{ renamed = "{a}", to = "{b}" }}')
        elif word == "rescaled":
            older[a], newer[a] = first, second
            claim = ", lossless = true" if size <= size2 else ""
            changes.append(f'{{ rescaled = "{a}", was = [{first[0]}, {first[1]}]{claim} }}')
        elif word == "points":
            older[a], newer[b] = first, second
            points = f"[[{first[0]}, {second[0]}], [{first[1]}, {second[1]}]]"
            changes.append(f'{{ rescaled = "{a}", to = "{b}", was = [{first[0]}, {first[1]}], points = {points} }}')
        elif word == "split":
            older[a], newer[b], newer[c] = first, first, second
            changes.append(f'{{ split = "{a}", was = [{first[0]}, {first[1]}], into = ["{b}", "{c}"] }}')
        elif word == "digits":
            count = (size + 1) * (size2 + 1)
            older[a], newer[b], newer[c] = (low, low + count - 1), first, second
            into = f'into = ["{b}", "{c}"], by = "digits", lossless = true'
            changes.append(f'{{ split = "{a}", was = [{low}, {low + count - 1}], {into} }}')
        elif word == "merged":
            older[a], older[b], newer[c] = first, second, first
            ranges = f"[[{first[0]}, {first[1]}], [{second[0]}, {second[1]}]]"
            changes.append(f'{{ merged = ["{a}", "{b}"], ranges = {ranges}, to = "{c}" }}')
        elif word == "added":
            newer[a] = first
            changes.append(f'{{ added = "{a}"{f", value = {low}" if flag else ""} }}')
        else:
            older[a] = first
            changes.append(f'{{ removed = "{a}", was = [{first[0]}, {first[1]}] }}')
    return chart(newer, [", ".join(changes)]), older, newer


@settings(max_examples=40)
@given(histories(), st.data())
def test_there_and_back_is_identity(
    case: tuple[Chart, dict[str, tuple[int, int]], dict[str, tuple[int, int]]], data: st.DataObject
) -> None:
    one, older, newer = case
    start = data.draw(st.sampled_from([1, 2]))
    ranges = older if start == 1 else newer
    known = data.draw(st.lists(st.sampled_from(sorted(ranges)), unique=True))
    values = {name: data.draw(st.integers(*ranges[name])) for name in known}
    there = carried(one, values, start, 3 - start)
    target = newer if start == 1 else older
    for name, value in there.version.values.items():
        if "@" not in name:
            assert target[name][0] <= value <= target[name][1]
    assert {name for row in there.rows for name in row.old} == set(ranges)
    back = carry(there.version, one, start)
    got = {name: value for name, value in back.version.values.items() if "@" not in name and name in values}
    assert got == values
