"""What is kept comes back exactly, once, and never changes."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, event

from librarian.collection import Library, NewPatch
from librarian.collection.layout import Layout, layout_for, width_for
from librarian.errors import BadInput, Cancelled, Refused
from librarian.messages import Address, Origin, Values, Version

IDS = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=8)
NUMBERS = st.integers(-(2**63) + 1, 2**63 - 1) | st.integers(-200, 300)


@given(known=st.dictionaries(IDS, NUMBERS, max_size=12), unknown=st.sets(IDS, max_size=6))
def test_any_values_survive_packing(known: dict[str, int], unknown: set[str]) -> None:
    unknown -= set(known)
    layout = layout_for("any", 1, {}, known, unknown)
    row = layout.pack(known)
    assert row is not None
    assert layout.unpack(row) == (Values(known), frozenset(unknown))
    assert layout.count_unknown(row) == len(unknown)
    assert len(row) == layout.size


@given(low=NUMBERS, high=NUMBERS)
def test_codes_of_a_column_sort_like_values_and_unknown_sorts_below(low: int, high: int) -> None:
    low, high = sorted((low, high))
    layout = Layout("any", 1, ("x",), (width_for(low, high),))
    rows = [layout.pack({"x": low}), layout.pack({"x": high}), layout.pack({})]
    assert rows[0] is not None
    assert rows[1] is not None
    assert rows[2] is not None
    assert (rows[0] < rows[1]) == (low < high)
    assert rows[2] < rows[0]


def test_a_value_beyond_the_width_needs_another_layout() -> None:
    layout = Layout("any", 1, ("x",), (1,))
    assert layout.pack({"x": 127}) == b"\xff"
    assert layout.pack({"x": -127}) == b"\x01"
    assert layout.pack({"x": 128}) is None
    assert layout.pack({"x": -128}) is None
    with pytest.raises(BadInput, match="too large"):
        width_for(0, 2**63)


def test_a_version_comes_back_whole(library: Library, lantern: int, lanternfish, sound) -> None:
    first = next(iter(lanternfish.parameters))
    kept = sound(unknown=(first,), origin=Origin("imported", "a file.syx, offset 12"))
    patch = library.keep(lantern, "Storm, first gust", kept, ("scene/storm", "loud"), "gusts\nfrom the left")
    row = library.patch(patch)
    assert (row.name, row.tags, row.note) == ("Storm, first gust", ("scene/storm", "loud"), "gusts\nfrom the left")
    assert (row.instrument, row.instrument_name, row.unknown, row.versions) == (lantern, "Lanternfish", 1, 1)
    assert library.version(row.latest) == kept
    (version,) = library.versions(patch)
    assert (version.number, version.origin, version.unknown) == (1, Origin("imported", "a file.syx, offset 12"), 1)
    assert version.taken == kept.taken


def test_what_a_version_leaves_out_is_unknown_not_known(library: Library, lantern: int, lanternfish) -> None:
    some = {name: each.low for name, each in list(lanternfish.parameters.items())[:5]}
    patch = library.keep(lantern, "Five knobs", Version(lanternfish.id, lanternfish.revision, Values(some)))
    version = library.version(library.patch(patch).latest)
    assert version.values == Values(some)
    assert version.unknown == frozenset(lanternfish.parameters).difference(some)
    assert library.patch(patch).unknown == len(lanternfish.parameters) - 5


def test_values_that_no_chart_names_are_kept_too(library: Library, lantern: int) -> None:
    odd = Version("never heard of", 7, Values({"a": 5_000_000_000, "b": -3}), frozenset({"c"}))
    patch = library.keep(lantern, "Odd", odd)
    back = library.version(library.patch(patch).latest)
    assert (back.chart, back.revision, back.values, back.unknown) == (odd.chart, 7, odd.values, odd.unknown)


def test_equal_contents_are_stored_once(library: Library, lantern: int, sound) -> None:
    first = library.keep(lantern, "One", sound(), ())
    second = library.keep(lantern, "Two", sound(), ())
    library.add_version(first, sound())
    with sqlite3.connect(library.path) as plain:
        assert plain.execute("SELECT count(*) FROM content").fetchone() == (1,)
        assert plain.execute("SELECT count(*) FROM received").fetchone() == (1,)
        assert plain.execute("SELECT count(*) FROM version").fetchone() == (3,)
    plain.close()
    assert library.same_values() == [[first, second]]


def test_versions_only_grow(library: Library, lantern: int, any_sound) -> None:
    patch = library.keep(lantern, "Growing", any_sound(1))
    library.add_version(patch, any_sound(2), "brighter")
    rows = library.versions(patch)
    back = library.add_version(patch, library.version(rows[0].id), parent=rows[0].id)
    rows = library.versions(patch)
    assert [row.number for row in rows] == [1, 2, 3]
    assert [row.note for row in rows] == ["", "brighter", ""]
    assert [row.parent for row in rows] == [None, rows[0].id, rows[0].id]
    assert rows[0].content == rows[2].content != rows[1].content
    assert library.patch(patch).latest == back
    assert library.version(rows[1].id).values == any_sound(2).values


def test_the_chart_text_stays_for_ever(library: Library, sound, lanternfish) -> None:
    older = SimpleNamespace(
        id="lanternfish", revision=1, name="Old", text="# first text", parameters={"a": SimpleNamespace(low=0, high=1)}
    )
    number = library.add_instrument(older, "Old one", Address())
    assert library.chart_text("lanternfish", 1) == "# first text"
    library.update_instrument(number, chart=lanternfish, firmware="2.1")
    library.remove_instrument(number)
    assert library.instruments() == ()
    assert library.instrument(number).removed
    assert (library.instrument(number).chart, library.instrument(number).firmware) == ("lanternfish", "2.1")
    assert library.chart_text("lanternfish", lanternfish.revision) == lanternfish.text
    assert ("lanternfish", 1, "Old") in library.charts()
    with pytest.raises(Refused, match="keeps no text of chart"):
        library.chart_text("nowhere", 1)


def test_many_are_one_step_and_all_or_nothing(library: Library, lantern: int, any_sound) -> None:
    def sounds(count: int):
        return (NewPatch(lantern, f"Sound {n}", any_sound(n), ("imported/bank",)) for n in range(count))

    seen: list[int] = []
    made = library.keep_many(sounds(30), "Import of a bank", seen.append)
    assert (len(made), seen, library.total()) == (30, [30], 30)
    assert [row.name for row in library.rows(made[:2])] == ["Sound 0", "Sound 1"]

    def stop(done: int) -> None:
        raise Cancelled

    before = library.stamp()
    with pytest.raises(Cancelled):
        library.keep_many(sounds(10), "Import of a bank", stop)
    assert (library.total(), library.stamp()) == (30, before)
    assert library.undo() == "Import of a bank"
    assert library.total() == 0
    assert library.redo() == "Import of a bank"
    assert [row.id for row in library.rows(made)] == list(made)


def test_several_calls_become_one_step(library: Library, lantern: int, any_sound) -> None:
    with library.together("Try three"):
        for number in range(3):
            library.tag([library.keep(lantern, f"{number}", any_sound(number))], add=["try"])
    assert library.tag_counts() == [("try", 3)]
    assert library.undo() == "Try three"
    assert library.total() == 0
    with pytest.raises(BadInput), library.together("Never"):
        library.rename(library.keep(lantern, "gone", any_sound(1)), "")
    assert library.total() == 0
    assert library.redo_label() == "Try three"


def test_what_was_not_understood_is_kept_and_listed(library: Library) -> None:
    ids = library.keep_unread([((b"\xf0\x7d\x01\xf7", b"\xfe"), "bank.syx, offset 0", "no chart knows it")])
    (row,) = library.unread()
    assert (row.id, row.messages) == (ids[0], (b"\xf0\x7d\x01\xf7", b"\xfe"))
    assert (row.source, row.reason) == ("bank.syx, offset 0", "no chart knows it")
    library.forget_unread(ids)
    assert library.unread() == ()
    library.undo()
    assert len(library.unread()) == 1


@pytest.mark.parametrize(
    ("given_name", "kept"),
    [
        ("two\nlines\x00and\x1b[31m NUL", "two lines and [31m NUL"),
        ("lone \ud800 surrogate", "lone \ufffd surrogate"),
        ("<b>bold</b> \u202etxet", "<b>bold</b> \u202etxet"),
        ("  blanks  ", "blanks"),
        ("'; DROP TABLE patch; --", "'; DROP TABLE patch; --"),
        ("x" * 5000, "x" * 999 + "…"),
    ],
)
def test_hostile_names_are_kept_as_one_line(library: Library, lantern: int, any_sound, given_name, kept) -> None:
    patch = library.keep(lantern, given_name, any_sound(1))
    assert library.patch(patch).name == kept
    assert library.find(trash=False).ids == [patch]


def test_refusals_name_what_is_wrong(library: Library, lantern: int, any_sound) -> None:
    patch = library.keep(lantern, "One", any_sound(1))
    with pytest.raises(Refused, match="no instrument number 99"):
        library.keep(99, "x", any_sound(1))
    with pytest.raises(Refused, match="no longer in the library"):
        library.add_version(patch + 1, any_sound(1))
    with pytest.raises(BadInput, match="needs a name"):
        library.rename(patch, " \n")
    with pytest.raises(BadInput, match="tag needs"):
        library.tag([patch], add=[" / "])
    with pytest.raises(BadInput, match="too long"):
        library.set_note(patch, "x" * 1_000_001)
    assert library.patch(patch).tags == ()


def test_the_library_is_readable_with_plain_sql(library: Library, lantern: int, lanternfish, any_sound) -> None:
    """Only the sqlite3 module and what the docstring of schema.py says; none of our code."""
    kept = any_sound(5)
    library.keep(lantern, "Plain", kept, ("a/b", "c"), "note")
    plain = sqlite3.connect(f"file:{Path(library.path).as_posix()}?mode=ro", uri=True)
    name, tags, parameters, widths, row = plain.execute(
        "SELECT patch.name, patch.tags, layout.parameters, layout.widths, content.row FROM patch "
        "JOIN version ON version.id = patch.latest_id JOIN content ON content.id = version.content_id "
        "JOIN layout ON layout.id = content.layout_id WHERE patch.state = 0"
    ).fetchone()
    linked = plain.execute("SELECT tag.name FROM patch_tag JOIN tag ON tag.id = tag_id ORDER BY position").fetchall()
    plain.close()
    import json

    found, place = {}, 0
    for parameter, width in zip(json.loads(parameters), map(int, widths), strict=True):
        code = int.from_bytes(row[place : place + width], "big")
        place += width
        if code:
            found[parameter] = code - (1 << (8 * width - 1))
    assert (name, tags.split("\n"), [tag for (tag,) in linked]) == ("Plain", ["a/b", "c"], ["a/b", "c"])
    assert found == dict(kept.values)


def test_tags_of_many_sounds_are_found_or_made_at_once(library: Library, lantern: int, any_sound) -> None:
    """A table may bring another tag in every row; each must not cost questions of its own."""
    library.keep(lantern, "First", any_sound(0), ["Act 7"])
    asked: list[str] = []

    def noted(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        asked.append(statement)

    event.listen(Engine, "before_cursor_execute", noted)
    try:
        made = library.keep_many(NewPatch(lantern, f"S {n}", any_sound(n), (f"act {n}", "same")) for n in range(500))
    finally:
        event.remove(Engine, "before_cursor_execute", noted)
    assert len(asked) < 100
    assert [row.tags for row in library.rows([made[6], made[7]])] == [("act 6", "same"), ("Act 7", "same")]
