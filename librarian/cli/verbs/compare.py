"""The verb `compare`: two patches, two versions, or a patch against what the instrument holds now."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from librarian import sounds, transfer
from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.connect import EmbeddedOption, InstrumentOption, TrafficOption, chosen_instrument, connected
from librarian.cli.exits import Exit
from librarian.cli.here import Here
from librarian.cli.patches import REFERENCE, find_version
from librarian.cli.reading import chart_of
from librarian.cli.sheets import compared_answer, comparison_table, summary, verdict
from librarian.cli.verb import verb
from librarian.cli.waiting import waiting
from librarian.collection import Library, PatchRow, VersionRow
from librarian.errors import BadInput
from librarian.messages import Version


class RowOrder(StrEnum):
    """How the rows of a comparison are sorted."""

    SIZE = "size"
    PANEL = "panel"


def add_to(app: typer.Typer) -> None:
    """Register this verb."""
    verb(app, "compare")(compare)


def compare(
    here: Here,
    a: Annotated[str, typer.Argument(metavar="A", help=REFERENCE)],
    b: Annotated[
        str | None, typer.Argument(metavar="[B]", help="The same; without it, the latest version of A.")
    ] = None,
    panel: Annotated[bool, typer.Option("--panel", help="B is what the instrument holds now.")] = False,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    with_setup: Annotated[bool, typer.Option("--with-setup", help="Count setup parameters too.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="List what is equal too.")] = False,
    order: Annotated[
        RowOrder, typer.Option("--order", help="Largest share of the range first, or as on the panel.")
    ] = RowOrder.SIZE,
    traffic: TrafficOption = None,
) -> Exit:
    """Compare value by value. Exit code 0: all equal; 3: something differs; 4: equal as far as known."""
    if panel and b is not None:
        raise BadInput("B is either a patch or the panel.", "Leave out B, or --panel.")
    if traffic is not None and not (panel or embedded):
        raise BadInput("Nothing crosses a cable when two patches are compared.", "Leave out --traffic, or say --panel.")
    with here.opened(only_to_read=not (panel or embedded)) as library:
        patch_a, version_a = find_version(library, a)
        content_a = library.version(version_a.id)
        if panel or embedded:
            row = chosen_instrument(library, instrument, embedded=embedded, of_patch=patch_a.instrument)
            with (
                waiting(f"Reading {row.name}") as (cancel, progress),
                connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
            ):
                there.log.begins("capture", way=None)
                captured = transfer.capture(there.line, cancel=cancel, progress=progress)
                there.log.ends(captured.sentence)
                content_b = captured.version
            name_b = f"{row.name}, its panel now"
        else:
            patch_b, version_b = find_version(library, str(patch_a.id) if b is None else b)
            if (patch_b.id, version_b.id) == (patch_a.id, version_a.id):
                raise BadInput(
                    "That would compare a version with itself.",
                    "Name another patch, or a version: PATCH@1, or --panel.",
                )
            content_b = library.version(version_b.id)
            name_b = _title(patch_b, version_b)
        chart = _newer_chart(library, content_a, content_b)
        compared = sounds.compare_versions(chart, content_a, content_b, with_setup=with_setup)
        shown = compared_answer(chart, compared, order.value)
        name_a, name_b = _read_by(chart, content_a, _title(patch_a, version_a)), _read_by(chart, content_b, name_b)
        here.answer(
            answers.Compared(a=name_a, b=name_b, comparison=shown),
            f"A  {clean(name_a)}",
            f"B  {clean(name_b)}",
            summary(compared),
            *(
                [comparison_table(shown, everything=everything, with_setup=with_setup)]
                if everything or verdict(compared) != Exit.OK
                else []
            ),
        )
        return verdict(compared)


def _title(patch: PatchRow, version: VersionRow) -> str:
    return f"{patch.name}, version {version.number}"


def _read_by(chart: Chart, content: Version, name: str) -> str:
    if content.revision == chart.revision:
        return name
    return f"{name}, carried over from chart revision {content.revision} to {chart.revision} to be compared"


def _newer_chart(library: Library, a: Version, b: Version) -> Chart:
    """The chart to read both by: the later revision, which knows how it came from the other."""
    return chart_of(library, a if a.revision >= b.revision or a.chart != b.chart else b)
