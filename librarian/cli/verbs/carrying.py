"""Verb for an instrument that changed: its sounds carried over to the revision of the chart that it uses now."""

from __future__ import annotations

from typing import Annotated

import typer

from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.connect import instrument_named
from librarian.cli.here import Here, cell, table
from librarian.cli.patches import patch_answer
from librarian.cli.reading import chart_text
from librarian.cli.verb import verb
from librarian.cli.verbs.arrange import MatchingOption, PatchesArgument, meant_patches
from librarian.cli.verbs.tidy import counted
from librarian.collection import Library
from librarian.errors import BadInput
from librarian.sounds.carrying import CarriedOver, ReadRevision, behind, carried_over, keep_carried

ALL_OF = Annotated[
    str | None,
    typer.Option("--instrument", metavar="NAME", help="All sounds of this instrument that need it, instead of PATCH."),
]


def add_to(app: typer.Typer) -> None:
    """Register this verb."""
    verb(app, "carry")(carry)


def carry(
    here: Here,
    patches: PatchesArgument = None,
    matching: MatchingOption = None,
    instrument: ALL_OF = None,
    preview: Annotated[bool, typer.Option("--preview", help="Only say what would happen; keep nothing.")] = False,
) -> None:
    """Carry sounds over to the chart revision that their instrument uses now, each as the next version of its patch.

    What that revision cannot express is listed, and kept aside with the version: it is there again when the sound is
    carried back. Earlier versions stay. One step of undo.
    """
    if (instrument is not None) + (matching is not None) + bool(patches) != 1:
        raise BadInput(
            "Which sounds?",
            "librarian carry PATCH..., or: librarian carry --matching WORDS, or all that need it: librarian carry "
            "--instrument NAME",
        )
    with here.opened() as library:
        if instrument is None:
            rows = meant_patches(library, here.verb, patches or [], matching)
        else:
            rows = behind(library, instrument_named(library, instrument).id)
        found = carried_over(library, revisions_of(library), rows)
        if not preview:
            keep_carried(library, found)
        answer = answers.CarriedOver(
            patches=[
                answers.CarriedPatch(
                    patch=patch_answer(library.patch(each.patch.id)),
                    from_revision=each.was,
                    to_revision=each.carried.version.revision,
                    aside=[row.sentence for row in each.carried.lost],
                )
                for each in found
            ],
            there=len(rows) - len(found),
            kept=bool(found) and not preview,
        )
        made = table("Nr", "Name", "Revision", "Kept aside", right=(0,))
        for each in answer.patches:
            aside = " ".join(each.aside) or "nothing"
            made.add_row(
                str(each.patch.id), cell(each.patch.name, bold=True), f"{each.from_revision} to {each.to_revision}",
                cell(aside),
            )  # fmt: skip
        here.answer(answer, *([made] if found else []), _said(found, len(rows) - len(found), preview=preview))


def revisions_of(library: Library) -> ReadRevision:
    """Any revision of a chart, from the texts that the library keeps."""

    def read(chart: str, revision: int) -> Chart:
        return chart_text(library.chart_text(chart, revision), f"{chart}, revision {revision}")

    return read


def _said(found: tuple[CarriedOver, ...], there: int, *, preview: bool) -> str:
    if not found:
        return "Every sound meant is kept by the chart revision of its instrument already; nothing was changed."
    already = f", {there:,} needed nothing" if there else ""
    if preview:
        return f"{counted(len(found), 'sound')} would be carried over{already}. Nothing was kept."
    return f"{counted(len(found), 'sound')} carried over{already}; the earlier versions stay. Back: librarian undo"
