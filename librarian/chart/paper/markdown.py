"""The paper chart as Markdown."""

from __future__ import annotations

from collections.abc import Sequence

from librarian.chart.chart import Chart
from librarian.chart.paper.lines import FOOT, form_lines, parameter_lines, title


def markdown(chart: Chart) -> str:
    """The standard's form and the table of parameters, as CommonMark with tables."""
    parts = [
        f"# MIDI implementation chart: {_cell(chart.name)}",
        _cell(title(chart)),
        _table(
            ("Function", "", "Transmitted", "Recognized", "Remarks"),
            [(one.function, one.detail, one.transmitted, one.recognized, one.remarks) for one in form_lines(chart)],
        ),
    ]
    if chart.implementation.notes:
        parts.append(_cell(chart.implementation.notes))
    parts += [*FOOT, "## Parameters"]
    heads = ("Parameter", "Id", "Values", "Reads", "Transmitted", "Recognized", "Takes over")
    for label, lines in parameter_lines(chart):
        parts.append(f"### {_cell(label)}")
        rows = [
            (one.parameter, one.id, one.values, one.reads, one.transmitted, one.recognized, one.takeover)
            for one in lines
        ]
        parts.append(_table(heads, rows))
    return "\n\n".join(parts) + "\n"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(_cell(cell) for cell in line) + " |" for line in lines)


def _cell(text: str) -> str:
    """Text from a chart as plain text in Markdown: nothing in it may become markup."""
    kept = "".join(f"\\{letter}" if letter in "\\`*_[]<>#|~&" else letter for letter in text)
    return " ".join(kept.split())
