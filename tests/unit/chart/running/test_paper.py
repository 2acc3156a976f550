"""The paper chart: the standard's lines, marks from the bindings, and nothing from a chart becomes markup."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from librarian.chart import Chart, load, loads, shipped
from librarian.chart.paper import html, markdown
from librarian.chart.paper.lines import form_lines, parameter_lines

CHARTS = {name: load(path) for name, path in shipped().items()}
# MIDI 1.0 Detailed Specification 4.2.1, p. A-7: functions of the form, in this order
FUNCTIONS = [
    "Basic Channel", "Mode", "Note Number", "Velocity", "After Touch", "Pitch Bend", "Control Change", "Prog Change",
    "System Exclusive", "System Common", "System Real Time", "Aux Messages",
]  # fmt: skip
HOSTILE = """\
id = "x"
name = "<script>alert(1)</script> | *b* _i_ `c` [l](http://e)"
[implementation]
notes = "<b>& | # note</b>"
[[section]]
id = "s"
label = "<i>S</i> | x"
[[parameter]]
id = "p"
label = "A|B <u>"
section = "s"
range = [0, 127]
bindings = [{ cc = 74, only = "recognized" }, { cc = 75, only = "transmitted" }]
"""


@pytest.mark.parametrize("chart", CHARTS.values(), ids=CHARTS)
def test_the_form_has_the_functions_of_the_standard(chart: Chart) -> None:
    lines = form_lines(chart)
    assert [line.function for line in lines if line.function] == FUNCTIONS
    assert "?" not in {mark for line in lines for mark in (line.transmitted, line.recognized)}
    assert sum(len(rows) for _, rows in parameter_lines(chart)) == len(chart.parameters)


def test_controllers_are_listed_by_number() -> None:
    lines = {line.detail: line for line in form_lines(CHARTS["lanternfish"])}
    assert (lines["74"].transmitted, lines["74"].recognized, lines["74"].remarks) == ("o", "o", "Filter: Cutoff")
    assert lines["48"].remarks == "Oscillator 1: Tune LSB"
    assert lines["6, 38, 98, 99"].remarks == "NRPN 128 to 1157, see the parameters"
    fogbell = {line.detail: line for line in form_lines(CHARTS["fogbell"])}
    assert (fogbell["119"].transmitted, fogbell["119"].recognized) == ("x", "o")


def test_what_a_chart_does_not_say_is_not_stated() -> None:
    lines = {line.detail: line for line in form_lines(loads(HOSTILE)) if line.detail}
    assert (lines["74"].transmitted, lines["74"].recognized) == ("x", "o")
    assert (lines["75"].transmitted, lines["75"].recognized) == ("o", "x")
    assert (lines["Clock"].transmitted, lines["Clock"].recognized) == ("?", "?")


class Tags(HTMLParser):
    """Collects the tags and checks that they close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("chart", [*CHARTS.values(), loads(HOSTILE)], ids=[*CHARTS, "hostile"])
def test_html_is_whole_and_holds_no_foreign_tags(chart: Chart) -> None:
    tags = Tags()
    tags.feed(html(chart))
    assert tags.open == []
    assert tags.tags <= {
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "h1",
        "h2",
        "h3",
        "p",
        "table",
        "tr",
        "th",
        "td",
    }
    for one in chart.parameters.values():
        assert one.label in tags.text


@pytest.mark.parametrize("chart", [*CHARTS.values(), loads(HOSTILE)], ids=[*CHARTS, "hostile"])
def test_tables_of_the_markdown_are_even(chart: Chart) -> None:
    page = markdown(chart)
    rows = [line.replace("\\|", "") for line in page.split("\n") if line.startswith("|")]
    assert {row.count("|") for row in rows} == {6, 8}
    assert "<script" not in page.replace("\\<", "")
