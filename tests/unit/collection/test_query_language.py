"""The language of the search line: what it finds, what it says of a line that is wrong, what it offers, its dates."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from librarian.chart import Chart
from librarian.collection import Library, here_and_now, span
from librarian.messages import Address, Origin, Values, Version

#: A Thursday.
NOW = datetime(2026, 3, 12, 20, 0, tzinfo=timezone(timedelta(hours=1)))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory, lanternfish: Chart, fogbell: Chart) -> Iterator[Library]:
    """Four sounds that differ in everything that can be asked."""
    with Library.open(Path(tmp_path_factory.mktemp("language")) / "library.sqlite") as library:
        lantern = library.add_instrument(lanternfish, "Lanternfish", Address())
        bell = library.add_instrument(fogbell, "Fogbell", Address())
        low = {name: each.low for name, each in lanternfish.parameters.items()}
        high = {name: each.high for name, each in lanternfish.parameters.items()}

        def version(values: dict[str, int], days_ago: int, origin: Origin, chart: Chart = lanternfish) -> Version:
            taken = NOW - timedelta(days=days_ago)
            return Version(chart.id, chart.revision, Values(values), origin=origin, taken=taken)

        library.keep(
            lantern, "Storm, first gust", version(low, 0, Origin("captured")), ["scene/storm"], "from the left"
        )
        library.keep(
            lantern, "Café Überfahrt", version(high, 9, Origin("imported", "old bank.syx, 64 bytes in")), ["calm"]
        )
        del high["filter.cutoff"]
        library.keep(lantern, "Storm over", version(high, 400, Origin("by hand")), ["scene/calm", "loud"])
        fog = {name: each.low for name, each in fogbell.parameters.items()}
        library.keep(bell, "Foghorn", version(fog, 40, Origin("edited"), fogbell))
        yield library


@pytest.mark.parametrize(
    ("line", "names"),
    [
        ("storm", "Storm, first gust|Storm over"),
        ("gust STORM", "Storm, first gust"),
        ("uberfahrt", "Café Überfahrt"),
        ("cafe", "Café Überfahrt"),
        ("left", "Storm, first gust"),
        ("tag:scene", "Storm, first gust|Storm over"),
        ('tag:"scene/calm"', "Storm over"),
        ("tag:calm", "Café Überfahrt|Storm over"),
        ("instrument:fog", "Foghorn"),
        ("note:left", "Storm, first gust"),
        ("note:storm", ""),
        ("before:2026", "Storm over"),
        ('after:"last week"', "Storm, first gust"),
        ("since:last week", "Storm, first gust|Café Überfahrt"),
        ("on:today", "Storm, first gust"),
        ("has:unknown", "Storm over"),
        ("has:note", "Storm, first gust"),
        ("from:file", "Café Überfahrt"),
        ("from:hand", "Storm over"),
        ("cutoff > 2 kHz", "Café Überfahrt"),
        ("cutoff unknown", "Storm over"),
        ("not cutoff unknown storm", "Storm, first gust"),
        ("storm not tag:loud", "Storm, first gust"),
        ("wave!=saw", "Café Überfahrt|Storm over|Storm, first gust|Foghorn"),
        ("wave!=sine", "Café Überfahrt|Storm over"),
        ("Voice and output Volume > 40 %", "Café Überfahrt|Storm over"),
        ("first or voice AND output volume > 40 %", "Storm, first gust|Café Überfahrt|Storm over"),
        ("voice and output volume unknown", ""),
        ("fog or (storm loud)", "Foghorn|Storm over"),
        ('"first gust"', "Storm, first gust"),
        ('"gust first"', ""),
    ],
)
def test_what_a_line_finds(shelf: Library, line: str, names: str) -> None:
    found = shelf.find(line, now=NOW)
    assert found.problems == ()
    assert {row.name for row in shelf.rows(found.ids)} == {name for name in names.split("|") if name}


@pytest.mark.parametrize(
    ("line", "said", "piece", "instead"),
    [
        ("storm before:tomorow", "is no date", "tomorow", ""),
        ("has:unknwn", "not “unknwn”", "unknwn", "unknown"),
        ("wave = sow", "It has: ", "sow", "saw"),
        ("cutofff > 3 Hz", "no", "cutofff", "Cutoff"),
        ("cutoff >= 50 %", "not measured in “%”", "50 %", ""),
        ("attack < 3 kHz", "not measured in “kHz”", "3 kHz", ""),
        ("cutoff >", "compared with", "cutoff >", ""),
        ("(storm", "not closed", "(", ""),
        ("storm or", "both sides", "or", ""),
        ("tag:strom", "tag", "strom", "storm"),
        ("foo:bar", "foo:", "foo:", "from:"),
    ],
)
def test_what_it_says_of_a_line_that_is_wrong(shelf: Library, line: str, said: str, piece: str, instead: str) -> None:
    (problem,) = shelf.find(line, now=NOW).problems
    assert said.casefold() in problem.sentence.casefold()
    assert line[problem.start : problem.end] == piece
    assert instead.casefold() in problem.replacement.casefold()
    assert bool(instead) == bool(problem.replacement)


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("sto", "storm"),
        ("tag:sc", "scene/storm"),
        ("cut", "Cutoff "),
        ("wave = s", "saw"),
        ("instrument:", "Fogbell"),
        ("has:", "unknown"),
        ("from:im", "imported"),
        ("before:las", "last week"),
        ("befo", "before:"),
        ("storm or foghor", "foghorn"),
    ],
)
def test_what_it_offers(shelf: Library, line: str, offered: str) -> None:
    for _ in range(2):
        made = {each.text: each for each in shelf.complete(line)}
        assert offered in made
        assert line[: made[offered].start] + offered + line[made[offered].end :] != line
        shelf.warm()


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026", "2026-01-01", "2026-12-31"),
        ("2026-02", "2026-02-01", "2026-02-28"),
        ("2026-03-09", "2026-03-09", "2026-03-09"),
        ("9.3.2026", "2026-03-09", "2026-03-09"),
        ("2026/3/9", "2026-03-09", "2026-03-09"),
        ("2026.03.09", "2026-03-09", "2026-03-09"),
        ("today", "2026-03-12", "2026-03-12"),
        ("yesterday", "2026-03-11", "2026-03-11"),
        ("Tuesday", "2026-03-10", "2026-03-10"),
        ("last thursday", "2026-03-05", "2026-03-05"),
        ("last week", "2026-03-02", "2026-03-08"),
        ("last month", "2026-02-01", "2026-02-28"),
        ("december", "2025-12-01", "2025-12-31"),
        ("12 march 2025", "2025-03-12", "2025-03-12"),
    ],
)
def test_dates_as_people_type_them(text: str, first: str, last: str) -> None:
    found = span(text, NOW)
    assert found is not None
    assert found.start.isoformat() == f"{first}T00:00:00+01:00"
    assert (found.end - timedelta(days=1)).isoformat() == f"{last}T00:00:00+01:00"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of the process can be set on POSIX only")
def test_a_day_in_winter_begins_by_winter_time_in_summer_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        summer = datetime(2026, 7, 5, 12, tzinfo=here_and_now().tzinfo)
        starts = [span(day, summer).start.astimezone(UTC) for day in ("2026-01-15", "2026-07-04")]  # type: ignore[union-attr]
        assert starts == [datetime(2026, 1, 14, 23, tzinfo=UTC), datetime(2026, 7, 3, 22, tzinfo=UTC)]
        assert abs(here_and_now() - datetime.now(UTC)) < timedelta(minutes=1)
    finally:
        monkeypatch.undo()
        time.tzset()


@pytest.mark.parametrize("text", ["march 32", "", "someday", "2026-13", "31.2.2026", "99999999 years ago", "0 may"])
def test_what_is_no_date(text: str) -> None:
    assert span(text, NOW) is None


@pytest.mark.parametrize("tag", ['12" mix', 'say "hi"', "“curly”", 'mixed "a” b', "a≥b", "on and off", "(odd)"])
def test_a_tag_with_any_sign_is_found_as_it_is_completed(library: Library, lantern: int, tag: str) -> None:
    version = Version("lanternfish", 4, Values())
    library.keep(lantern, "Other", version, ["other"])
    library.keep(lantern, "Storm", version, [tag])
    [offer] = [each for each in library.complete("tag:") if each.count and each.text != "other"]
    found = library.find(f"tag:{offer.text}")
    assert found.problems == ()
    assert [row.name for row in library.rows(found.ids)] == ["Storm"]
