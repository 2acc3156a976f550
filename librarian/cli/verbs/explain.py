"""The verb `explain`: a dump byte by byte, as a chart reads it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.reading import chart_file, sysex_of
from librarian.cli.verb import verb
from librarian.messages import ALL_CALL, Address


def add_to(app: typer.Typer) -> None:
    """Register the verb."""
    verb(app, "explain")(explain)


def explain(
    here: Here,
    chart: Annotated[str, typer.Argument(metavar="CHART", help="A chart file, or the id of a shipped chart.")],
    file: Annotated[str, typer.Argument(metavar="FILE", help="A file of SysEx messages, bytes or hexadecimal text.")],
    message: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Only the message with this number.", show_default=False)
    ] = None,
) -> Exit:
    """Explain a dump byte by byte: the field, its value, checksums as computed and as received."""
    read = chart_file(chart)
    raws = list(enumerate(sysex_of(Path(file)), 1))
    chosen = [(number, raw) for number, raw in raws if message in {None, number}]
    found = [_message(read, number, raw) for number, raw in chosen]
    shown: list[str | Table] = []
    for one in found:
        shown += [_head(one, read), _table(one)]
    if not found:
        shown = [f"The file has {len(raws)} messages."]
    here.answer(answers.Explained(chart=read.id, file=file, messages=found), *shown)
    return Exit.OK if found else Exit.COULD_NOT


def _message(chart: Chart, number: int, raw: bytes) -> answers.ExplainedMessage:
    address = Address(chart.channel, ALL_CALL)
    known = chart.codec.recognise(raw, address)
    rows = chart.codec.explain(raw, address)
    return answers.ExplainedMessage(
        number=number,
        message=known.message if known is not None else "",
        form=known.form if known is not None else "",
        size=len(raw),
        claimed=sum(row.claimed for row in rows),
        rows=[
            answers.ExplainedByte(
                offset=row.offset,
                byte=f"{row.byte:02X}",
                what=row.what,
                value=row.value,
                place=row.place,
                claimed=row.claimed,
            )
            for row in rows
        ],
    )


def _head(one: answers.ExplainedMessage, chart: Chart) -> str:
    name = f"{one.message} ({one.form})" if one.message else f"no message of {chart.name}"
    return f"Message {one.number}: {name}, {one.size} bytes, {one.claimed} of them explained."


def _table(one: answers.ExplainedMessage) -> Table:
    made = table("Offset", "Byte", "What", "Value", "In the data", right=(0,))
    for row in one.rows:
        made.add_row(str(row.offset), row.byte, cell(row.what), cell(row.value), cell(row.place))
    return made
