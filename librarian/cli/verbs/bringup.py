"""The verb `bring-up`: hold an instrument against its chart, part by part, and report it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

import typer

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
from librarian.cli.here import Here, aside
from librarian.cli.log import save_text, writable
from librarian.cli.unkept import Unkept, UnkeptOption
from librarian.cli.verb import verb
from librarian.cli.waiting import waiting
from librarian.errors import BadInput, OutsideProblem
from librarian.messages import Version
from librarian.transfer import bringup
from librarian.transfer.before import BRING_UP_TAG, NotKept, before_bring_up, before_in

CARE = (
    "Every control goes to both its ends: turn the monitors down and take headphones off first, "
    "for hearing damage is permanent."
)


def add_to(app: typer.Typer) -> None:
    """Register this verb."""
    verb(app, "bring-up")(bring_up)


def bring_up(
    here: Here,
    instrument: InstrumentOption = None,
    embedded: EmbeddedOption = False,
    monitors_down: Annotated[
        bool, typer.Option("--monitors-down", help="The monitors are turned down; needed where nobody can be asked.")
    ] = False,
    write_memory: Annotated[
        bool,
        typer.Option(
            "--write-memory", help="Its memory may be written as well (and is put back); else it is left out."
        ),
    ] = False,
    unkept: UnkeptOption = False,
    seed: Annotated[int, typer.Option("--seed", help="Which values between the ends are tried.")] = 1,
    text: Annotated[Path | None, typer.Option("--text", metavar="FILE", help="Save the report as plain text.")] = None,
    html: Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Save it as a page.")] = None,
    junit: Annotated[
        Path | None, typer.Option("--junit", metavar="FILE", help="Save it as JUnit XML, for continuous integration.")
    ] = None,
    save: Annotated[
        Path | None, typer.Option("--save", metavar="FILE", help="Save it to compare a later one with.")
    ] = None,
    since: Annotated[
        Path | None, typer.Option("--since", metavar="FILE", help="Compare with this report that --save saved.")
    ] = None,
    traffic: TrafficOption = None,
) -> Exit:
    """Try everything that the chart says on the instrument itself: for who builds it, or writes its chart.

    Each parameter is sent and read back at its ends, its middle and between; identity, device IDs, running status,
    realtime bytes, bad dumps and the fastest gaps are tried. The sound in it is kept first and put back at the end; you
    are asked where that cannot be. The monitors must be down: hearing damage is permanent. What cannot be read back is
    not tried, and the report says why. Exit code 0: nothing failed; 3: something did; 4: nothing failed, but there are
    parameters that nothing reads back.
    """
    files = [file for file in (text, html, junit, save) if file is not None]
    if len({file.resolve() for file in files}) < len(files):
        raise BadInput("Two reports cannot go into one file.", "Give each a name of its own.")
    for file in files:
        writable(file)
    earlier = None if since is None else bringup.load(since)
    if not monitors_down:
        somebody_there("--monitors-down", scripted=here.as_json)
    with here.opened(only_to_read=True) as library:
        row = chosen_instrument(library, instrument, embedded=embedded)
        if earlier is not None:
            bringup.refuse_other(earlier, row.chart)
        agreed(f"{CARE} Is that done?", yes=monitors_down, option="--monitors-down", declined="Nothing was sent.")
        replaced = Unkept(here, row, "Go on all the same?", unkept)

        def converse() -> tuple[Connected, bringup.Report]:
            def keep_before(place: str, before: Version) -> None:
                keep = before_bring_up(library, row.id, there.chart)
                try:
                    replaced.keep(there.chart, before, lambda: keep(place, before), BRING_UP_TAG, before_in(place))
                except NotKept as problem:
                    if place:  # the run goes on without writing there, and so must a replay
                        there.log.held[-1]["options"]["memory_not_kept"] = str(problem)
                    raise

            with (
                waiting(f"Bring-up of {row.name}") as (cancel, progress),
                connected(library, row, ask=False, cancel=cancel, progress=progress, traffic=traffic) as there,
            ):
                there.log.begins("bring-up", write_memory=write_memory, seed=seed)
                with there.log.kept_from():
                    report = bringup.bring_up(
                        there.line,
                        write_memory=write_memory,
                        seed=seed,
                        keep_before=keep_before,
                        lose=replaced.lose,
                        cancel=cancel,
                        progress=progress,
                    )
                there.log.ends(report.sentence)
                return there, report

        there, report = replaced.agreed_to(converse)
    changes = None if earlier is None else bringup.changes(report, earlier, there.chart)
    as_text = bringup.as_text(report, changes)
    kept = _Kept()
    kept.keep(text, lambda place: save_text(place, as_text))
    kept.keep(html, lambda place: save_text(place, bringup.as_html(report, changes)))
    kept.keep(junit, lambda place: save_text(place, bringup.as_junit(report, changes)))
    kept.keep(save, lambda place: bringup.save(report, place))
    answer = answers.BroughtUp(
        instrument=report.instrument,
        chart=report.chart,
        revision=report.revision,
        firmware=report.firmware,
        port=report.port,
        taken=report.taken,
        seconds=round(report.seconds, 3),
        passed=len(report.of("passed")),
        failed=len(report.of("failed")),
        not_tried=len(report.of("not tried")),
        findings=[_finding(one) for one in report.findings],
        measured=dict(report.measured),
        restored=report.restored,
        unproved=list(report.unproved),
        changes=None if changes is None else _since(changes),
        files=[str(file) for file in kept.files],
        unkept=replaced.said,
        beside=[str(file) for file in replaced.files],
    )
    saved = [f"Saved: {clean(', '.join(str(file) for file in kept.files))}"] if kept.files else []
    here.answer(answer, clean(as_text.rstrip("\n"), lines=True, longest=len(as_text)), *saved)
    if kept.troubled:
        return Exit.COULD_NOT
    if report.of("failed"):
        return Exit.DIFFERS
    return Exit.UNPROVED if report.unproved else Exit.OK


@dataclass
class _Kept:
    """The files that were written. What minutes of work found is shown all the same where one of them cannot be."""

    files: list[Path] = field(default_factory=list)
    troubled: bool = False

    def keep(self, place: Path | None, write: Callable[[Path], None]) -> None:
        if place is None:
            return
        try:
            write(place)
        except OutsideProblem as problem:
            self.troubled = True
            aside(clean(f"{problem} {problem.hint}"))
        else:
            self.files.append(place)


def _since(changes: bringup.Changes) -> answers.Since:
    return answers.Since(
        since=changes.since,
        broken=[_finding(one) for one in changes.broken],
        mended=[_finding(one) for one in changes.mended],
        still=[_finding(one) for one in changes.still],
        untried=[_finding(one) for one in changes.untried],
    )


def _finding(one: bringup.Finding) -> answers.Finding:
    return answers.Finding(
        check=one.check,
        subject=one.subject,
        outcome=one.outcome,
        expected=one.expected,
        got=one.got,
        side=one.side,
        sent=list(one.sent),
        received=list(one.received),
    )
