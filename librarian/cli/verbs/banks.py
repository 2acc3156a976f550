"""Verbs about an instrument's memory that only read it: back it up, look at backups, compare, take sounds out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

import typer
from rich.table import Table

from librarian import sounds, transfer
from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.asking import agreed
from librarian.cli.clean import clean
from librarian.cli.connect import EmbeddedOption, InstrumentOption, TrafficOption, chosen_instrument, connected
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.patches import patch_answer, patch_table
from librarian.cli.programs import (
    BACKUP,
    PROGRAMS,
    chosen_programs,
    find_backup,
    memory_answer,
    memory_of,
    programs_of,
    shown,
)
from librarian.cli.reading import chart_of_instrument, chart_text
from librarian.cli.sheets import shown_time
from librarian.cli.verb import verb
from librarian.cli.verbs import bankwrite
from librarian.cli.waiting import waiting
from librarian.collection import InstrumentRow, Library, NewPatch
from librarian.collection.memories import Memories, MemoryBackup
from librarian.collection.plain import as_plain
from librarian.errors import BadInput, Cancelled, OutsideProblem, Refused
from librarian.messages import Version

BackupArgument = Annotated[str, typer.Argument(metavar="BACKUP", help=BACKUP)]
ProgramsOption = Annotated[str | None, typer.Option("--programs", metavar="LIST", help=f"Only these. {PROGRAMS}")]


def add_to(app: typer.Typer) -> None:
    """Register `backup` and the group `bank`."""
    verb(app, "backup")(backup)
    group = typer.Typer(
        help="An instrument's memory: back it up, compare it, write programs into it.", no_args_is_help=True
    )
    verb(group, "backup")(backup)
    verb(group, "list")(list_all)
    verb(group, "show")(show)
    verb(group, "compare")(compare)
    bankwrite.add_to(group)
    verb(group, "keep")(keep)
    verb(group, "delete")(delete)
    app.add_typer(group, name="bank")


def backup(
    here: Here,
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="What to call it; without one, “INSTRUMENT, DAY TIME”.")
    ] = None,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    programs: ProgramsOption = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the backup that was interrupted.")] = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Back up an instrument's whole memory into the library; each program is read until two readings agree.

    Nothing is written to the instrument. What was read is kept at once, so that after a break --resume asks only for
    the rest. It is compared with the last complete backup. Another program may be chosen again with: librarian bank
    restore. (A copy of the library itself: librarian library backup.)
    """
    if resume and (name is not None or programs is not None):
        raise BadInput("An interrupted backup has its name and its programs already.", "Say --resume alone.")
    with here.opened() as library:
        row = chosen_instrument(library, instrument, embedded=embedded)
        chart = chart_of_instrument(library, row)
        memory = memory_of(chart)
        memories = Memories(library)
        since = _last_complete(memories, row, chart)
        wanted = list(range(memory.size)) if programs is None else chosen_programs(memory, programs)
        with (
            waiting(f"Backing up {row.name}") as (cancel, progress),
            connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
        ):
            row = library.instrument(row.id)  # who answered is known now
            kept = (
                _interrupted(memories, row, chart) if resume else memories.begin(row, chart, _called(name, row), wanted)
            )
            done = memories.programs(kept)
            earlier = None if since is None else memories.programs(since)
            there.log.begins(
                "backup", programs=list(kept.wanted), done={str(n): as_plain(one) for n, one in done.items()}
            )
            try:
                found = transfer.backup(
                    there.line,
                    programs=kept.wanted,
                    done=done,
                    earlier=earlier,
                    keep=lambda number, version: memories.keep(kept, number, version),
                    cancel=cancel,
                    progress=progress,
                )
            except Cancelled as ended:
                raise Cancelled(f"{ended} Go on with: librarian bank backup --resume") from ended
            except OutsideProblem as problem:
                problem.hint = f"{problem.hint} Then go on with: librarian bank backup --resume".strip()
                raise
            there.log.ends(found.sentence)
        kept = memories.end(kept, found.failed)
        changed = None if found.changed is None else shown(memory, found.changed)
        answer = answers.BackedUp(
            memory=memory_answer(kept, memory),
            since=None if since is None else since.name,
            changed=changed,
            resumed=len(done),
            bytes_in=found.bytes_in,
            bytes_out=found.bytes_out,
            seconds=round(found.seconds, 3),
            sentence=found.sentence,
        )
        said = [f"{clean(found.sentence)}, kept as “{clean(kept.name)}”."]
        said += [clean(f"{memory.shown(number)}: {why}") for number, why in found.failed.items()]
        if since is not None and changed is not None:
            count = f"{len(changed)} of {len(kept.kept)} changed" if changed else "Nothing has changed"
            said.append(f"{count} since “{clean(since.name)}”{': ' if changed else ''}{', '.join(changed)}.")
        here.answer(answer, *said)
        return Exit.OK if kept.complete else Exit.COULD_NOT


def list_all(here: Here, instrument: InstrumentOption = None) -> None:
    """List the backups of memories, oldest first."""
    with here.opened() as library:
        row = None if instrument is None else chosen_instrument(library, instrument)
        _answer_all(here, library, None if row is None else row.id)


def show(here: Here, name: BackupArgument = "last", instrument: InstrumentOption = None) -> None:
    """List the programs of a backup."""
    with here.opened() as library:
        found = find_backup(library, name, _only(library, instrument))
        chart = _chart(library, found)
        memory = memory_of(chart)
        rows = [
            answers.Program(
                program=memory.shown(number),
                number=number,
                name=version.name.rstrip(),
                known=len(version.values),
                parameters=len(chart.parameters),
            )
            for number, version in Memories(library).programs(found).items()
        ]
        made = table("Program", "Name", "Known", right=(0, 2))
        for each in rows:
            made.add_row(each.program, cell(each.name, bold=True), f"{each.known} of {each.parameters}")
        here.answer(answers.MemoryShown(memory=memory_answer(found, memory), programs=rows), clean(_title(found)), made)


def compare(
    here: Here,
    a: BackupArgument,
    b: Annotated[
        str | None, typer.Argument(metavar="[B]", help="Another backup; without it, the instrument's memory now.")
    ] = None,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    programs: ProgramsOption = None,
    everything: Annotated[bool, typer.Option("--all", help="List what is equal too.")] = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Compare a backup with another, or with the memory as it is now. 0: equal; 3: differs; 4: something is missing."""
    with here.opened() as library:
        found_a = find_backup(library, a, _only(library, instrument))
        chart = _chart(library, found_a)
        memory = memory_of(chart)
        side_a = Memories(library).programs(found_a)
        only = chosen_programs(memory, programs) if programs is not None else list(found_a.wanted)
        if b is None:
            row = chosen_instrument(library, instrument, embedded=embedded, of_patch=found_a.instrument)
            with (
                waiting(f"Reading {row.name}") as (cancel, progress),
                connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
            ):
                _same_chart(found_a.chart, row.chart)
                there.log.begins("backup", programs=only, done={})
                read = transfer.backup(there.line, programs=only, cancel=cancel, progress=progress)
                there.log.ends(read.sentence)
            side_b: Mapping[int, Version] = read.programs
            name_b = f"{row.name}, its memory now"
        else:
            found_b = find_backup(library, b, _only(library, instrument))
            _same_chart(found_a.chart, found_b.chart)
            side_b, name_b = Memories(library).programs(found_b), found_b.name
            if programs is None:
                only = sorted({*found_a.wanted, *found_b.wanted})
        rows = [_compared(chart, memory.shown(n), n, side_a.get(n), side_b.get(n)) for n in only]
        count = {state: sum(row.state == state for row in rows) for state in ("equal", "different", "missing")}
        answer = answers.MemoriesCompared(a=found_a.name, b=name_b, programs=rows, **count)
        said = f"{count['different']} of {len(rows)} programs differ, {count['equal']} equal"
        said += f", {count['missing']} cannot be compared" if count["missing"] else ""
        listed = [row for row in rows if everything or row.state != "equal"]
        here.answer(
            answer,
            f"A  {clean(found_a.name)}",
            f"B  {clean(name_b)}",
            said,
            *([_difference_table(listed)] if listed else []),
        )
        if count["different"]:
            return Exit.DIFFERS
        return Exit.UNPROVED if count["missing"] else Exit.OK


def keep(
    here: Here,
    name: BackupArgument,
    instrument: InstrumentOption = None,
    programs: ProgramsOption = None,
    tag: Annotated[list[str] | None, typer.Option("--tag", metavar="TAG", help="Tag them; may be repeated.")] = None,
) -> None:
    """Make patches of a backup's programs, to find and recall them. What the library holds already is left out.

    One step of undo.
    """
    with here.opened() as library:
        found = find_backup(library, name, _only(library, instrument))
        memory = memory_of(_chart(library, found))
        inside, chosen = programs_of(library, found, memory, programs)
        holders = library.holders([inside[number] for number in chosen])
        held = {number for number, there in zip(chosen, holders, strict=True) if there}
        new = [
            NewPatch(
                found.instrument,
                inside[number].name.strip() or f"Program {memory.shown(number)}",
                inside[number],
                tuple(tag or ()),
                f"Program {memory.shown(number)} of “{found.name}”",
            )
            for number in chosen
            if number not in held
        ]
        ids = list(library.keep_many(new, f"Keep programs of “{found.name}”")) if new else []
        rows = library.rows(ids)
        answer = answers.ProgramsKept(
            memory=memory_answer(found, memory),
            patches=[patch_answer(row) for row in rows],
            held=shown(memory, sorted(held)),
        )
        said = f"{len(ids)} new patches; {len(held)} programs were in the library already."
        here.answer(answer, said, *([patch_table(rows)] if rows else []))


def delete(
    here: Here,
    name: BackupArgument,
    instrument: InstrumentOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Delete a backup of a memory for good. Patches made of it stay."""
    with here.opened() as library:
        found = find_backup(library, name, _only(library, instrument))
        agreed(f"Delete the backup “{found.name}” with its {len(found.kept)} programs for good?", yes=yes)
        Memories(library).delete(found)
        _answer_all(here, library, None, f"Deleted “{clean(found.name)}”.")


def _answer_all(here: Here, library: Library, instrument: int | None, said: str = "") -> None:
    every = Memories(library).all(instrument)
    made = table("Name", "Instrument", "Taken", "Programs", "", right=(3,))
    for one in every:
        state = "" if one.complete else ("interrupted" if not one.ended else "incomplete")
        kind = "found by a restore" if one.kind == "before" else ""
        made.add_row(
            cell(one.name, bold=True),
            cell(one.instrument_name),
            shown_time(one.taken),
            f"{len(one.kept)} of {len(one.wanted)}",
            ", ".join(part for part in (state, kind) if part),
        )
    memories = [memory_answer(one, _chart(library, one).memory) for one in every]
    here.answer(answers.Memories(memories=memories), said or (made if every else "No backup of a memory yet."))


def _called(name: str | None, row: InstrumentRow) -> str:
    now = datetime.now().astimezone()
    return name or f"{row.name}, {now.day} {now:%b %H:%M}"


def _only(library: Library, instrument: str | None) -> int | None:
    return None if instrument is None else chosen_instrument(library, instrument).id


def _chart(library: Library, found: MemoryBackup) -> Chart:
    text = library.chart_text(found.chart, found.revision)
    return chart_text(text, f"{found.chart}, revision {found.revision}")


def _last_complete(memories: Memories, row: InstrumentRow, chart: Chart) -> MemoryBackup | None:
    mine = [one for one in memories.all(row.id) if one.kind == "backup" and one.complete and one.chart == chart.id]
    return mine[-1] if mine else None


def _interrupted(memories: Memories, row: InstrumentRow, chart: Chart) -> MemoryBackup:
    mine = [one for one in memories.all(row.id) if one.kind == "backup" and not one.ended]
    if not mine:
        raise Refused(f"No backup of {row.name} was interrupted.", "Begin one: librarian bank backup")
    if (mine[-1].chart, mine[-1].revision) != (chart.id, chart.revision):
        raise Refused(
            f"“{mine[-1].name}” was begun with revision {mine[-1].revision} of the chart, and {row.name} uses revision "
            f"{chart.revision} now.",
            "Begin a new one: librarian bank backup",
        )
    return mine[-1]


def _same_chart(a: str, b: str) -> None:
    if a != b:
        raise Refused(f"Programs of chart “{a}” cannot be compared with programs of “{b}”.", "Choose one instrument.")


def _compared(chart: Chart, program: str, number: int, a: Version | None, b: Version | None) -> answers.ProgramCompared:
    differ: list[str] = []
    if a is not None and b is not None:
        rows = sounds.compare(chart, a.values, b.values, with_setup=True).rows
        differ = [chart.parameters[row.parameter].label for row in rows if row.a != row.b]
        if a.name != b.name:
            differ.insert(0, "its name")
    return answers.ProgramCompared(
        program=program,
        number=number,
        state="missing" if a is None or b is None else ("different" if differ else "equal"),
        a=None if a is None else a.name.rstrip(),
        b=None if b is None else b.name.rstrip(),
        differ=differ,
    )


def _difference_table(rows: list[answers.ProgramCompared]) -> Table:
    made = table("Program", "A", "B", "", right=(0,))
    for row in rows:
        if row.state == "missing":
            said = "not in A" if row.a is None else "not in B"
        else:
            said = transfer.and_list(row.differ, most=5)
        made.add_row(row.program, cell(row.a or ""), cell(row.b or "", bold=row.state == "different"), cell(said))
    return made


def _title(found: MemoryBackup) -> str:
    firmware = f", firmware {found.firmware}" if found.firmware else ""
    count = f"{len(found.kept)} of {len(found.wanted)} programs"
    return f"{found.name}: {found.instrument_name}{firmware}, {shown_time(found.taken)}, {count}"
