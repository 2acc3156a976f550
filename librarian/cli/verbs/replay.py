"""The verb `replay`: have the conversation of a saved traffic log again, without the instrument."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.exits import Exit
from librarian.cli.here import Here
from librarian.cli.patches import REFERENCE, find_version
from librarian.cli.reading import chart_file
from librarian.cli.replaying import CONVERSATIONS, replayed
from librarian.cli.verb import verb
from librarian.collection.plain import as_plain
from librarian.errors import BadInput

_SHOWN = 8


def add_to(app: typer.Typer) -> None:
    """Register this verb."""
    verb(app, "replay")(replay)


def replay(
    here: Here,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What --traffic saved, or the window's traffic.")],
    chart: Annotated[
        str | None,
        typer.Option("--chart", metavar="FILE", help="Read by this chart, not by the one in the file."),
    ] = None,
    conversation: Annotated[
        str | None,
        typer.Option("--as", metavar="WHAT", help=f"Have this conversation: {', '.join(CONVERSATIONS)}."),
    ] = None,
    patch: Annotated[
        str | None, typer.Option("--patch", metavar="PATCH", help=f"With --as recall or verify. {REFERENCE}")
    ] = None,
    cable: Annotated[
        str, typer.Option("--cable", metavar="NAME", help="Which one, if several were logged into the file.")
    ] = "",
) -> Exit:
    """Have the conversation of a saved traffic log again: the instrument's side comes from the file.

    Nothing is sent anywhere, no port is opened, nothing is kept. The file of somebody else will do: it holds its chart
    and sounds. Exit code 0: the program does the same as then; 3: it sends something else, or ends in another way.
    """
    options: dict[str, object] = {}
    if conversation in {"recall", "verify"} and patch is None:
        raise BadInput(f"Which sound was it, to {conversation}?", "Say --patch PATCH.")
    if patch is not None:
        if conversation is None:
            raise BadInput("The file says which sound it was.", "Leave out --patch, or say --as recall.")
        with here.opened() as library:
            _, version_row = find_version(library, patch)
            options["version"] = as_plain(library.version(version_row.id))
    described = None if chart is None else chart_file(chart)
    found = replayed(file, chart=described, conversation=conversation, cable=cable, options=options)
    answer = answers.Replayed(
        file=str(file),
        instrument=found.instrument,
        chart=found.chart.id,
        conversation=found.conversation,
        crossings=found.crossings,
        then=found.then,
        now=found.now,
        same=found.same,
        unexpected=[raw.hex(" ").upper() for raw in found.unexpected],
        left=[raw.hex(" ").upper() for raw in found.left],
        remarks=list(found.remarks),
    )
    said = [f"{clean(found.instrument)}, {found.conversation}, {found.crossings} messages."]
    said += [clean(remark) for remark in found.remarks]
    if found.then:
        said.append(f"Then: {clean(found.then)}")
    said.append(f"Now:  {clean(found.now)}")
    for words, raws in (("Sent now, not then", answer.unexpected), ("Sent then, not now", answer.left)):
        if raws:
            more = f" and {len(raws) - _SHOWN} more" if len(raws) > _SHOWN else ""
            said.append(f"{words}: {'; '.join(raws[:_SHOWN])}{more}")
    said.append("The same as then." if found.same else "Not the same as then.")
    here.answer(answer, *said)
    return Exit.OK if found.same else Exit.DIFFERS
