"""Values asked of charts whose names and units are made of the signs of the language itself."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, loads
from librarian.collection import Library
from librarian.messages import Address, Values, Version

NAMES = (
    "Level (dB)",
    "LFO > Pitch",
    "Filter: Envelope",
    "Osc “B”",
    "x=y",
    "(not) used",
    "Amount of key tracking of the second filter by the envelope",
    "Vel <-> Amp - or what it is",
)


def odd_chart() -> Chart:
    parts = ['id = "odd"', 'name = "Odd"', "[[section]]", 'id = "s"', 'label = "Part (1)"']
    for number, name in enumerate(NAMES):
        parts += [
            "[[parameter]]", f'id = "p{number}"', f"label = {json.dumps(name, ensure_ascii=False)}", 'section = "s"',
            "by_hand = true", "range = [0, 127]",
        ]  # fmt: skip
    parts += [
        "[[parameter]]", 'id = "half"', 'label = "Half"', 'section = "s"', "by_hand = true", "range = [0, 200]",
        'display = { from = 0, to = 100, unit = "%", decimals = 0 }',
        "[[parameter]]", 'id = "fall"', 'label = "Fall"', 'section = "s"', "by_hand = true", "range = [0, 200]",
        'display = { from = 0, to = -100, unit = "dB", decimals = 0 }',
    ]  # fmt: skip
    return loads("\n".join(parts))


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Library]:
    """Two hundred and one sounds, called by their value; the names' controls stop at 127 and are then unknown."""
    chart = odd_chart()
    with Library.open(Path(tmp_path_factory.mktemp("odd")) / "library.sqlite") as library:
        unit = library.add_instrument(chart, "Unit", Address())
        for value in range(201):
            known = {name: value for name, each in chart.parameters.items() if each.holds(value)}
            library.keep(unit, f"number {value}", Version(chart.id, chart.revision, Values(known)))
        yield library


def found(library: Library, line: str) -> set[int]:
    answer = library.find(line)
    assert not answer.problems, (line, answer.problems)
    return {int(row.name.removeprefix("number ")) for row in library.rows(answer.ids)}


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_typed_as_it_stands_on_the_panel(odd: Library, name: str) -> None:
    for spelled in (name, name.upper(), f"Part (1) {name}", f"“{name}”" if "”" not in name else f'"{name}"'):
        assert found(odd, f"{spelled} > 100") == set(range(101, 128)), spelled
        assert found(odd, f"{spelled}<=3") == {0, 1, 2, 3}, spelled
    assert found(odd, f"number ({name} > 120 or not {name} > 1)") == {0, 1, *range(121, 201)}
    assert found(odd, f"{name} = 5 or {NAMES[0]} = 7") == {5, 7}
    assert found(odd, f"{name} unknown") == set(range(128, 201))


@pytest.mark.parametrize("name", NAMES)
def test_a_name_that_is_offered_is_understood(odd: Library, name: str) -> None:
    first = name[:1] if name[0].isalpha() else "l"
    offered = [each.text for each in odd.complete(first, 1) if each.text.strip() in NAMES]
    assert not name[0].isalpha() or any(text.strip() == name for text in offered)
    for text in offered:
        assert found(odd, f"{text}> 100") == set(range(101, 128)), text


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("half > 50.5", range(102, 201)),
        ("half >= 50.5 %", range(101, 201)),
        ("half < 50,5 %", range(101)),
        ("half <= 50.5", range(102)),
        ("half >= 50.6", range(102, 201)),
        ("fall > -50.5 dB", range(101)),
        ("fall >= −50.5", range(102)),
        ("fall < -50.5", range(102, 201)),
        ("fall <= -50.5 dB", range(101, 201)),
    ],
)
def test_a_number_with_more_decimals_than_are_shown_divides_exactly(odd: Library, line: str, values: range) -> None:
    assert found(odd, line) == set(values)
