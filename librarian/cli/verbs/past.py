"""Verbs about the past: what was done, and back to an earlier version."""

from __future__ import annotations

from typing import Annotated

import typer

from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.here import Here, cell, table
from librarian.cli.patches import REFERENCE, find_patch, find_version, patch_answer, version_answer
from librarian.cli.sheets import shown_time
from librarian.cli.verb import verb
from librarian.collection import Span, here_and_now, span
from librarian.errors import BadInput


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "history")(history)
    verb(app, "revert")(revert)


def history(
    here: Here,
    patch: Annotated[
        str | None, typer.Argument(metavar="[PATCH]", help=f"Only what was done to it. {REFERENCE}")
    ] = None,
    when: Annotated[
        str | None,
        typer.Option("--when", metavar="DAY", help="Only then: tuesday, yesterday, last week, 2026-03-12, march."),
    ] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, help="List at most so many.")] = 100,
) -> None:
    """Say what was done in the library, newest first: librarian history --when tuesday."""
    stretch = _stretch(when)
    since, until = (None, None) if stretch is None else (stretch.start, stretch.end)
    with here.opened(only_to_read=True) as library:
        row = None if patch is None else find_patch(library, patch)
        steps = library.history(since, until, limit, None if row is None else row.id)
        made = table("When", "What", "Patches", "", right=(2,))
        for step in steps:
            state = "" if step.state == "done" else "undone"
            made.add_row(shown_time(step.at), cell(step.label), str(step.patches or ""), state)
        answer = answers.History(
            patch=None if row is None else patch_answer(row),
            since=since,
            until=until,
            steps=[
                answers.HistoryStep(id=step.id, at=step.at, label=step.label, state=step.state, patches=step.patches)
                for step in steps
            ],
        )
        here.answer(answer, made if steps else "Nothing was done.")


def revert(
    here: Here,
    version: Annotated[str, typer.Argument(metavar="PATCH@VERSION", help="Which version it shall be again.")],
) -> None:
    """Go back to an earlier version: it becomes the newest one again, and none is taken away."""
    with here.opened() as library:
        row, stored = find_version(library, version)
        if stored.id == row.latest:
            raise BadInput(f"That is what “{row.name}” holds now.", f"Its versions: librarian versions {row.id}")
        made = library.revert(row.id, stored.id)
        now = library.patch(row.id)
        newest = next(each for each in library.versions(row.id) if each.id == made)
        here.answer(
            answers.Reverted(patch=patch_answer(now), version=version_answer(newest)),
            f"Version {newest.number} of “{clean(now.name)}” equals version {stored.number}.",
        )


def _stretch(when: str | None) -> Span | None:
    if when is None:
        return None
    found = span(when, here_and_now())
    if found is None:
        raise BadInput(
            f"“{when}” is no day that is understood.", "Say for example: tuesday, yesterday, last week, 2026-03-12."
        )
    return found
