"""Verbs about charts: check a file, print what it says, print the schema of the language."""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

from librarian.chart import Chart, ChartFaults, Way, shipped
from librarian.chart.language.root import ChartTable
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.reading import chart_file, shipped_chart
from librarian.cli.verb import verb

FileArgument = Annotated[str, typer.Argument(metavar="FILE", help="A chart file, or the id of a shipped chart.")]


def add_to(app: typer.Typer) -> None:
    """Register the group `chart`."""
    group = typer.Typer(help="Charts: instruments described as text files.", no_args_is_help=True)
    verb(group, "check")(check)
    verb(group, "print")(show)
    verb(group, "list")(list_shipped)
    verb(group, "schema")(schema)
    app.add_typer(group, name="chart")


def check(here: Here, file: FileArgument) -> Exit:
    """Check a chart; every fault with its line, what is wrong and what to write instead."""
    try:
        chart = chart_file(file)
    except ChartFaults as wrong:
        faults = [
            answers.Fault(line=each.line, column=each.column, key=each.key, sentence=each.sentence, remedy=each.remedy)
            for each in wrong.faults
        ]
        made = table("Line", "Key", "What is wrong", "What to do", right=(0,))
        for each in faults:
            made.add_row(str(each.line), cell(each.key), cell(each.sentence), cell(each.remedy))
        count = f"{len(faults)} {'fault' if len(faults) == 1 else 'faults'} in {clean(file)}; nothing of it is used."
        here.answer(answers.Checked(file=file, usable=False, chart=None, faults=faults), made, count)
        return Exit.COULD_NOT
    here.answer(
        answers.Checked(file=file, usable=True, chart=_about(chart), faults=[]),
        f"{clean(chart.name)}, revision {chart.revision}: {len(chart.parameters)} parameters in "
        f"{len(chart.sections)} sections, no fault found.",
    )
    return Exit.OK


def show(here: Here, file: FileArgument) -> None:
    """Print what a chart says: every parameter with its range and how it travels."""
    chart = chart_file(file)
    made = table("Section", "Parameter", "Id", "Kind", "Lowest", "Highest", "Travels by", "Takes over", right=(4, 5))
    rows = []
    for section in chart.sections:
        for parameter in section.parameters:
            low, high = parameter.display(parameter.low), parameter.display(parameter.high)
            rows.append(
                answers.ChartRow(
                    id=parameter.id,
                    section=section.label,
                    label=parameter.label,
                    kind=parameter.kind,
                    low=parameter.low,
                    high=parameter.high,
                    text_low=low,
                    text_high=high,
                    positions=list(parameter.positions),
                    binding=parameter.binding_text,
                    takeover=parameter.takeover,
                    sound=parameter.sound,
                )
            )
            name = parameter.label if parameter.sound else f"{parameter.label} (setup)"
            made.add_row(
                cell(section.label),
                cell(name),
                cell(parameter.id),
                parameter.kind,
                cell(low),
                cell(high),
                cell(parameter.binding_text),
                parameter.takeover,
            )
    about = _about(chart)
    here.answer(
        answers.ChartPrinted(
            chart=about, ways_in=_ways(chart.ways_in), ways_out=_ways(chart.ways_out), parameters=rows
        ),
        f"{clean(chart.name)}, revision {chart.revision}, channel {chart.default_address.channel + 1}",
        f"Captured by: {', '.join(_ways(chart.ways_in)) or 'nothing'}. "
        f"Recalled by: {', '.join(_ways(chart.ways_out)) or 'nothing'}.",
        made,
    )


def list_shipped(here: Here) -> None:
    """List the charts that travel with the program."""
    charts = {name: shipped_chart(name) for name in shipped()}
    made = table("Id", "Name", "Revision", "Parameters", right=(2, 3))
    for name, chart in charts.items():
        made.add_row(cell(name, bold=True), cell(chart.name), str(chart.revision), str(len(chart.parameters)))
    here.answer(answers.Charts(charts=[_about(chart) for chart in charts.values()]), made)


def schema(here: Here) -> None:
    """Print the JSON Schema of the chart language, for editors that check while one writes."""
    found = ChartTable.model_json_schema()
    if here.as_json:
        here.answer(answers.Schema(json_schema=found))
    else:
        sys.stdout.write(json.dumps(found, ensure_ascii=True, indent=2) + "\n")


def _about(chart: Chart) -> answers.ChartAbout:
    return answers.ChartAbout(
        id=chart.id,
        name=chart.name,
        revision=chart.revision,
        parameters=len(chart.parameters),
        sound=len(chart.sound_ids),
        setup=len(chart.setup_ids),
    )


def _ways(ways: tuple[Way, ...]) -> list[str]:
    return [f"{way.kind} {way.label or way.message}".strip() for way in ways]
