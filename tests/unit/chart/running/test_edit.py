"""Changes by the program leave everything else as a person wrote it."""

from __future__ import annotations

import difflib

import pytest

from librarian.chart import ChartFaults, load, shipped
from librarian.chart.edit import ChartText
from librarian.errors import BadInput

TEXT = shipped()["lanternfish"].read_text(encoding="utf-8")
INDEX = load(shipped()["lanternfish"]).order.index("filter.cutoff")


def lines_changed(before: str, after: str) -> list[str]:
    return [line for line in difflib.ndiff(before.split("\n"), after.split("\n")) if line[0] in "+-"]


@pytest.mark.parametrize("name", shipped())
def test_nothing_changed_is_nothing_changed(name: str) -> None:
    text = shipped()[name].read_text(encoding="utf-8")
    assert ChartText(text).text == text


def test_one_value() -> None:
    edited = ChartText(TEXT)
    edited.set(("parameter", INDEX, "label"), "Corner")
    edited.set(("memory", "programs"), 128)
    assert lines_changed(TEXT, edited.text) == [
        "- programs = 64", "+ programs = 128", '- label = "Cutoff"', '+ label = "Corner"',
    ]  # fmt: skip


def test_a_new_entry_and_one_taken_out() -> None:
    edited = ChartText(TEXT)
    entry = {"id": "voice.extra", "label": "Extra", "section": "voice", "range": [0, 127], "display": {"unit": "%"}}
    edited.append("parameter", {**entry, "bindings": [{"cc": 4}, {"nrpn": 1200}]})
    chart = edited.chart()
    assert chart.parameters["voice.extra"].display(5) == "5 %"
    added = lines_changed(TEXT, edited.text)
    assert [line for line in added if line[0] == "-"] == []
    assert "+ bindings = [{cc = 4}, {nrpn = 1200}]" in added
    edited.remove(("parameter", 52))
    assert "voice.extra" not in edited.text
    assert edited.chart().parameters.keys() == load(shipped()["lanternfish"]).parameters.keys()


def test_the_first_entry_of_a_kind() -> None:
    edited = ChartText(TEXT)
    edited.append("selector", {"id": "layer", "cc": 4})
    assert edited.text.startswith(TEXT.rstrip("\n"))
    assert edited.chart().codec.selectors == {"layer": 4}


def test_an_id_is_followed_where_it_stands() -> None:
    edited = ChartText(TEXT)
    edited.rename("parameter", "filter.cutoff", "filter.corner")
    chart = edited.chart()
    assert "filter.corner" in chart.parameters
    assert "filter.corner" in chart.codec.messages["edit"].carries
    assert all("corner" in line or "cutoff" in line for line in lines_changed(TEXT, edited.text))


def test_what_would_be_no_chart_is_said() -> None:
    edited = ChartText(TEXT)
    edited.set(("parameter", INDEX, "range"), [0, 5000])
    with pytest.raises(ChartFaults, match=r"mine\.toml, line \d+"):
        edited.chart("mine.toml")


def test_what_is_not_there() -> None:
    edited = ChartText(TEXT)
    for path in (("nothing", "x"), ("parameter", 999, "label"), ("name", "x"), ()):
        with pytest.raises(BadInput):
            edited.set(path, 1)
    with pytest.raises(BadInput):
        edited.remove(("memory", "bonks"))
    with pytest.raises(BadInput):
        edited.append("memory", {"x": 1})
    with pytest.raises(BadInput):
        ChartText("a = ")
