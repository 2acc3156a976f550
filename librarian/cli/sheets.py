"""Sounds and comparisons as answers and as tables: what `show`, `compare`, `capture`, `recall` and the demo print."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from rich.table import Table

from librarian import messages
from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.exits import Exit
from librarian.cli.here import cell, table
from librarian.messages import Version

Order = Literal["size", "panel"]


def shown_time(moment: datetime) -> str:
    """A moment for people, in local time."""
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"


def labels(chart: Chart) -> dict[str, str]:
    """Section id to its label."""
    return {section.id: section.label for section in chart.sections}


def sound_answer(chart: Chart, version: Version) -> answers.Sound:
    """The content of a version under its documented keys."""
    section_labels = labels(chart)
    values = []
    for name, parameter in chart.parameters.items():
        value = version.values.get(name)
        values.append(
            answers.Value(
                id=name,
                section=section_labels[parameter.section],
                label=parameter.label,
                value=value,
                text="unknown" if value is None else parameter.display(value),
                binding=parameter.binding_text,
                sound=parameter.sound,
            )
        )
    return answers.Sound(
        chart=version.chart,
        revision=version.revision,
        name=version.name,
        taken=version.taken,
        origin=version.origin.kind,
        detail=version.origin.detail,
        known=sum(each.value is not None for each in values),
        of=len(values),
        values=values,
        received=[raw.hex(" ").upper() for raw in version.received],
    )


def values_table(sound: answers.Sound) -> Table:
    """Every parameter of a sound for people."""
    made = table("Section", "Parameter", "Value", "Binding", right=(2,))
    before = ""
    for each in sound.values:
        name = each.label if each.sound else f"{each.label} (setup)"
        section = each.section if each.section != before else ""
        made.add_row(cell(section), cell(name), cell(each.text), cell(each.binding))
        before = each.section
    return made


def compared_answer(chart: Chart, comparison: messages.Comparison, order: Order = "size") -> answers.Comparison:
    """A comparison under its documented keys; every parameter is a row, those that count first when by size."""
    section_labels = labels(chart)
    rows = comparison.rows
    if order == "size":
        counted = {row.parameter for row in comparison.counted}
        rows = comparison.by_size() + tuple(row for row in rows if row.parameter not in counted)
    return answers.Comparison(
        counted=len(comparison.counted),
        equal=comparison.count("equal"),
        different=comparison.count("different"),
        unknown=comparison.count("unknown"),
        rows=[
            answers.Difference(
                id=row.parameter,
                section=section_labels[row.section],
                label=chart.parameters[row.parameter].label,
                state=row.state,
                a=row.a,
                b=row.b,
                text_a=row.text_a,
                text_b=row.text_b,
                difference=row.text_difference,
                share=round(row.share, 6),
                sound=row.sound,
            )
            for row in rows
        ],
    )


def comparison_table(compared: answers.Comparison, *, everything: bool, with_setup: bool = False) -> Table:
    """Differences (and what cannot be compared) for people; with `everything` the equal ones too."""
    made = table("Section", "Parameter", "A", "B", "B − A", "", right=(2, 3, 4))
    for row in compared.rows:
        counts = row.sound or with_setup
        if everything or (counts and row.state != "equal"):
            mark = {"different": "differs", "equal": "", "unknown": "cannot compare"}[row.state]
            difference = row.difference if row.difference != "differs" else ""
            name = row.label if row.sound else f"{row.label} (setup)"
            made.add_row(
                cell(row.section),
                cell(name, bold=row.state == "different"),
                cell(row.text_a),
                cell(row.text_b),
                cell(difference),
                mark,
            )
    return made


def summary(comparison: messages.Comparison) -> str:
    """One line: "10 of 50 differ, 38 equal, 2 cannot be compared; setup left out"."""
    different, unknown = comparison.count("different"), comparison.count("unknown")
    counted = len(comparison.counted)
    verb = "differs" if different == 1 else "differ"
    parts = [f"{different or 'none'} of {counted} {verb}", f"{comparison.count('equal')} equal"]
    if unknown:
        parts.append(f"{unknown} cannot be compared")
    setup = len(comparison.rows) - counted
    return ", ".join(parts) + ("; setup left out" if setup else "")


def verdict(comparison: messages.Comparison) -> Exit:
    """The exit code of a comparison."""
    if comparison.count("different"):
        return Exit.DIFFERS
    return Exit.UNPROVED if comparison.count("unknown") else Exit.OK
