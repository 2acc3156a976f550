"""The verb `explain`: a dump byte by byte, as a chart reads it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian.chart import Chart
from librarian.chart.proving import whose
from librarian.cli import answers
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.reading import chart_file, sysex_of
from librarian.cli.verb import verb
from librarian.errors import BadInput
from librarian.files import syx


def add_to(app: typer.Typer) -> None:
    """Register the verb."""
    verb(app, "explain")(explain)


def explain(
    here: Here,
    chart: Annotated[str, typer.Argument(metavar="CHART", help="A chart file, or the id of a shipped chart.")],
    file: Annotated[
        str | None, typer.Argument(metavar="[FILE]", help="A file of SysEx messages, bytes or hexadecimal text.")
    ] = None,
    hexadecimal: Annotated[
        str | None, typer.Option("--hex", metavar="BYTES", help='The message itself, as "F0 7D ... F7".')
    ] = None,
    message: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Only the message with this number.", show_default=False)
    ] = None,
) -> Exit:
    """Explain a dump byte by byte: the field, its value, checksums as computed and as received."""
    read = chart_file(chart)
    if (file is None) == (hexadecimal is None):
        raise typer.BadParameter("Name a file of dumps, or write the bytes with --hex.")
    raws = list(enumerate(sysex_of(Path(file)) if file is not None else _typed(hexadecimal or ""), 1))
    chosen = [(number, raw) for number, raw in raws if message in {None, number}]
    found = [_message(read, number, raw) for number, raw in chosen]
    shown: list[str | Table] = []
    for one in found:
        shown += [_head(one, read), _table(one)]
    if not found:
        shown = [f"There are {len(raws)} messages."]
    here.answer(answers.Explained(chart=read.id, file=file or "", messages=found), *shown)
    return Exit.OK if found else Exit.COULD_NOT


def _typed(text: str) -> list[bytes]:
    """The messages of a text of hexadecimal bytes; a message that is not whole is explained all the same."""
    data = syx.from_bytes(text.encode("utf-8"), "--hex")
    found = [piece.raw for piece in data.pieces() if piece.raw]
    if not found:
        raise BadInput("There are no bytes in what was typed.", 'Write them as "F0 7D ... F7".')
    return found


def _message(chart: Chart, number: int, raw: bytes) -> answers.ExplainedMessage:
    address = whose(chart, raw)
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
