"""Verbs that change what sounds: recall a patch, and put back what was there before."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
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
    TrafficOption,
    chosen_instrument,
    connected,
)
from librarian.cli.exits import Exit
from librarian.cli.here import Here, aside
from librarian.cli.patches import REFERENCE, find_version, patch_answer
from librarian.cli.sheets import compared_answer, comparison_table, shown_time
from librarian.cli.unkept import Unkept, UnkeptOption
from librarian.cli.verb import verb
from librarian.cli.waiting import waiting
from librarian.collection import Library
from librarian.collection.plain import as_plain, of_plain
from librarian.errors import LibrarianError, Refused
from librarian.messages import Version
from librarian.transfer.before import RECALL_TAG, before_the_recall_of, keep_what_was_there

_BEFORE = "before recall/"

SetupOption = Annotated[bool, typer.Option("--with-setup", help="Setup parameters too, not only the sound.")]


class RecallWay(StrEnum):
    """How to send a sound."""

    DUMP = "dump"
    CONTROLLERS = "controllers"
    PARAMETERS = "parameters"


def add_to(app: typer.Typer) -> None:
    """Register these verbs."""
    verb(app, "recall")(recall)
    verb(app, "put-back")(put_back)


def recall(
    here: Here,
    patch: Annotated[str, typer.Argument(metavar="PATCH", help=REFERENCE)],
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    with_setup: SetupOption = False,
    whole: Annotated[
        bool, typer.Option("--whole", help="Send everything, also what is there already; not only what differs.")
    ] = False,
    way: Annotated[RecallWay | None, typer.Option("--way", help="How to send, if not as the chart prefers.")] = None,
    no_verify: Annotated[bool, typer.Option("--no-verify", help="Do not read back; nothing is proved then.")] = False,
    unkept: UnkeptOption = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Send a patch to its instrument and read it back. What was in it before is kept first.

    It can be put back: librarian put-back. Where it cannot be kept, you are asked first. Turn the monitors down: a
    recalled sound may be loud, and hearing damage is permanent.
    """
    with here.opened(only_to_read=True) as library:
        stored, version_row = find_version(library, patch)
        version = library.version(version_row.id)
        row = chosen_instrument(library, instrument, embedded=embedded, of_patch=stored.instrument)

        replaced = Unkept(here, row, "Recall all the same?", unkept)
        options = {
            "verify": not no_verify,
            "with_setup": with_setup,
            "whole": whole,
            "way": way.value if way else None,
        }

        def converse() -> tuple[Connected, transfer.Recalled]:
            def keep_before(before: Version) -> None:
                if before.values:
                    _keep(replaced, library, there, before, stored.name, with_setup=with_setup)
                    _remember(library, row.id, stored.name, before, with_setup)

            with (
                waiting(f"Recalling “{stored.name}” to {row.name}") as (cancel, progress),
                connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
            ):
                return there, _recalled(there, version, options, keep_before, cancel, progress)

        there, done = replaced.agreed_to(converse)
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
            saved=done.saved,
            rounds=done.rounds,
            slowed=done.slowed,
            unkept=replaced.said,
            beside=[str(file) for file in replaced.files],
        )
        shown = [f"“{clean(stored.name)}” to {clean(row.name)}: {clean(done.sentence)}.", *_how(done)]
        tables = [] if done.state != "differs" or compared is None else [comparison_table(compared, everything=False)]
        here.answer(answer, *shown, *tables)
        return state_exit(done.state)


def put_back(
    here: Here,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    unkept: UnkeptOption = False,
    traffic: TrafficOption = None,
) -> Exit:
    """Put back what was in the instrument before the last recall, and read it back. A second time: the other way.

    What is in it now is kept first; where that cannot be, you are asked.
    """
    with here.opened(only_to_read=True) as library:
        row = chosen_instrument(library, instrument, embedded=embedded)
        kept = library.setting(f"{_BEFORE}{row.id}")
        if kept is None:
            raise Refused(
                f"Nothing is known of what {row.name} held before a recall.",
                "It is kept by each recall to an instrument that can be read.",
            )
        version, of, with_setup = of_plain(kept["sound"]), str(kept["of"]), bool(kept["with_setup"])

        replaced = Unkept(here, row, "Put it back all the same?", unkept)
        found: list[Version] = []

        def converse() -> transfer.Recalled:
            def keep_before(before: Version) -> None:
                found.append(before)
                if before.values:
                    over = f"what was there before “{of}”"
                    _keep(replaced, library, there, before, over, with_setup=with_setup)

            with (
                waiting(f"Putting back what {row.name} held") as (cancel, progress),
                connected(library, row, cancel=cancel, progress=progress, traffic=traffic) as there,
            ):
                return _recalled(there, version, {"with_setup": with_setup}, keep_before, cancel, progress)

        done = replaced.agreed_to(converse)
        # Only now: one that broke off, or did not arrive, is to be tried again, not taken back.
        if done.state != "differs" and found and found[-1].values:
            _remember(library, row.id, f"what was put back, of {shown_time(version.taken)}", found[-1], with_setup)
        answer = answers.PutBack(
            instrument=row.name,
            before=of,
            taken=version.taken,
            state=done.state,
            sent=done.sent,
            of=done.of,
            equal=done.equal,
            bytes_in=done.bytes_in,
            bytes_out=done.bytes_out,
            seconds=round(done.seconds, 3),
            sentence=done.sentence,
            unkept=replaced.said,
            beside=[str(file) for file in replaced.files],
        )
        moment: datetime = version.taken
        said = f"{clean(row.name)}, as it was on {shown_time(moment)} before the recall of “{clean(of)}”"
        here.answer(answer, f"{said}: {clean(done.sentence)}.", *_how(done))
        return state_exit(done.state)


def state_exit(state: str) -> Exit:
    """The exit code of a recall or a verification."""
    return {"arrived": Exit.OK, "differs": Exit.DIFFERS}.get(state, Exit.UNPROVED)


def _recalled(
    there: Connected,
    version: Version,
    options: dict[str, bool | str | None],
    keep_before: Callable[[Version], None],
    cancel: transfer.Cancel,
    progress: transfer.OnProgress,
) -> transfer.Recalled:
    with_setup, way = bool(options["with_setup"]), options.get("way")
    readable = transfer.can_be_read(there.line)
    # Of a recall that is refused the refusal alone is true: nothing is replaced.
    if not readable and not transfer.refusal(there.line, version, with_setup=with_setup, way=way):  # type: ignore[arg-type]
        aside(f"{clean(there.row.name)} cannot be read: what is in it now is not kept and cannot be put back.")
    there.log.begins("recall", version=as_plain(version), **options)
    with there.log.kept_from():
        done = transfer.recall(
            there.line,
            version,
            keep_before=keep_before,
            cancel=cancel,
            progress=progress,
            **options,  # type: ignore[arg-type]
        )
    there.log.ends(done.sentence)
    return done


def _keep(
    replaced: Unkept, library: Library, there: Connected, before: Version, over: str, *, with_setup: bool
) -> None:
    """What is there, before `over` replaces it."""
    row, chart = there.row, there.chart
    replaced.keep(
        chart,
        before,
        lambda: keep_what_was_there(library, row.id, chart, before, over, with_setup=with_setup),
        RECALL_TAG,
        before_the_recall_of(over),
    )


def _remember(library: Library, instrument: int, of: str, before: Version, with_setup: bool) -> None:
    """What `put-back` will bring. `of`: what was recalled over it; with set-up when that recall changed it too.

    A library that does not take that stops nothing: the sound itself was kept, or its loss agreed to.
    """
    kept = {"of": of, "with_setup": with_setup, "sound": as_plain(before)}
    try:
        library.set_setting(f"{_BEFORE}{instrument}", kept)
    except LibrarianError as problem:
        aside(clean(f"“librarian put-back” will not bring back what is replaced now. {problem}"))


def _how(done: transfer.Recalled) -> list[str]:
    """What was saved, and what it took."""
    said = []
    if done.saved:
        said.append(f"{done.saved} bytes did not have to travel: that much was there already.")
    if done.rounds:
        times = "once" if done.rounds == 1 else f"{done.rounds} times"
        said.append(f"Sent again {times}; the gaps between messages are doubled {done.slowed} times now, and stay so.")
    return said
