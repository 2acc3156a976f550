"""The verbs `import` and `export`: files of sounds in and out."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian.chart import Chart, shipped
from librarian.cli.answers.exchange import (
    ExportAnswer,
    FileLeftOut,
    FileRest,
    FileSound,
    ImportAnswer,
    LeftOut,
)
from librarian.cli.clean import clean
from librarian.cli.connect import instrument_named
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside, cell, table
from librarian.cli.patches import find_version
from librarian.cli.reading import chart_file, chart_text, shipped_chart
from librarian.cli.verb import verb
from librarian.cli.waiting import waiting
from librarian.collection import Library
from librarian.errors import BadInput
from librarian.files import intake, outgoing
from librarian.files.progress import OnStep, Step
from librarian.files.seen import Imported, Seen
from librarian.transfer import OnProgress, Progress

FilesArgument = Annotated[
    list[Path], typer.Argument(metavar="FILE", help="Files: .syx, .mid, tables (CSV, TSV), bundles, hexadecimal text.")
]
InstrumentOption = Annotated[
    str | None, typer.Option("--instrument", metavar="NAME", help="The instrument that takes what several might.")
]
ChartOption = Annotated[
    list[str] | None,
    typer.Option("--chart", metavar="CHART", help="A chart that may get an instrument: its file or id; repeatable."),
]
TagOption = Annotated[list[str] | None, typer.Option("--tag", metavar="TAG", help="Tag what comes in; repeatable.")]
_DETAILS = 3


class Changed(StrEnum):
    """What becomes of a sound that the library has otherwise."""

    VERSION = "version"
    NEW = "new"
    SKIP = "skip"


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "import")(import_files)
    verb(app, "export")(export)


def import_files(
    here: Here,
    files: FilesArgument,
    preview: Annotated[bool, typer.Option("--preview", help="Only look; keep nothing.")] = False,
    instrument: InstrumentOption = None,
    chart: ChartOption = None,
    at: Annotated[
        str,
        typer.Option(
            "--at",
            metavar="MOMENT",
            help="Of recordings: the sounds as they were just before this moment: 1920 (ticks), 12.5s, 1:02.",
        ),
    ] = "",
    tag: TagOption = None,
    changed: Annotated[
        Changed,
        typer.Option("--changed", help="A sound that the library has otherwise: its next version, a new one, or not."),
    ] = Changed.VERSION,
    limit: Annotated[int, typer.Option("--limit", min=0, help="List at most so many sounds.")] = 100,
) -> Exit:
    """Import files of sounds: what is new is kept, what is there already is not kept twice.

    What a file is is seen by its content. One transaction, one step of undo: librarian undo. With --preview nothing is
    kept. The same import again finds everything there already.

    Exit code 3: some of the files could not be used and were left out; nothing of them was kept.
    """
    with here.opened() as library:
        number = None if instrument is None else instrument_named(library, instrument).id
        with waiting("Looking") as (cancel, progress):
            seen = intake.preview(
                library,
                files,
                charts=charts_of(chart),
                instrument=number,
                moment=at,
                read_chart=chart_text,
                cancel=cancel,
                progress=told_by(progress),
            )
        for note in seen.notes:
            here.say(clean(note))
        for each in seen.left_out:
            aside(clean(f"Left out: {each.sentence} {each.hint}".rstrip()))
        left = Exit.DIFFERS if seen.left_out else Exit.OK
        if preview:
            tables = [_sounds_table(seen, limit), _rest_table(seen, limit)]
            here.answer(_answer(seen, None, limit), *[each for each in tables if each.row_count], _would(seen))
            return left
        _refuse_choices(seen)
        with waiting("Importing") as (cancel, progress):
            done = intake.apply(
                library,
                seen,
                tags=tag or (),
                changed=changed.value,
                cancel=cancel,
                progress=told_by(progress),
            )
        here.answer(_answer(seen, done, limit), f"{clean(done.sentence)}.", *_aside(seen, done))
        return left


def export(
    here: Here,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="Where to; its suffix says what it is.")],
    what: Annotated[
        list[str] | None,
        typer.Argument(metavar="PATCH-OR-QUERY", help="Numbers, names, NAME@3 for version 3, or searches."),
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="The whole collection; as a bundle with the trash and all else.")
    ] = False,
    form: Annotated[
        str, typer.Option("--as", metavar="FORM", help="syx, mid, csv, tsv or bundle, whatever the suffix.")
    ] = "",
    raw: Annotated[bool, typer.Option("--raw", help="Tables of numbers instead of values as shown.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that exists.")] = False,
) -> Exit:
    """Export sounds: .syx (the bytes as they were received), .mid, .csv, .tsv, or a bundle (.zip) with every version.

    Exit code 3: written, but some sounds could not be written so and were left out.
    """
    with here.opened(only_to_read=True) as library, waiting("Exporting") as (cancel, progress):
        if everything == bool(what):
            raise BadInput("Export which sounds?", "Name patches or a search, or say --all.")
        if everything and outgoing.form_of(to, form) == "bundle":
            done = outgoing.export_all(library, to, replace=replace, cancel=cancel, progress=told_by(progress))
        else:
            patches, versions = _meant(library, what or [])
            done = outgoing.export(
                library,
                patches,
                to,
                form=form,
                versions=versions,
                replace=replace,
                raw=raw,
                read_chart=chart_text,
                cancel=cancel,
                progress=told_by(progress),
            )
    answer = ExportAnswer(
        path=str(done.path),
        form=done.form,
        sounds=done.sounds,
        bytes=done.size,
        made=done.made,
        left_out=[LeftOut(patch=patch, name=name, reason=reason) for patch, name, reason in done.left_out],
        content=done.content,
    )
    left = [f"Left out: {clean(name)} (number {patch}). {clean(reason)}" for patch, name, reason in done.left_out]
    here.answer(answer, f"{clean(done.sentence)}.", *left)
    return Exit.DIFFERS if done.left_out else Exit.OK


def _meant(library: Library, what: Sequence[str]) -> tuple[list[int], dict[int, int]]:
    """The patches that the words mean, each a patch if it is one, else a search; and versions asked for by number."""
    if not what:
        return list(library.find(order="name").ids), {}
    patches: dict[int, None] = {}
    versions: dict[int, int] = {}
    for said in what:
        try:
            row, version = find_version(library, said)
        except BadInput as fault:
            found = library.find(said, order="name")
            if found.problems or not found.ids:
                raise fault if not found.problems else BadInput(found.problems[0].sentence, fault.hint) from None
            patches.update(dict.fromkeys(found.ids))
            continue
        patches[row.id] = None
        if version.id != row.latest:
            versions[row.id] = version.id
    return list(patches), versions


def charts_of(said: Sequence[str] | None) -> list[Chart]:
    """The charts named, and the shipped ones."""
    named = [chart_file(each) for each in said or ()]
    ids = {each.id for each in named}
    return [*named, *(shipped_chart(each) for each in shipped() if each not in ids)]


def _refuse_choices(seen: Seen) -> None:
    for names in seen.choices:
        listed = " or ".join(f"“{name}”" for name in names)
        count = sum((row.instrument, *row.others) == names for row in seen.rows)
        what = "1 sound" if count == 1 else f"{count} sounds"
        raise BadInput(f"{what} may belong to {listed}; nothing was kept.", "Say which: --instrument NAME.")


def told_by(progress: OnProgress) -> OnStep:
    """Steps of files for the bar of a conversation."""

    def tell(step: Step) -> None:
        progress(Progress(step.done, step.total, step.what, None))

    return tell


def _sounds_table(seen: Seen, limit: int) -> Table:
    made = table("", "Name", "Instrument", "Known", "From", right=(3,))
    for row in seen.rows[:limit]:
        owner = " or ".join((row.instrument, *row.others))
        made.add_row(row.status, cell(row.name, bold=True), cell(owner), f"{row.known} of {row.of}", cell(row.where))
    return made


def _rest_table(seen: Seen, limit: int) -> Table:
    made = table("Not understood", "What it is", "Why", "Messages", right=(3,))
    for each in seen.left[:limit]:
        made.add_row(cell(each.source), cell(each.name), cell(each.reason), str(len(each.messages)))
    return made


def _would(seen: Seen) -> str:
    parts = [f"{seen.sentence}. Nothing was kept."]
    if seen.added:
        parts.append(f"An import adds: {', '.join(clean(each) for each in seen.added)}.")
    parts.extend(
        f"Choose for some: --instrument {' or '.join(clean(each) for each in names)}." for names in seen.choices
    )
    return " ".join(parts)


def _aside(seen: Seen, done: Imported) -> list[str]:
    """What to do next, where there is something."""
    told = []
    if done.anything:
        told.append(f"To take it back: librarian undo ({clean(done.label)}).")
    if done.unread:
        some = {each.reason: None for each in seen.left}
        told.extend(clean(reason) for reason in list(some)[:_DETAILS])
        told.append("Listed by: librarian unread list")
    return told


def _answer(seen: Seen, done: Imported | None, limit: int) -> ImportAnswer:
    return ImportAnswer(
        files=list(seen.files),
        files_left_out=[FileLeftOut(file=seen.files[each.file], reason=each.sentence) for each in seen.left_out],
        kept=done is not None,
        new=seen.count("new"),
        changed=seen.count("changed"),
        same=seen.count("same"),
        not_understood=seen.count("not understood"),
        sounds=[
            FileSound(
                status=row.status,
                name=row.name,
                instrument=row.instrument,
                others=list(row.others),
                known=row.known,
                of=row.of,
                patch=row.patch,
                where=row.where,
            )
            for row in seen.rows[:limit]
        ],
        rest=[
            FileRest(
                source=each.source,
                name=each.name,
                reason=each.reason,
                messages=len(each.messages),
                bytes=sum(map(len, each.messages)),
                before=each.kept_before,
            )
            for each in seen.left[:limit]
        ],
        notes=list(seen.notes),
        instruments_added=list(seen.added),
        patches=[] if done is None else list(done.patches),
        versions={} if done is None else dict(done.versions),
        unread=[] if done is None else list(done.unread),
        skipped=0 if done is None else done.skipped,
        did="" if done is None else done.label,
    )
