"""The verb `keep`: give a captured sound its name, or make it the next version of a patch."""

from __future__ import annotations

from typing import Annotated

import typer

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.here import Here
from librarian.cli.patches import REFERENCE, find_patch, patch_answer
from librarian.cli.verb import verb
from librarian.collection import Library, PatchRow
from librarian.errors import BadInput
from librarian.transfer.before import panel_name

_RECENT = 50


def add_to(app: typer.Typer) -> None:
    """Register this verb."""
    verb(app, "keep")(keep)


def keep(
    here: Here,
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="What to call it.")] = None,
    patch: Annotated[
        str | None,
        typer.Option("--patch", metavar="PATCH", help="Which one; without it, the last capture without a name."),
    ] = None,
    into: Annotated[
        str | None, typer.Option("--into", metavar="PATCH", help="Make it the next version of this patch instead.")
    ] = None,
    tag: Annotated[list[str] | None, typer.Option("--tag", metavar="TAG", help="Tag it; may be repeated.")] = None,
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="A note.")] = None,
) -> None:
    """Name what was captured: librarian keep NAME. One step of undo."""
    if (name is None) == (into is None):
        raise BadInput("Keep it as what?", f"Say a name, or --into PATCH. {REFERENCE}")
    with here.opened() as library:
        row = _last_capture(library) if patch is None else find_patch(library, patch)
        if into is not None:
            kept = _into(library, row, find_patch(library, into), tag or [], note)
            did = f"Kept as version {kept.versions} of “{kept.name}”"
        else:
            with library.together(f"Keep “{name}”"):
                library.rename(row.id, name or row.name, was=row.name)
                if tag:
                    library.tag([row.id], add=tag)
                if note is not None:
                    library.set_note(row.id, note, was=row.note)
            kept = library.patch(row.id)
            did = f"Kept as number {kept.id}, “{kept.name}”"
        here.answer(answers.Done(patches=[patch_answer(kept)], did=did), f"{clean(did)}.")


def _into(library: Library, row: PatchRow, target: PatchRow, tags: list[str], note: str | None) -> PatchRow:
    """The content of `row` as the next version of `target`; the patch that held it goes into the trash."""
    if row.id == target.id:
        raise BadInput("A patch cannot become a version of itself.", "Name another patch after --into.")
    version = library.version(row.latest)
    if version.chart != library.version(target.latest).chart:
        raise BadInput(
            f"“{row.name}” and “{target.name}” belong to different instruments.", "Keep it under a name of its own."
        )
    with library.together(f"New version of “{target.name}”"):
        library.add_version(target.id, version, note or "")
        if tags:
            library.tag([target.id], add=tags)
        library.delete([row.id])
    return library.patch(target.id)


def _last_capture(library: Library) -> PatchRow:
    """The latest capture that nobody has named yet."""
    rows = library.rows(library.find(order="time").ids[:_RECENT])
    for row in rows:
        if row.versions == 1 and row.name == panel_name(row.taken):
            return row
    raise BadInput(
        "No capture without a name is left.",
        "Capture first, or say which one with --patch. librarian capture NAME does both.",
    )
