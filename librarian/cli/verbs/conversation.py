"""Verbs that only read an instrument, or silence it: identify, capture, verify, panic."""

from __future__ import annotations

import threading
from enum import StrEnum
from typing import Annotated

import typer

from librarian import transfer
from librarian.cli import answers
from librarian.cli.beside import saved_if_not_kept
from librarian.cli.clean import clean
from librarian.cli.connect import (
    Connected,
    EmbeddedOption,
    InstrumentOption,
    TrafficOption,
    chosen_instrument,
    connected,
    learn,
    wait_for_port,
)
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside
from librarian.cli.log import Log
from librarian.cli.patches import REFERENCE, find_patch, find_version, patch_answer
from librarian.cli.programs import memory_of, one_program
from librarian.cli.reading import chart_file
from librarian.cli.sheets import compared_answer, comparison_table, sound_answer, summary
from librarian.cli.verb import verb
from librarian.cli.verbs.recalling import SetupOption, state_exit
from librarian.cli.waiting import on_interrupt, waiting
from librarian.collection import InstrumentRow, Library
from librarian.collection.plain import as_plain
from librarian.errors import BadInput, OutsideProblem
from librarian.transfer.before import panel_name
from librarian.transfer.connections import Connections, twins_of

PatchArgument = Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)]

_PANIC_S = 2.0


class CaptureWay(StrEnum):
    """How to ask for a sound."""

    DUMP = "dump"
    CONTROLLERS = "controllers"
    PARAMETERS = "parameters"
    HAND = "hand"


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "identify")(who)
    verb(app, "capture")(capture)
    verb(app, "verify")(verify)
    verb(app, "panic")(panic)


def who(
    here: Here,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    output: Annotated[str | None, typer.Option("--out", metavar="PORT", help="Ask on this output instead.")] = None,
    input_: Annotated[str | None, typer.Option("--in", metavar="PORT", help="... and hear on this input.")] = None,
    chart: Annotated[
        str, typer.Option("--chart", metavar="FILE", help="With --out and --in: the chart it should fit.")
    ] = "lanternfish",
    device: Annotated[int | None, typer.Option("--device", min=0, max=126, help="Ask only this device ID.")] = None,
    traffic: TrafficOption = None,
) -> Exit:
    """Ask who is there: the standard's identity request. Nothing in the instrument changes."""
    if (output is None) != (input_ is None):
        raise BadInput("One port alone is no connection.", "Say both --out PORT and --in PORT.")
    with waiting("Asking who is there") as (cancel, progress):
        if output is not None and input_ is not None:
            with Connections() as connections:
                out, in_ = wait_for_port(connections, output, "out"), wait_for_port(connections, input_, "in")
                line = connections.open_ports(out, in_, chart_file(chart))
                log = Log(traffic)
                try:
                    with log.kept(line, connections.traffic, asked=False):
                        found = _asked(line, log, device, cancel, progress)
                finally:
                    line.cable.close()
        else:
            with here.opened() as library:
                row = chosen_instrument(library, instrument, embedded=embedded)
                with connected(library, row, ask=False, cancel=cancel, traffic=traffic) as there:
                    line = there.line
                    found = _asked(line, there.log, device, cancel, progress)
                if found.fits == "fits":
                    learn(library, row, found)
                    _warn_of_twins(library, row, found)
    here.answer(_identified(line, found), clean(found.sentence))
    return Exit.OK if found.fits == "fits" else Exit.DIFFERS


def capture(
    here: Here,
    name: Annotated[
        str | None, typer.Argument(help="Keep it under this name; without one, as “Panel, DAY TIME”.")
    ] = None,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    tag: Annotated[list[str] | None, typer.Option("--tag", metavar="TAG", help="Tag it; may be repeated.")] = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A note.")] = "",
    into: Annotated[
        str | None, typer.Option("--into", metavar="PATCH", help="Keep it as the next version of this patch.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show it, keep nothing.")] = False,
    way: Annotated[CaptureWay | None, typer.Option("--way", help="How to ask, if not as the chart prefers.")] = None,
    program: Annotated[
        str | None,
        typer.Option("--program", metavar="PROGRAM", help="This program of its memory, as the instrument shows it."),
    ] = None,
    seconds: Annotated[
        float | None, typer.Option("--seconds", min=0, help="By hand: stop listening after so long.")
    ] = None,
    traffic: TrafficOption = None,
) -> None:
    """Capture the sound that is in the instrument now, and keep it."""
    if program is not None and way is not None:
        raise BadInput("--program and --way exclude each other.", "A stored program is read in one way only.")
    with here.opened() as library:
        target = None if into is None else find_patch(library, into)
        row = chosen_instrument(
            library, instrument, embedded=embedded, of_patch=None if target is None else target.instrument
        )
        with waiting(f"Capturing from {row.name}") as (cancel, progress):
            by_hand = way is CaptureWay.HAND
            with connected(
                library, row, ask=not by_hand, cancel=cancel, progress=progress, traffic=traffic
            ) as there:
                if by_hand:
                    there.log.begins("capture by hand")
                    found = _by_hand(there, seconds, progress)
                    if found.broke_off:
                        aside(clean(found.broke_off))
                elif program is not None:
                    number = one_program(memory_of(there.chart), program)
                    there.log.begins("capture", program=number)
                    found = transfer.capture_program(there.line, number, cancel=cancel, progress=progress)
                else:
                    kind = way.value if way else None
                    there.log.begins("capture", way=kind)
                    found = transfer.capture(there.line, way=kind, cancel=cancel, progress=progress)
                there.log.ends(found.sentence)
                if not found.version.received and not found.version.values:
                    raise OutsideProblem(
                        f"Nothing that its chart knows came from {row.name}, so nothing was kept.",
                        "Listen again, and start the dump on it or move a control; look at its cable and its channel.",
                    )
                patch = None
                called = name or found.version.name or panel_name(found.version.taken)
                if not look:
                    with saved_if_not_kept(row, there.chart, found.version, called, tags=tag, note=note):
                        if target is None:
                            kept_as = library.keep(row.id, called, found.version, tag or [], note)
                        else:
                            kept_as = target.id
                            library.add_version(kept_as, found.version, note)
                    patch = library.patch(kept_as)
        answer = answers.Captured(
            instrument=row.name,
            complete=not found.missing,
            known=found.known,
            of=found.of,
            missing=list(found.missing),
            refused=list(found.refused),
            way=found.way,
            bytes_in=found.bytes_in,
            bytes_out=found.bytes_out,
            seconds=round(found.seconds, 3),
            sound=sound_answer(there.chart, found.version),
            patch=None if patch is None else patch_answer(patch),
        )
        kept = "Nothing was kept." if patch is None else f"Kept as number {patch.id}, “{clean(patch.name)}”."
        here.answer(answer, f"{clean(found.sentence)}.", *(clean(each) for each in found.refused), kept)


def verify(
    here: Here,
    patch: PatchArgument,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    with_setup: SetupOption = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Read the instrument and compare it with a patch; nothing is written to either."""
    with here.opened() as library:
        stored, version_row = find_version(library, patch)
        version = library.version(version_row.id)
        row = chosen_instrument(library, instrument, embedded=embedded, of_patch=stored.instrument)
        with (
            waiting(f"Reading {row.name}") as (cancel, progress),
            connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
        ):
            there.log.begins("verify", version=as_plain(version), with_setup=with_setup)
            done = transfer.verify(there.line, version, with_setup=with_setup, cancel=cancel, progress=progress)
            there.log.ends(done.sentence)
        compared = None if done.comparison is None else compared_answer(there.chart, done.comparison)
        answer = answers.Verified(
            instrument=row.name,
            patch=patch_answer(stored),
            version=version_row.number,
            state=done.state,
            of=done.of,
            equal=done.equal,
            sentence=done.sentence,
            comparison=compared,
        )
        shown = [f"{clean(row.name)} against “{clean(stored.name)}”: {clean(done.sentence)}."]
        if done.comparison is not None and compared is not None:
            shown.append(summary(done.comparison))
        tables = [] if done.state == "arrived" or compared is None else [comparison_table(compared, everything=False)]
        here.answer(answer, *shown, *tables)
        return state_exit(done.state)


def panic(
    here: Here, instrument: InstrumentOption = None, embedded: EmbeddedOption = False, traffic: TrafficOption = None
) -> None:
    """Everything off: all notes, all sounds, on every channel of the instrument's output."""
    with here.opened() as library:
        row = chosen_instrument(library, instrument, embedded=embedded)
        with connected(library, row, ask=False, traffic=traffic) as there:
            there.log.begins("panic")
            transfer.panic(there.line, wait_s=_PANIC_S)
        here.answer(answers.Panicked(instrument=row.name), f"Everything off was sent to {clean(row.name)}.")


def _warn_of_twins(library: Library, row: InstrumentRow, found: transfer.Identified) -> None:
    """Equal units with one device ID: nothing tells them apart when the system numbers their ports anew."""
    for twin in twins_of(row, library.instruments()):
        if twin.address.device == found.address.device:
            aside(
                clean(
                    f"{twin.name} has the same device ID ({twin.address.device}), and only a number tells its ports "
                    f"from those of {row.name}: plugged in in another order, each may be taken for the other. Give one "
                    "of them another device ID."
                )
            )


def _asked(
    line: transfer.Line, log: Log, device: int | None, cancel: transfer.Cancel, progress: transfer.OnProgress
) -> transfer.Identified:
    log.begins("identify", device=device)
    found = transfer.identify(line, device=device, cancel=cancel, progress=progress)
    log.ends(found.sentence)
    return found


def _by_hand(there: Connected, seconds: float | None, progress: transfer.OnProgress) -> transfer.Captured:
    """Listen until a dump came, every control was moved, the time is over, or Ctrl+C says that it is enough."""
    enough = threading.Event()
    aside(
        f"Listening to {clean(there.row.name)}: start the dump on it, or move each control a little. "
        "Ctrl+C ends it; the rest stays unknown."
    )
    timer = None
    if seconds is not None:
        timer = threading.Timer(seconds, enough.set)
        timer.daemon = True
        timer.start()
    try:
        with on_interrupt(enough.set):
            return transfer.capture_by_hand(there.line, enough=enough, progress=progress)
    finally:
        if timer is not None:
            timer.cancel()


def _identified(line: transfer.Line, found: transfer.Identified) -> answers.Identified:
    reply = found.reply
    return answers.Identified(
        instrument=line.name,
        port=line.port,
        fits=found.fits,
        firmware=found.firmware,
        manufacturer="" if reply is None else reply.manufacturer.hex(" ").upper(),
        family=None if reply is None else reply.family,
        member=None if reply is None else reply.member,
        channel=found.address.channel + 1,
        device=found.address.device if found.address.device < 127 else None,
        seconds=round(found.waited_s, 3),
        sentence=found.sentence,
    )
