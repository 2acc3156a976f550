"""Verbs that tidy up: what is there twice, patches and tags that become one, the trash."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated

import typer

from librarian.chart import ChartFaults
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.patches import REFERENCE, find_patch, find_patches, patch_answer, patch_table
from librarian.cli.reading import chart_text
from librarian.cli.verb import verb
from librarian.collection import Library, PatchRow
from librarian.errors import BadInput
from librarian.sounds.twins import nearly_same

PatchArgument = Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)]
OthersArgument = Annotated[list[str], typer.Argument(metavar="OTHER...", help="Those that become part of it.")]
#: One group: how far its nearest are apart, and the patches, oldest first.
Twins = tuple[float, list[PatchRow]]


def add_to(app: typer.Typer) -> None:
    """Register these verbs and the group `trash`."""
    verb(app, "duplicates")(duplicates)
    verb(app, "merge")(merge)
    verb(app, "rename-tag")(rename_tag)
    group = typer.Typer(help="What was deleted: look at it, or delete it for good.", no_args_is_help=True)
    verb(group, "list")(trash_list)
    verb(group, "empty")(trash_empty)
    app.add_typer(group, name="trash")


def duplicates(
    here: Here,
    nearly: Annotated[bool, typer.Option("--nearly", help="Also sounds that are nearly the same.")] = False,
    within: Annotated[
        float, typer.Option("--within", metavar="NUMBER", help="How near that is: 0.02 of the whole range, by default.")
    ] = 0.02,
    merging: Annotated[
        bool, typer.Option("--merge", help="Make one patch of each group with equal values of one instrument.")
    ] = False,
) -> None:
    """List sounds that are there twice under different names. Merging keeps all names, tags, notes and versions."""
    if nearly and merging:
        raise BadInput(
            "Sounds that are only nearly the same are not merged by themselves.",
            "Look at them, then: librarian merge PATCH OTHER...",
        )
    with here.opened(only_to_read=not merging) as library:
        groups = list(_equal(library))
        if nearly:
            groups += _near(library, within)
        merged = _merge_all(library, groups) if merging else 0
        made = table("Distance", "Nr", "Name", "Instrument", "Tags", right=(0, 1))
        for distance, rows in groups:
            for place, row in enumerate(rows):
                first = ("equal" if not distance else f"{distance:.4f}") if not place else ""
                made.add_row(first, str(row.id), cell(row.name), cell(row.instrument_name), cell(", ".join(row.tags)))
        found = [
            answers.Twin(distance=round(distance, 6), patches=[patch_answer(row) for row in rows])
            for distance, rows in groups
        ]
        said = counted(len(groups), "group") if groups else "Nothing is there twice."
        done = [f"{counted(merged, 'patch', 'patches')} became part of others; undo takes it back."] if merging else []
        here.answer(answers.Duplicates(groups=found, merged=merged), *([made] if groups else []), said, *done)


def _equal(library: Library) -> Iterator[Twins]:
    for ids in library.same_values():
        rows = sorted(library.rows(ids), key=lambda row: row.id)
        if len(rows) > 1:
            yield 0.0, rows


def _near(library: Library, within: float) -> Iterator[Twins]:
    """By chart, each by its newest revision: what another one calls the same is compared too."""
    newest: dict[str, int] = {}
    for chart, revision, _ in library.charts():
        newest[chart] = max(revision, newest.get(chart, revision))
    groups: list[Twins] = []
    for chart, revision in newest.items():
        try:
            read = chart_text(library.chart_text(chart, revision), f"{chart}, revision {revision}")
        except ChartFaults as problem:
            aside(clean(f"Sounds of chart “{chart}” were not compared: {problem}", lines=True))
            continue
        near = nearly_same(read, library.value_table(chart), within)
        groups.extend((group.distance, library.rows(group.ids)) for group in near)
    yield from sorted(groups, key=lambda group: group[0])


def _merge_all(library: Library, groups: Sequence[Twins]) -> int:
    """All groups as one step of undo; within a group only sounds of the same instrument become one."""
    count = 0
    with library.together("Merge sounds that were there twice"):
        for _, rows in groups:
            for instrument in dict.fromkeys(row.instrument for row in rows):
                own = [row.id for row in rows if row.instrument == instrument]
                if len(own) > 1:
                    library.merge(own[0], own[1:])
                    count += len(own) - 1
    return count


def merge(here: Here, patch: PatchArgument, others: OthersArgument) -> None:
    """Make one patch of several: it keeps all names, tags, notes and versions; the others go to the trash."""
    with here.opened() as library:
        into = find_patch(library, patch)
        rows = [row for row in find_patches(library, others) if row.id != into.id]
        if not rows:
            raise BadInput("A patch cannot be merged with itself.", "Name another one after it.")
        library.merge(into.id, [row.id for row in rows])
        now = library.patch(into.id)
        did = f"Merged into “{now.name}”: {', '.join(f'“{row.name}”' for row in rows[:3])}"
        if len(rows) > 3:
            did += f" and {len(rows) - 3} more"
        here.answer(answers.Done(patches=[patch_answer(now)], did=did), f"{clean(did)}.")


def rename_tag(
    here: Here,
    tag: Annotated[str, typer.Argument(metavar="TAG", help="As it is called now.")],
    to: Annotated[str, typer.Argument(metavar="NAME", help="The new name; one that is there already takes over.")],
) -> None:
    """Rename a tag, with those below it, on every patch; two tags become one when the new name is there already."""
    with here.opened() as library:
        library.rename_tag(tag, to)
        count = len(library.find(tags=[to]).ids)
        said = f"“{clean(tag)}” is “{clean(to)}” now, on {counted(count, 'patch', 'patches')}."
        here.answer(answers.TagRenamed(tag=to, patches=count), said)


def trash_list(
    here: Here, limit: Annotated[int, typer.Option("--limit", min=0, help="List at most so many.")] = 100
) -> None:
    """List what was deleted; `restore` brings it back."""
    with here.opened(only_to_read=True) as library:
        found = library.find(trash=True, order="time")
        rows = library.rows(found.ids[:limit])
        answer = answers.Found(
            query="",
            found=len(found.ids),
            total=found.total,
            patches=[patch_answer(row) for row in rows],
            tags=dict(library.tag_counts(found)),
            problems=[],
        )
        said = f"{counted(len(found.ids), 'patch', 'patches')} in the trash" if rows else "The trash is empty."
        here.answer(answer, *([patch_table(rows)] if rows else []), said)


def trash_empty(here: Here) -> None:
    """Delete for good what is in the trash. The library is copied first; nothing else brings it back."""
    with here.opened() as library:
        before = {row.path for row in library.backups()}
        gone = library.empty_trash()
        copies = [row.path for row in library.backups() if row.path not in before]
        copy = str(copies[0]) if copies else None
        said = f"{counted(gone, 'patch is', 'patches are')} gone for good." if gone else "The trash was empty."
        kept = [f"The library as it was: {clean(copy)}"] if copy and gone else []
        here.answer(answers.Emptied(gone=gone, copy_before=copy), said, *kept)


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 group", "3 groups", "2 patches"."""
    return f"{count} {one if count == 1 else many or one + 's'}"
