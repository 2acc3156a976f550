"""Verbs that write into a memory: what is there is read and kept first, the person is asked, all is proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from librarian import transfer
from librarian.chart import Chart
from librarian.cli import answers
from librarian.cli.asking import agreed, somebody_there
from librarian.cli.clean import clean
from librarian.cli.connect import (
    Connected,
    EmbeddedOption,
    InstrumentOption,
    TrafficOption,
    chosen_instrument,
    connected,
)
from librarian.cli.exits import Exit
from librarian.cli.here import Here, cell, table
from librarian.cli.patches import REFERENCE, find_version
from librarian.cli.programs import (
    BACKUP,
    PROGRAMS,
    find_backup,
    memory_of,
    one_program,
    programs_of,
    shown,
)
from librarian.cli.reading import chart_of_instrument
from librarian.cli.verb import verb
from librarian.cli.waiting import waiting
from librarian.collection import InstrumentRow, Library
from librarian.collection.memories import Memories, MemoryBackup
from librarian.collection.plain import as_plain
from librarian.errors import BadInput, Cancelled, OutsideProblem
from librarian.messages import Version

YesOption = Annotated[bool, typer.Option("--yes", help="Do not ask; for scripts. What is there is kept all the same.")]


def add_to(group: typer.Typer) -> None:
    """Register these verbs in the group `bank`."""
    verb(group, "restore")(restore)
    verb(group, "store")(store)


def restore(
    here: Here,
    name: Annotated[str, typer.Argument(metavar="BACKUP", help=BACKUP)],
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    programs: Annotated[
        str | None, typer.Option("--programs", metavar="LIST", help=f"Only these; without it, all. {PROGRAMS}")
    ] = None,
    to: Annotated[
        str | None, typer.Option("--to", metavar="PROGRAM", help="Write one program into another place.")
    ] = None,
    yes: YesOption = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Write programs of a backup into the instrument's memory: one, a range, or all.

    What is there is read and kept first, as a backup of its own, and you are asked. Each program is read back.
    Exit code 0: all of it is there; 3: some programs are not, each with its reason.
    """
    with here.opened() as library:
        only = None if instrument is None else chosen_instrument(library, instrument, embedded=embedded)
        found = find_backup(library, name, None if only is None else only.id)
        row = only or chosen_instrument(library, None, embedded=embedded, of_patch=found.instrument)
        memory = memory_of(chart_of_instrument(library, row))
        inside, chosen = programs_of(library, found, memory, programs)
        wanted = {number: inside[number] for number in chosen}
        if to is not None:
            if len(chosen) != 1:
                raise BadInput("--to takes one program to another place.", "Name the one with --programs.")
            wanted = {one_program(memory, to): inside[chosen[0]]}
        return _write(here, library, row, wanted, f"“{found.name}”", yes=yes, traffic=traffic)


def store(
    here: Here,
    patch: Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)],
    program: Annotated[str, typer.Argument(metavar="PROGRAM", help="Which program it replaces, as it is shown.")],
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    yes: YesOption = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Store a patch as a program of the instrument's memory. What is there is kept first, and you are asked."""
    with here.opened() as library:
        stored, version_row = find_version(library, patch)
        row = chosen_instrument(library, instrument, embedded=embedded, of_patch=stored.instrument)
        memory = memory_of(chart_of_instrument(library, row))
        wanted = {one_program(memory, program): library.version(version_row.id)}
        return _write(here, library, row, wanted, f"“{stored.name}”", yes=yes, traffic=traffic)


def _write(
    here: Here,
    library: Library,
    row: InstrumentRow,
    wanted: Mapping[int, Version],
    source: str,
    *,
    yes: bool,
    traffic: Path | None,
) -> Exit:
    chart = chart_of_instrument(library, row)
    memory = memory_of(chart)
    if not yes:
        somebody_there(scripted=here.as_json)
    with ExitStack() as stack:
        with waiting(f"Reading {row.name}") as (cancel, progress):
            there = stack.enter_context(connected(library, row, cancel=cancel, progress=progress, traffic=traffic))
            seen = None if yes else _seen(there, list(wanted), cancel, progress)
        if seen is not None:
            here.say(_question(chart, seen, wanted))
            if transfer.written_as_a_whole(chart):
                whole = "takes its memory only as a whole: all of it is sent, the rest as it is now."
                here.say(f"{clean(row.name)} {whole}")
            replaced = [number for number in wanted if number in seen]
            agreed(f"Replace {len(replaced)} programs in {row.name}?", yes=False,
                   declined=f"Nothing was written; {row.name} is as it was.")  # fmt: skip
        with (
            waiting(f"Writing to {row.name}") as (cancel, progress),
            _kept_before(library, row, chart, source, list(wanted)) as (memories, before),
        ):
            allowed: list[int] = []

            def allow(question: transfer.Replace) -> bool:
                # Asked was what to do with what was shown; what has changed since then was not meant.
                fine = seen is None or (
                    question.number in seen and transfer.same_sound(question.there, seen[question.number])
                )
                allowed.extend([question.number] if fine else [])
                return fine

            there.log.begins("restore", programs={str(n): as_plain(one) for n, one in wanted.items()}, allowed=allowed)
            done = transfer.restore(
                there.line,
                wanted,
                allow=allow,
                keep_before=lambda number, version: memories.keep(before, number, version),
                cancel=cancel,
                progress=progress,
            )
            there.log.ends(done.sentence)
    answer = answers.Written(
        instrument=row.name,
        source=source.strip("“”"),
        new=shown(memory, done.new),
        old={memory.shown(number): why for number, why in done.old.items()},
        unknown={memory.shown(number): why for number, why in done.unknown.items()},
        before=before.name if done.before else None,
        bytes_in=done.bytes_in,
        bytes_out=done.bytes_out,
        seconds=round(done.seconds, 3),
        sentence=done.sentence,
    )
    reasons = [*done.old.items(), *done.unknown.items()]
    here.answer(
        answer,
        f"{clean(source)} to {clean(row.name)}: {clean(done.sentence)}.",
        *(clean(f"{memory.shown(number)}: {why}") for number, why in reasons),
        *([f"What was there is kept as “{clean(before.name)}”."] if done.before else []),
    )
    return Exit.OK if not reasons else Exit.DIFFERS


def _seen(
    there: Connected, wanted: list[int], cancel: transfer.Cancel, progress: transfer.OnProgress
) -> Mapping[int, Version]:
    """What is in the places now, to ask about it."""
    there.log.begins("backup", programs=wanted, done={})
    found = transfer.backup(there.line, programs=wanted, cancel=cancel, progress=progress)
    there.log.ends(found.sentence)
    return found.programs


def _question(chart: Chart, seen: Mapping[int, Version], wanted: Mapping[int, Version]) -> Table:
    memory = memory_of(chart)
    made = table("Program", "There now", "Becomes", right=(0,))
    for number, version in wanted.items():
        now = seen[number].name.rstrip() if number in seen else "could not be read, stays"
        made.add_row(memory.shown(number), cell(now), cell(version.name.rstrip(), bold=True))
    return made


@contextmanager
def _kept_before(
    library: Library, row: InstrumentRow, chart: Chart, source: str, wanted: list[int]
) -> Iterator[tuple[Memories, MemoryBackup]]:
    """A backup of what a restore finds; without a single program it is taken away again."""
    memories = Memories(library)
    now = datetime.now().astimezone()
    before = memories.begin(row, chart, f"Before {source}, {now.day} {now:%b %H:%M}", wanted, "before")
    try:
        yield memories, before
    except Cancelled as ended:
        raise Cancelled(f"{ended} {_had_back(memories, before)}".strip()) from ended
    except OutsideProblem as problem:
        problem.hint = f"{problem.hint} {_had_back(memories, before)}".strip()
        raise
    finally:
        if not memories.end(before, {}).kept:
            memories.delete(before)


def _had_back(memories: Memories, before: MemoryBackup) -> str:
    """How to have back what is not certain any more after a break, if anything was kept."""
    if not memories.programs(before):
        return ""
    return f"What was there is kept as “{before.name}”; librarian bank restore writes it back."
