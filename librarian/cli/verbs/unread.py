"""The group `unread`: bytes from files that no chart understood yet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from librarian.cli.answers.exchange import ExportAnswer, ReadAgain, Unread, UnreadList
from librarian.cli.clean import clean
from librarian.cli.here import Here, cell, table
from librarian.cli.reading import chart_text
from librarian.cli.verb import verb
from librarian.cli.verbs.exchange import ChartOption, TagOption, charts_of, told_by
from librarian.cli.waiting import waiting
from librarian.collection import Library, UnreadRow
from librarian.errors import BadInput, Refused
from librarian.files import rereading, syx
from librarian.files.naming import name_message
from librarian.files.targets import targets_of

NumbersArgument = Annotated[
    list[int] | None, typer.Argument(metavar="NUMBER", help="As listed; without any, all of them.")
]


def add_to(app: typer.Typer) -> None:
    """Register the group `unread`."""
    group = typer.Typer(help="What was not understood: list it, export it, read it again.", no_args_is_help=True)
    verb(group, "list")(list_all)
    verb(group, "export")(export)
    verb(group, "read-again")(read_again)
    verb(group, "forget")(forget)
    app.add_typer(group, name="unread")


def list_all(here: Here) -> None:
    """List the bytes that no chart understood, where they came from, and why they are no sound."""
    with here.opened(only_to_read=True) as library:
        answer = _list(library)
    made = table("Nr", "What it is", "Why", "From", "Messages", "Bytes", right=(0, 4, 5))
    for each in answer.unread:
        made.add_row(
            str(each.number), cell(each.name), cell(each.reason), cell(each.source), str(each.messages), str(each.bytes)
        )
    here.answer(answer, made if answer.unread else "Everything was understood.")


def export(
    here: Here,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="Where to, as raw bytes (.syx).")],
    numbers: NumbersArgument = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that exists.")] = False,
) -> None:
    """Write these bytes to a file, exactly as they came."""
    with here.opened(only_to_read=True) as library:
        rows = _chosen(library, numbers)
    size = syx.write(to, (raw for row in rows for raw in row.messages), replace=replace)
    answer = ExportAnswer(path=str(to), form="syx", sounds=0, bytes=size, made=0, left_out=[], content="")
    here.answer(answer, f"{clean(str(to))}: {size:,} bytes, as they came.")


def read_again(here: Here, chart: ChartOption = None, tag: TagOption = None) -> None:
    """Read them again by the charts there are now; what is understood becomes sounds. One step of undo."""
    with here.opened() as library:
        targets = targets_of(library, charts_of(chart), chart_text)
        with waiting("Reading again") as (cancel, progress):
            seen = rereading.preview(library, targets, cancel=cancel, progress=told_by(progress))
            done = rereading.apply(library, seen, tags=tag or (), cancel=cancel, progress=told_by(progress))
        answer = ReadAgain(
            patches=list(done.patches),
            versions=done.versions,
            same=done.same,
            left=sum(len(row.messages) for row in library.unread()),
        )
    here.answer(answer, f"{clean(done.sentence)}.", f"{answer.left} messages are still not understood.")


def forget(here: Here, numbers: Annotated[list[int], typer.Argument(metavar="NUMBER", help="As listed.")]) -> None:
    """Take these from the list. Undo brings them back."""
    with here.opened() as library:
        library.forget_unread([row.id for row in _chosen(library, numbers)])
        answer = _list(library)
    here.answer(answer, f"{len(answer.unread)} left.")


def _chosen(library: Library, numbers: list[int] | None) -> list[UnreadRow]:
    rows = {row.id: row for row in library.unread()}
    if not numbers:
        if not rows:
            raise Refused("Everything was understood; there is nothing to export.")
        return list(rows.values())
    for number in numbers:
        if number not in rows:
            raise BadInput(f"Nothing on the list has the number {number}.", "See: librarian unread list")
    return [rows[number] for number in dict.fromkeys(numbers)]


def _list(library: Library) -> UnreadList:
    targets = targets_of(library, (), chart_text)
    return UnreadList(
        unread=[
            Unread(
                number=row.id,
                source=row.source,
                reason=row.reason,
                name=name_message(row.messages[0], targets).text if row.messages else "",
                messages=len(row.messages),
                bytes=sum(map(len, row.messages)),
            )
            for row in library.unread()
        ]
    )
