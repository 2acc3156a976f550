"""Verbs about charts: check a file, print what it says, print the schema of the language."""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian.chart import Chart, ChartFaults, Fault, Way, paper, shipped
from librarian.chart import schema as chart_schema
from librarian.chart.proving import Proof, prove
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.here import show as show_text
from librarian.cli.reading import chart_file, shipped_chart, sysex_of
from librarian.cli.verb import verb
from librarian.errors import OutsideProblem, Refused


class Form(StrEnum):
    """How a chart is printed."""

    LIST = "list"
    MARKDOWN = "markdown"
    HTML = "html"
    PDF = "pdf"


FileArgument = Annotated[str, typer.Argument(metavar="FILE", help="A chart file, or the id of a shipped chart.")]


DumpsArgument = Annotated[
    list[str] | None, typer.Argument(metavar="[DUMPS]...", help="Files of SysEx dumps of the instrument.")
]
SeedOption = Annotated[int, typer.Option("--seed", metavar="N", help="Which random values are tried.")]


def add_to(app: typer.Typer) -> None:
    """Register the group `chart`."""
    group = typer.Typer(help="Charts: instruments described as text files.", no_args_is_help=True)
    verb(group, "check")(check)
    verb(group, "print")(show)
    verb(group, "list")(list_shipped)
    verb(group, "schema")(schema)
    app.add_typer(group, name="chart")


def check(here: Here, file: FileArgument, dumps: DumpsArgument = None, seed: SeedOption = 1) -> Exit:
    """Check a chart: every fault; random values through every codec; real dumps there and back to the byte."""
    raws = [raw for each in dumps or () for raw in sysex_of(Path(each))]
    try:
        chart = chart_file(file)
    except ChartFaults as wrong:
        faults = [_fault(each) for each in wrong.faults]
        count = f"{_count(len(faults), 'fault')} in {clean(file)}; nothing of it is used."
        answer = answers.Checked(file=file, usable=False, chart=None, faults=faults, cautions=[])
        here.answer(answer, _faults_table(faults), count)
        return Exit.COULD_NOT
    cautions = [_fault(each) for each in chart.cautions]
    said = (
        f"{clean(chart.name)}, revision {chart.revision}: {_count(len(chart.parameters), 'parameter')} in "
        f"{_count(len(chart.sections), 'section')}, no fault found."
    )
    notes: list[str | Table] = []
    if cautions:
        notes = [f"{_count(len(cautions), 'thing')} to look at again:", _faults_table(cautions)]
    proof = prove(chart, raws, seed=seed)
    answer = answers.Checked(
        file=file, usable=True, chart=_about(chart), faults=[], cautions=cautions, proof=_proof(proof)
    )
    here.answer(answer, said, *notes, *_proof_shown(proof))
    return Exit.OK if proof.passed else Exit.DIFFERS


def _proof(proof: Proof) -> answers.Proof:
    trials = [
        answers.Trial(what=one.what, tried=one.tried, passed=one.passed, trouble=list(one.trouble))
        for one in proof.trials
    ]
    dumps = [
        answers.DumpProof(
            numbers=[number + 1 for number in one.numbers],
            message=one.message,
            size=one.size,
            explained=one.explained,
            identical=one.identical,
            sentence=one.sentence,
        )
        for one in proof.dumps
    ]
    return answers.Proof(
        passed=proof.passed,
        trials=trials,
        dumps=dumps,
        sound=proof.sound,
        recallable=proof.recallable,
        readable=proof.readable,
        by_hand=list(proof.by_hand),
    )


def _proof_shown(proof: Proof) -> list[str | Table]:
    shown: list[str | Table] = [clean(trouble) for one in proof.trials for trouble in one.trouble]
    if proof.dumps:
        made = table("Messages", "Bytes", "Explained", "Result", right=(1, 2))
        for one in proof.dumps:
            first, last = one.numbers[0] + 1, one.numbers[-1] + 1
            numbers = str(first) if first == last else f"{first} to {last}"
            made.add_row(numbers, str(one.size), str(one.explained), cell(one.sentence))
        shown.append(made)
    return [*shown, clean(proof.sentence)]


def _fault(fault: Fault) -> answers.Fault:
    return answers.Fault(
        line=fault.line, column=fault.column, key=fault.key, sentence=fault.sentence, remedy=fault.remedy
    )


def _faults_table(faults: list[answers.Fault]) -> Table:
    made = table("Line", "Key", "What", "What to do", right=(0,))
    for each in faults:
        made.add_row(str(each.line), cell(each.key), cell(each.sentence), cell(each.remedy))
    return made


def _write_pdf(chart: Chart, out: Path | None) -> str:
    """Write the paper chart beside nothing that is there; returns the file's name."""
    target = out if out is not None else Path(f"{chart.id}.pdf")
    from librarian.chart.paper.pdf import pdf  # the writer of PDFs takes half a second to load

    written = pdf(chart)
    try:
        with target.open("xb") as file:
            file.write(written)
    except FileExistsError:
        raise Refused(f"{target} exists already.", "Name another file with --out; nothing was written.") from None
    except OSError as problem:
        raise OutsideProblem(f"{target} cannot be written: {problem.strerror}.", "Name another with --out.") from None
    return str(target)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def show(
    here: Here,
    file: FileArgument,
    form: Annotated[
        Form, typer.Option("--form", help="A list for the terminal; or the standard's implementation chart for paper.")
    ] = Form.LIST,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="PATH", help="Where the PDF goes; an existing file is kept.")
    ] = None,
) -> None:
    """Print what a chart says: every parameter with its range and how it travels."""
    chart = chart_file(file)
    target = _write_pdf(chart, out) if form is Form.PDF else ""
    if target and not here.as_json:
        show_text(f"The implementation chart of {clean(chart.name)} is written to {clean(target)}.")
        return
    if form in {Form.MARKDOWN, Form.HTML} and not here.as_json:
        written = paper.markdown(chart) if form is Form.MARKDOWN else paper.html(chart)
        show_text(clean(written, lines=True, longest=len(written)))
        return
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
            chart=about, ways_in=_ways(chart.ways_in), ways_out=_ways(chart.ways_out), parameters=rows, file=target
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
    found = chart_schema()
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
