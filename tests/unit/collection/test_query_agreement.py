"""Judges of one query: SQL, the arrays in memory (with and without words), and the query object. They must agree."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.chart import Chart
from librarian.collection import Library, NewPatch
from librarian.collection import finding as roads
from librarian.messages import Address, Origin, Values, Version

NOW = datetime(2026, 3, 12, 20, 0, tzinfo=UTC)
WORDS = (
    "Storm",
    "gust",
    "Harbour",
    "Überfahrt",
    "uber",
    "ueber",
    "bell",
    "Bells",
    "mid-fi",
    "10",
    "1",
    "雨音",
    "café",
    "st",
)
TAGS = ("scene/storm", "scene/Harbour calm", "bass", "Bässe/tief", "loud")
NOTES = ("", "", "gusts from the left", "for the café scene, 10 bars", "Überfahrt")
KINDS = ("captured", "by hand", "imported", "edited")


def fill(library: Library, charts: tuple[Chart, ...], count: int) -> None:
    luck = random.Random(7)
    instruments = [
        library.add_instrument(chart, name, Address())
        for chart, name in zip(charts, ("Lanternfish", "Fogbell"), strict=True)
    ]
    for number in range(count):
        which = luck.randrange(2)
        version = random_version(luck, charts[which])
        patch = library.keep(
            instruments[which],
            " ".join(luck.sample(WORDS, luck.randint(1, 3))),
            version,
            luck.sample(TAGS, luck.randint(0, 2)),
            luck.choice(NOTES),
        )
        if number % 4 == 0:
            library.add_version(patch, random_version(luck, charts[which]))
        if number % 9 == 0:
            library.delete([patch])


def random_version(luck: random.Random, chart: Chart) -> Version:
    known = {name: luck.randint(each.low, each.high) for name, each in chart.parameters.items() if luck.random() > 0.1}
    if luck.random() < 0.1:  # a byte from a dump with a fault: beyond the chart's range, in a wider layout
        known[next(iter(known))] = 9999
    return Version(
        chart.id,
        chart.revision,
        Values(known),
        origin=Origin(luck.choice(KINDS), luck.choice(("", "Bank A.SYX, offset 12"))),  # type: ignore[arg-type]
        taken=NOW - timedelta(hours=luck.randint(0, 24 * 500)),
    )


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, lanternfish: Chart, fogbell: Chart) -> Iterator[Library]:
    with Library.open(Path(tmp_path_factory.mktemp("agree")) / "library.sqlite") as library:
        fill(library, (lanternfish, fogbell), 120)
        yield library


def agree(library: Library, line: str, order: str = "name", **more) -> None:
    """All answers, read inside the collection as no door lets one choose the road."""
    search = library._search
    with library._store.read() as connection:
        state = library._store.state(connection)
        vocabulary = search._words(connection, state)
        asked = roads.ask(line, vocabulary, NOW, order=order, **more)
        by_sql = list(roads.find_by_sql(connection, asked))
        assert search._keeper.learn_words(connection, *state)
        shelf = search._keeper.current(connection, *state)
        with_words = list(roads.find_on_shelf(connection, asked, shelf))
        on_shelf = list(roads.find_on_shelf(connection, asked, dataclasses.replace(shelf, words=None)))
        every = roads.find_by_sql(connection, roads.ask("", vocabulary, NOW))
        known = roads.facts(connection, list(every))
        judged = {patch for patch in every if asked.node.judge(known[patch])}
        reasons = roads.reasons(connection, asked.node, by_sql)
    assert set(by_sql) == judged, (line, asked.node)
    assert by_sql == on_shelf == with_words, (line, asked.node)
    assert set(reasons) == judged


ATOMS = st.sampled_from(
    [
        *WORDS, "s", "b", "har", "ü", "雨", '"harbour storm"', '"mid"', '"mid fi"', "“bell", "caf",
        "tag:scene", "tag:storm", "tag:scene/st", 'tag:"scene/harbour calm"', "tag:bass", "tag:ba", "tag:tief",
        "instrument:fog", "instrument:lan", "name:bell", "note:10", 'note:"from the left"', "note:caf",
        "before:2026", "after:2025-06", "since:last month", "on:march", "after:3 days ago", "before:yesterday",
        "has:unknown", "has:note", "has:tags", "has:versions", "from:file", "from:hand", "from:syx", "from:captured",
        "cutoff > 2 kHz", "cutoff<=642Hz", "cutoff = 1 kHz", "cutoff != 1 kHz", "cutoff > 90 kHz", "cutoff < 90 kHz",
        "attack < 20 ms", "amp envelope attack >= 1 s", "wave = saw", "wave != saw", "tune < −3 ct", "tune >= 0",
        "transpose > 3 st", "drive unknown", "cutoff = unknown", "cutoff != unknown", "resonance > 50 %",
        # broken ones must agree on what is left of them
        "tag:nowhere", "wave = nonsense", "cutof > 3", "foo:bar", "(", ")", "or", "not", "cutoff >",
    ]
)  # fmt: skip
LINES = st.recursive(
    ATOMS,
    lambda inner: (
        st.builds("{} {}".format, inner, inner)
        | st.builds("{} or {}".format, inner, inner)
        | st.builds("not {}".format, inner)
        | st.builds("({})".format, inner)
    ),
    max_leaves=6,
)


@settings(max_examples=150)
@given(line=LINES, order=st.sampled_from(["name", "time", "instrument", "match"]))
def test_all_roads_lead_to_the_same_patches(filled: Library, line: str, order: str) -> None:
    agree(filled, line, order)


@settings(max_examples=80)
@given(line=st.text(max_size=40) | st.text('abs"()<>=:or not/“”−-.%\\\x00*^{}', max_size=40))
def test_nothing_typed_is_ever_an_error(filled: Library, line: str) -> None:
    agree(filled, line)
    filled.complete(line)
    for cursor in range(0, len(line), 7):
        filled.complete(line, cursor)


@settings(max_examples=40)
@given(
    line=LINES,
    tags=st.lists(st.sampled_from([*TAGS, "scene", "none"]), max_size=2),
    instrument=st.sampled_from([None, 1, 2, 9]),
)
def test_chosen_tags_and_instrument_join_in(
    filled: Library, line: str, tags: list[str], instrument: int | None
) -> None:
    agree(filled, line, tags=tags, instrument=instrument)


def test_memory_follows_every_change(filled: Library, lanternfish: Chart, tmp_path: Path) -> None:
    """The arrays are kept up to date piece by piece; after any edit they must equal a library read anew."""
    luck = random.Random(3)
    with Library.open(tmp_path / "library.sqlite") as library, Library.open(tmp_path / "library.sqlite") as other:
        lantern = library.add_instrument(lanternfish, "Lanternfish", Address())
        made = list(
            library.keep_many(
                NewPatch(lantern, luck.choice(WORDS), random_version(luck, lanternfish), ("bass",)) for _ in range(40)
            )
        )
        library.warm()
        edits = [
            lambda: library.rename(luck.choice(made), luck.choice(WORDS)),
            lambda: library.tag(luck.sample(made, 5), add=["loud"], remove=["bass"]),
            lambda: library.delete(luck.sample(made, 3)),
            lambda: other.restore(luck.sample(made, 3)),
            lambda: other.set_note(luck.choice(made), "gusts"),
            lambda: library.add_version(luck.choice(made), random_version(luck, lanternfish)),
            lambda: made.append(other.keep(lantern, "new one", random_version(luck, lanternfish))),
            lambda: (
                library.rename_tag("loud", luck.choice(("Loud", "very loud", "bass")))
                if ("loud", 1) in library.tag_counts()
                else None
            ),
            library.undo,
            other.undo,
            library.redo,
        ]
        lines = ["", "gust", "tag:loud cutoff > 2 kHz", "not drive unknown", "has:versions"]
        for _ in range(25):
            luck.choice(edits)()
            for line in lines:
                agree(library, line, luck.choice(["name", "time", "match"]))
            with library._store.read() as connection:
                state = library._store.state(connection)
                shelf = library._search._keeper.current(connection, *state)
                by_sql = roads.tag_counts(connection, shelf.order(connection, "name").tolist())
                words = library._search._words(connection, state)
            found = library.find()
            assert (
                roads.tag_counts_on_shelf(shelf, shelf.mask(found.ids.array), words) == by_sql == library.tag_counts()
            )
        library.empty_trash()
        assert len(library.find()) == library.total()
        agree(library, "cutoff > 2 kHz")


@pytest.mark.parametrize("of_any_revision", [True, False])
def test_the_table_of_values_has_what_the_versions_have(
    filled: Library, lanternfish: Chart, of_any_revision: bool
) -> None:
    table = filled.value_table(lanternfish.id, None if of_any_revision else lanternfish.revision)
    rows = [row for row in filled.rows(filled.find().ids) if row.instrument_name == "Lanternfish"]
    assert table.ids.tolist() == sorted(row.id for row in rows)
    versions = filled.version_contents([row.latest for row in rows])
    for row in rows:
        place = table.ids.tolist().index(row.id)
        seen = {
            name: int(value)
            for name, value, known in zip(table.parameters, table.raw[place], table.known[place], strict=True)
            if known
        }
        assert Values(seen) == versions[row.latest].values
    assert len(filled.value_table("no such chart").ids) == 0


def test_found_is_a_value(filled: Library) -> None:
    found = filled.find("storm")
    assert dataclasses.replace(found) == found
    assert len(found) == len(found.ids) == len(set(found.ids))
    assert found.total == filled.total()
