"""Verbs that only look at the collection: find, show, versions, like, tags."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import StrEnum
from typing import Annotated

import typer
from rich.table import Table

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.connect import instrument_named
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.patches import REFERENCE, find_patch, find_version, patch_answer, patch_table, version_answer
from librarian.cli.reading import chart_of
from librarian.cli.sheets import shown_time, sound_answer, values_table
from librarian.cli.verb import verb
from librarian.cli.verbs.searches import saved_line
from librarian.collection import Found, Library, PatchRow
from librarian.collection.query.problem import Problem
from librarian.errors import BadInput
from librarian.sounds.near import Likeness

PatchArgument = Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)]
TagOption = Annotated[
    list[str] | None, typer.Option("--tag", metavar="TAG", help="Only with this tag; may be repeated.")
]
_SHOWN = 60
LimitOption = Annotated[int, typer.Option("--limit", min=0, help="List at most so many.")]


class ListOrder(StrEnum):
    """How a list is sorted."""

    NAME = "name"
    TIME = "time"
    INSTRUMENT = "instrument"
    MATCH = "match"


class GroupedBy(StrEnum):
    """What stands above the groups of a list."""

    TAG = "tag"
    INSTRUMENT = "instrument"


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "find")(find)
    verb(app, "show")(show)
    verb(app, "versions")(versions)
    verb(app, "like")(like)
    verb(app, "tags")(tags)


def find(
    here: Here,
    words: Annotated[list[str] | None, typer.Argument(help="Beginnings of words in names, tags and notes.")] = None,
    tag: TagOption = None,
    instrument: Annotated[str | None, typer.Option("--instrument", metavar="NAME", help="Only its patches.")] = None,
    order: Annotated[ListOrder, typer.Option("--order", help="Sort by this.")] = ListOrder.NAME,
    limit: LimitOption = 100,
    trash: Annotated[bool, typer.Option("--trash", help="Look in the trash.")] = False,
    saved: Annotated[str | None, typer.Option("--saved", metavar="NAME", help="What this kept search finds.")] = None,
    group: Annotated[GroupedBy | None, typer.Option("--group", help="List in groups, by tag or instrument.")] = None,
) -> None:
    """Find patches by words, tags, dates, values in display units; without any, list them all.

    Words match beginnings in names, tags and notes. Conditions: tag:storm, before:march, "cutoff > 2 kHz",
    "wave = saw", "drive unknown"; combined by or, not and parentheses. Put them in quotes for your shell.
    """
    with here.opened(only_to_read=True) as library:
        query = " ".join(([saved_line(library, saved)] if saved is not None else []) + (words or []))
        number = None if instrument is None else instrument_named(library, instrument, removed=True).id
        found = library.find(query, tags=tag or (), instrument=number, order=order.value, trash=trash)
        rows = library.rows(found.ids[:limit])
        counts = dict(library.tag_counts(found))
        answer = answers.Found(
            query=query,
            found=len(found.ids),
            total=found.total,
            patches=[patch_answer(row) for row in rows],
            tags=counts,
            problems=[_problem(each) for each in found.problems],
            groups=None if group is None else _groups(library, found, group, rows),
        )
        for each in found.problems:
            aside(clean(problem_sentence(query, each), lines=True))
        count = f"{len(found.ids)} of {found.total} patches"
        if len(rows) < len(found.ids):
            count += f", {len(rows)} listed"
        here.answer(answer, *_listed(answer, rows), count)


def _groups(library: Library, found: Found, by: GroupedBy, rows: Sequence[PatchRow]) -> list[answers.FoundGroup]:
    """The listed patches under their headings."""
    listed = {row.id for row in rows}
    return [
        answers.FoundGroup(name=each.name, found=len(each.ids), patches=[one for one in each.ids if one in listed])
        for each in library.groups(found, by.value)
    ]


def _listed(answer: answers.Found, rows: Sequence[PatchRow]) -> Iterator[str | Table]:
    """The list for people, with headings when it is in groups."""
    if answer.groups is None:
        yield from [patch_table(rows)] if rows else []
        return
    by_id = {row.id: row for row in rows}
    for group in (each for each in answer.groups if each.patches):
        yield f"{clean(group.name) or 'without'} ({group.found})"
        yield patch_table([by_id[patch] for patch in group.patches])


def problem_sentence(query: str, problem: Problem) -> str:
    """What is wrong, where it stands, and what would be right there."""
    piece = query[problem.start : problem.end]
    piece = piece if len(piece) <= _SHOWN else f"{piece[:_SHOWN]}…"
    where = f" (at sign {problem.start + 1}: “{piece}”)" if piece else ""
    instead = f" Perhaps: {problem.replacement}" if problem.replacement else ""
    return f"{problem.sentence}{where}{instead}"


def show(here: Here, patch: PatchArgument) -> None:
    """Show every value of a patch, or of an earlier version: librarian show PATCH@2."""
    with here.opened(only_to_read=True) as library:
        row, stored = find_version(library, patch)
        version = library.version(stored.id)
        sound = sound_answer(chart_of(library, version), version)
        head = [
            f"{clean(row.name)}  (number {row.id})",
            f"{clean(row.instrument_name)}, version {stored.number} of {row.versions}, "
            f"{clean(stored.origin.kind)} {shown_time(stored.taken)}, {sound.known} of {sound.of} parameters known",
        ]
        if row.tags:
            head.append(f"Tags: {clean(', '.join(row.tags))}")
        if row.note:
            head.append(f"Note: {clean(row.note, lines=True)}")
        here.answer(
            answers.Shown(patch=patch_answer(row), version=version_answer(stored), sound=sound),
            *head,
            values_table(sound),
        )


def versions(here: Here, patch: PatchArgument) -> None:
    """List every version of a patch, oldest first."""
    with here.opened(only_to_read=True) as library:
        row = find_patch(library, patch)
        found = library.versions(row.id)
        made = table("Version", "Taken", "Origin", "Unknown", "Note", right=(0, 3))
        for each in found:
            origin = f"{each.origin.kind}: {each.origin.detail}" if each.origin.detail else each.origin.kind
            made.add_row(
                str(each.number), shown_time(each.taken), cell(origin), str(each.unknown or ""), cell(each.note)
            )
        here.answer(
            answers.Versions(patch=patch_answer(row), versions=[version_answer(each) for each in found]),
            f"{clean(row.name)}: {len(found)} {'version' if len(found) == 1 else 'versions'}, none ever removed",
            made,
        )


def like(
    here: Here,
    patch: PatchArgument,
    limit: LimitOption = 10,
    weight: Annotated[
        list[str] | None,
        typer.Option("--weight", metavar="SECTION=NUMBER", help="Count a section more (2) or not at all (0)."),
    ] = None,
) -> None:
    """Find the sounds most like this one, by distance over what is known of both."""
    with here.opened(only_to_read=True) as library:
        row, stored = find_version(library, patch)
        version = library.version(stored.id)
        chart = chart_of(library, version)
        table_of_all = library.value_table(version.chart)
        index = Likeness.from_raw(
            chart, table_of_all.ids, table_of_all.parameters, table_of_all.raw, table_of_all.known
        )
        nearest = index.nearest(version.values, limit, weights=_weights(weight or []), leave_out=[row.id])
        rows = {each.id: each for each in library.rows([near.id for near in nearest])}
        found = [
            answers.Similar(
                patch=patch_answer(rows[near.id]),
                distance=round(near.distance, 6),
                compared=near.compared,
                of=near.of,
                differ=near.differ,
                reason=near.reason,
            )
            for near in nearest
        ]
        made = table("Nr", "Name", "Distance", "Why", right=(0, 2))
        for each in found:
            made.add_row(
                str(each.patch.id), cell(each.patch.name, bold=True), f"{each.distance:.3f}", cell(each.reason)
            )
        head = f"Like “{clean(row.name)}”, nearest first:"
        here.answer(answers.Likes(like=patch_answer(row), found=found), head, made)


def tags(here: Here) -> None:
    """List the tags with the number of their patches."""
    with here.opened(only_to_read=True) as library:
        counts = dict(library.tag_counts())
        made = table("Tag", "Patches", right=(1,))
        for name, count in counts.items():
            made.add_row(cell(name), str(count))
        here.answer(answers.Tags(tags=counts), made)


def _problem(problem: Problem) -> answers.QueryProblem:
    return answers.QueryProblem(
        sentence=problem.sentence, start=problem.start, end=problem.end, replacement=problem.replacement
    )


def _weights(said: Sequence[str]) -> dict[str, float]:
    weights = {}
    for each in said:
        section, equals, number = each.rpartition("=")
        try:
            weights[section] = float(number)
        except ValueError:
            equals = ""
        if not equals:
            raise BadInput(f"“{each}” is no weight.", "Write a section and a number: --weight filter=2")
    return weights
