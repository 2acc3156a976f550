"""The paper chart as one HTML page that needs nothing else and prints on A4."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from librarian.chart.chart import Chart
from librarian.chart.paper.lines import FOOT, form_lines, parameter_lines, title

_STYLE = """
@page { size: A4; margin: 14mm }
body { font: 10pt/1.35 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 8mm auto }
h1 { font-size: 15pt; margin: 0 } h2 { font-size: 13pt; break-before: page } h3 { font-size: 11pt; margin: 5mm 0 1mm }
table { border-collapse: collapse; width: 100% } tr { break-inside: avoid }
th, td { border: 0.3mm solid #000; padding: 0.6mm 1.5mm; text-align: left; vertical-align: top }
td { overflow-wrap: anywhere }
td.mark { text-align: center; white-space: nowrap } p { margin: 1.5mm 0 }
"""


def html(chart: Chart) -> str:
    """The standard's form and the table of parameters. Everything from the chart is escaped."""
    name = escape(chart.name)
    form = _table(
        ("Function", "", "Transmitted", "Recognized", "Remarks"),
        [(one.function, one.detail, one.transmitted, one.recognized, one.remarks) for one in form_lines(chart)],
        marks=(2, 3),
    )
    notes = f"<p>{escape(chart.implementation.notes)}</p>" if chart.implementation.notes else ""
    foot = "".join(f"<p>{escape(line)}</p>" for line in FOOT)
    heads = ("Parameter", "Id", "Values", "Reads", "Transmitted", "Recognized", "Takes over")
    tables = ""
    for label, lines in parameter_lines(chart):
        rows = [
            (one.parameter, one.id, one.values, one.reads, one.transmitted, one.recognized, one.takeover)
            for one in lines
        ]
        tables += f"<h3>{escape(label)}</h3>\n{_table(heads, rows)}"
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>MIDI implementation chart: {name}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"<h1>MIDI implementation chart</h1>\n<p>{escape(title(chart))}</p>\n{form}{notes}{foot}"
        f"<h2>Parameters</h2>\n{tables}</body>\n</html>\n"
    )


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], marks: tuple[int, ...] = ()) -> str:
    head = "".join(f"<th>{escape(cell)}</th>" for cell in heads)
    body = ""
    for row in rows:
        cells = "".join(
            f'<td class="mark">{escape(cell)}</td>' if index in marks else f"<td>{escape(cell)}</td>"
            for index, cell in enumerate(row)
        )
        body += f"<tr>{cells}</tr>\n"
    return f"<table>\n<tr>{head}</tr>\n{body}</table>\n"
