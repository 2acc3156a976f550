"""The whole conformance run: what can be asked is asked, what was in the instrument is there again afterwards."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from librarian.errors import Refused
from librarian.transfer import limits
from librarian.transfer.bringup import controllers, dumps, losing, memory, timing
from librarian.transfer.bringup.bench import Bench, KeepBefore, Lose, Unproved
from librarian.transfer.bringup.identity import identity
from librarian.transfer.bringup.report import Report
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.capture import as_version, read_all
from librarian.transfer.identify import introduce, is_twin, refuse_stranger, refuse_whoever_else, show_itself
from librarian.transfer.line import Line
from librarian.transfer.plan import make_plan
from librarian.transfer.reading import Reading
from librarian.transfer.send import send
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import (
    EchoLoop,
    ForeignOnly,
    InstrumentRefused,
    NoReply,
    NotUnderstood,
    WrongInstrument,
)

Check = Callable[[Bench], None]

_CHECKS: tuple[tuple[str, Check], ...] = (
    ("identity", identity),
    ("dumps sent", dumps.sending),
    ("controllers", controllers.each_value),
    ("single parameters", controllers.single_parameters),
    ("another channel", controllers.nothing_else),
    ("NRPN null", controllers.null_selection),
    ("running status", controllers.running_status),
    ("dumps taken", dumps.taking),
    ("bad dumps", dumps.refusing),
    ("realtime inside", dumps.realtime_inside),
    ("timing of controllers", timing.controllers),
    ("timing of dumps", timing.dumps),
)


def bring_up(
    line: Line,
    *,
    write_memory: bool = False,
    seed: int = 1,
    keep_before: KeepBefore | None = None,
    lose: Lose | None = None,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Report:
    """Hold an instrument against its chart, part by part.

    Its edit buffer is changed many times and put back at the end; its memory is written only with `write_memory`, and
    put back as well. What is put back goes to `keep_before` first, because the conversation may break off. `seed`
    chooses the values between the ends. Turn the monitors down first: every sound from the lowest to the highest of
    everything is tried. Where the edit buffer cannot be asked for, what needs it is not tried and nothing of the sound
    is sent; the rest is. What would be lost of the sound (its answers cannot be used; a dump writes more than can be
    read) is told to `lose` before anything is sent over it.

    Raises NoReply and the like when nothing answers at all, Refused where the chart knows nothing that the instrument
    answers, CableLost, Busy, what `keep_before` and `lose` raise; Cancelled says whether the old sound was put back.
    """
    with line.talk("bring-up", cancel, progress) as talk:
        talk.limit_s = limits.bring_up_s(line)
        talk.state = "Nothing was changed."
        introduce(talk)
        found = line.identified
        if found is not None and found.reply is not None and is_twin(line, found.reply.device):
            refuse_stranger(found)
        bench = Bench(talk, seed)
        talk.trace = None
        held: Reading | None = None
        lost = ""
        if bench.roads:
            try:
                held, why = _held(talk, bench)
            except (NoReply, ForeignOnly):
                refuse_whoever_else(talk)
                raise
            lost = losing.of_the_edit_buffer(bench, held, why)
            if held is not None and keep_before is not None:
                keep_before("", as_version(line, held, kind="safety", detail=f"before a bring-up, on {line.port}"))
        else:
            _answers(talk, bench)
            if write_memory:
                lost = losing.by_storing(bench)
        if lost and lose is not None:
            lose(lost)
        talk.trace = []
        if bench.roads:
            kept = " What was in it before is kept." if held is not None and keep_before is not None else ""
            talk.state = (
                f"{line.name} holds values of the test; recall a sound, or choose a program at the instrument.{kept}"
            )
        for count, (what, check) in enumerate(_CHECKS):
            talk.tell(count, len(_CHECKS) + 1, what, None)
            _run(bench, what, check)
        talk.tell(len(_CHECKS), len(_CHECKS) + 1, "memory", None)
        _run(bench, "memory", lambda one: memory.writing(one, allowed=write_memory, keep_before=keep_before))
        restored = _put_back(bench, held) if bench.roads else "" if lost else "Its edit buffer was left as it is."
        if lost and (held is not None or not bench.roads):
            restored = f"{restored} {lost}".lstrip()
        talk.tell(len(_CHECKS) + 1, len(_CHECKS) + 1, "done", 0.0)
        firmware = line.identified.firmware if line.identified is not None else ""
        return Report(
            instrument=line.name,
            chart=line.chart.id,
            revision=line.chart.revision,
            firmware=firmware,
            port=line.port,
            findings=tuple(bench.findings),
            measured=tuple(bench.measured),
            seconds=talk.seconds,
            taken=datetime.now(UTC),
            restored=restored,
            unproved=tuple(line.chart.parameters[name].label for name in bench.unproved),
        )


def _answers(talk: Talk, bench: Bench) -> None:
    """Where the edit buffer cannot be asked for: is anybody there at all, by its identity or by its memory?"""
    line = talk.line
    if line.chart.identity.manufacturer is None and bench.stored is None:
        raise Refused(
            f"{line.name} answers nothing that its chart knows: it can be asked neither who it is nor for a sound, so "
            "nothing that is sent to it can be proved.",
            "Give its chart an identity, or a way of capture that the program can ask for. What its controls send can "
            "be seen without: capture by hand.",
        )
    if line.identified is None:
        show_itself(talk)


def _held(talk: Talk, bench: Bench) -> tuple[Reading | None, str]:
    """What is in it now, to be put back; None, and why, when its answers cannot be used (the checks say more)."""
    try:
        return read_all(talk, bench.roads).reading, ""
    except NotUnderstood as problem:
        return None, str(problem)


def _run(bench: Bench, what: str, check: Check) -> None:
    """One check; an instrument that stops answering in it fails it, and the next one is tried."""
    bench.begin()
    try:
        check(bench)
    except Unproved as problem:
        bench.failed(f"{what}: read back", "", "an answer", problem.reason)
    except (NoReply, ForeignOnly, EchoLoop, InstrumentRefused, NotUnderstood, WrongInstrument) as problem:
        bench.failed(f"{what}: read back", "", "an answer", str(problem))


def _put_back(bench: Bench, held: Reading | None) -> str:
    talk, line = bench.talk, bench.talk.line
    if held is None:
        return "What was in it before could not be read, so it was not put back."
    version = as_version(line, held)
    try:
        plan = make_plan(line, version, version.values or held.values, held, way=None, whole=True)
        send(talk, plan)
        again = read_all(talk, bench.roads).reading
    except (Refused, NoReply, ForeignOnly, EchoLoop, InstrumentRefused, NotUnderstood) as problem:
        return f"What was in it before could not be put back: {problem}"
    same = all(again.values.get(name) == value for name, value in held.values.items())
    return (
        "What was in it before is there again." if same else "What was in it before was sent, but reads back different."
    )
