"""Verbs that talk with an instrument: identify, capture, recall, verify, compare with the panel."""

from __future__ import annotations

import threading
from enum import StrEnum
from typing import Annotated

import typer

from librarian import transfer
from librarian.cli import answers
from librarian.cli.clean import clean
from librarian.cli.connect import (
    Connected,
    EmbeddedOption,
    InstrumentOption,
    chosen_instrument,
    connected,
    find_port,
)
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside
from librarian.cli.patches import REFERENCE, find_patch, find_version, patch_answer
from librarian.cli.reading import chart_file
from librarian.cli.sheets import compared_answer, comparison_table, panel_name, sound_answer, summary
from librarian.cli.verb import verb
from librarian.cli.waiting import on_interrupt, waiting
from librarian.collection import Library
from librarian.errors import BadInput
from librarian.messages import Version
from librarian.transfer.connections import Connections

PatchArgument = Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)]
SetupOption = Annotated[bool, typer.Option("--with-setup", help="Setup parameters too, not only the sound.")]


RECENT = 200


class CaptureWay(StrEnum):
    """How to ask for a sound."""

    DUMP = "dump"
    CONTROLLERS = "controllers"
    HAND = "hand"


class RecallWay(StrEnum):
    """How to send a sound."""

    DUMP = "dump"
    CONTROLLERS = "controllers"


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "identify")(who)
    verb(app, "capture")(capture)
    verb(app, "recall")(recall)
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
) -> Exit:
    """Ask who is there: the standard's identity request. Nothing in the instrument changes."""
    if (output is None) != (input_ is None):
        raise BadInput("One port alone is no connection.", "Say both --out PORT and --in PORT.")
    with waiting("Asking who is there") as (cancel, progress):
        if output is not None and input_ is not None:
            with Connections() as connections:
                ports = connections.ports()
                out, in_ = find_port(output, "out", ports), find_port(input_, "in", ports)
                line = connections.open_ports(out, in_, chart_file(chart))
                try:
                    found = transfer.identify(line, device=device, cancel=cancel, progress=progress)
                finally:
                    line.cable.close()
        else:
            with here.opened() as library:
                row = chosen_instrument(library, instrument, embedded=embedded)
                with connected(library, row, ask=False) as there:
                    line = there.line
                    found = transfer.identify(line, device=device, cancel=cancel, progress=progress)
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
    seconds: Annotated[
        float | None, typer.Option("--seconds", min=0, help="By hand: stop listening after so long.")
    ] = None,
) -> None:
    """Capture the sound that is in the instrument now, and keep it."""
    with here.opened() as library:
        target = None if into is None else find_patch(library, into)
        row = chosen_instrument(
            library, instrument, embedded=embedded, of_patch=None if target is None else target.instrument
        )
        with waiting(f"Capturing from {row.name}") as (cancel, progress):
            by_hand = way is CaptureWay.HAND
            with connected(library, row, ask=not by_hand, cancel=cancel, progress=progress) as there:
                if by_hand:
                    found = _by_hand(there, seconds, progress)
                else:
                    found = transfer.capture(
                        there.line, way=way.value if way else None, cancel=cancel, progress=progress
                    )
                patch = None
                if not look and target is not None:
                    library.add_version(target.id, found.version, note)
                    patch = library.patch(target.id)
                elif not look:
                    called = name or found.version.name or panel_name(found.version.taken)
                    patch = library.patch(library.keep(row.id, called, found.version, tag or [], note))
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


def recall(
    here: Here,
    patch: PatchArgument,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    with_setup: SetupOption = False,
    way: Annotated[RecallWay | None, typer.Option("--way", help="How to send, if not as the chart prefers.")] = None,
    no_verify: Annotated[bool, typer.Option("--no-verify", help="Do not read back; nothing is proved then.")] = False,
) -> Exit:
    """Send a patch to its instrument and read it back. What was in it before is kept first.

    Turn the monitors down first: a recalled sound may be loud, and hearing damage is permanent.
    """
    with here.opened() as library:
        stored, version_row = find_version(library, patch)
        version = library.version(version_row.id)
        row = chosen_instrument(library, instrument, embedded=embedded, of_patch=stored.instrument)

        def keep_before(before: Version) -> None:
            if before.values and not _held(library, row.id, before):
                library.keep(row.id, panel_name(before.taken), before, ["before a recall"])

        with (
            waiting(f"Recalling “{stored.name}” to {row.name}") as (cancel, progress),
            connected(library, row, cancel=cancel, progress=progress) as there,
        ):
            done = transfer.recall(
                there.line,
                version,
                verify=not no_verify,
                with_setup=with_setup,
                way=way.value if way else None,
                keep_before=keep_before,
                cancel=cancel,
                progress=progress,
            )
        compared = None if done.comparison is None else compared_answer(there.chart, done.comparison)
        answer = answers.Recalled(
            instrument=row.name,
            patch=patch_answer(stored),
            version=version_row.number,
            state=done.state,
            sent=done.sent,
            of=done.of,
            equal=done.equal,
            left_out=list(done.left_out),
            bytes_in=done.bytes_in,
            bytes_out=done.bytes_out,
            seconds=round(done.seconds, 3),
            sentence=done.sentence,
            comparison=compared,
        )
        shown = [f"“{clean(stored.name)}” to {clean(row.name)}: {clean(done.sentence)}."]
        tables = [] if done.state != "differs" or compared is None else [comparison_table(compared, everything=False)]
        here.answer(answer, *shown, *tables)
        return state_exit(done.state)


def verify(
    here: Here,
    patch: PatchArgument,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    with_setup: SetupOption = False,
) -> Exit:
    """Read the instrument and compare it with a patch; nothing is written to either."""
    with here.opened() as library:
        stored, version_row = find_version(library, patch)
        version = library.version(version_row.id)
        row = chosen_instrument(library, instrument, embedded=embedded, of_patch=stored.instrument)
        with (
            waiting(f"Reading {row.name}") as (cancel, progress),
            connected(library, row, cancel=cancel, progress=progress) as there,
        ):
            done = transfer.verify(there.line, version, with_setup=with_setup, cancel=cancel, progress=progress)
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


def panic(here: Here, instrument: InstrumentOption = None, embedded: EmbeddedOption = False) -> None:
    """Everything off: all notes, all sounds, on every channel of the instrument's output."""
    with here.opened() as library:
        row = chosen_instrument(library, instrument, embedded=embedded)
        with connected(library, row, ask=False) as there:
            transfer.panic(there.line)
        here.answer(answers.Panicked(instrument=row.name), f"Everything off was sent to {clean(row.name)}.")


def state_exit(state: str) -> Exit:
    """The exit code of a recall or a verification."""
    return {"arrived": Exit.OK, "differs": Exit.DIFFERS}.get(state, Exit.UNPROVED)


def _by_hand(there: Connected, seconds: float | None, progress: transfer.OnProgress) -> transfer.Captured:
    """Listen until every control was moved, the time is over, or Ctrl+C says that it is enough."""
    enough = threading.Event()
    aside(f"Listening to {clean(there.row.name)}: move each control a little. Ctrl+C ends it; the rest stays unknown.")
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


def _held(library: Library, instrument: int, before: Version) -> bool:
    """Is what the instrument holds a recent patch's latest version? If it is an old one's, a copy does no harm."""
    rows = library.rows(library.find(instrument=instrument, order="time").ids[:RECENT])
    contents = library.version_contents([row.latest for row in rows])
    return any(each.values == before.values for each in contents.values())


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
