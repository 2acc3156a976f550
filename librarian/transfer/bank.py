"""Whole memories: read program by program or as one bank, compare with an earlier reading, go on after a break."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from librarian.chart import Chart, Way
from librarian.errors import Refused
from librarian.messages import Origin, Version
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.capture import as_version
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Line
from librarian.transfer.read import read_surely
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import InstrumentRefused, NotUnderstood, and_list
from librarian.transfer.wholebank import bank_way, by_banks, read_bank

KeepProgram = Callable[[int, Version], object]


@dataclass(frozen=True, slots=True)
class Backup:
    """What the memory held. `programs`: index (counted through all banks from 0) -> version.

    `failed`: index -> why it could not be read. `changed`: indices that differ from the earlier backup given, or are
    new in it; None where none was given. `sentence`: how many of how many.
    """

    programs: Mapping[int, Version]
    failed: Mapping[int, str]
    changed: tuple[int, ...] | None
    bytes_in: int
    bytes_out: int
    seconds: float
    sentence: str


def backup(
    line: Line,
    *,
    programs: Iterable[int] | None = None,
    done: Mapping[int, Version] | None = None,
    earlier: Mapping[int, Version] | None = None,
    keep: KeepProgram | None = None,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Backup:
    """Read the memory: all of it, or the `programs` named. Nothing is written.

    `done`: what an interrupted backup had read; it is not asked for again. `keep` is given each program as soon as it
    is sure, so that a break loses nothing. `earlier`: an older backup to compare with. Raises Refused when the chart
    knows no memory or no request for it; otherwise as `capture`. Cancelled says how many were read.
    """
    with line.talk("backup", cancel, progress) as talk:
        talk.state = "No program was read yet, and the instrument is as it was."
        introduce(talk)
        refuse_stranger(line.identified)
        wanted = numbers(line, programs)
        talk.limit_s = limits.backup_s(line, len(wanted))
        found: dict[int, Version] = {number: (done or {})[number] for number in wanted if number in (done or {})}
        failed: dict[int, str] = {}
        asked = [number for number in wanted if number not in found]
        whole = bank_way(line, "request")
        if whole is not None and not single_programs(line, "request"):
            _read_whole(talk, whole, asked, found, keep)
            asked = []
        started = line.clock.now()
        for count, number in enumerate(asked):
            talk.state = f"{len(found)} of {len(wanted)} programs were read and kept."
            spent = line.clock.now() - started
            left = spent / count * (len(asked) - count) if count else None
            talk.tell(len(found), len(wanted), "programs", left)
            try:
                version = read_program(talk, number)
            except (NotUnderstood, InstrumentRefused) as problem:
                failed[number] = str(problem)
                continue
            found[number] = version
            if keep is not None:
                keep(number, version)
        talk.tell(len(found), len(wanted), "programs", 0.0)
        changed = None if earlier is None else _changed(found, earlier)
        return Backup(
            found, failed, changed, talk.bytes_in, talk.bytes_out, talk.seconds, _sentence(line, wanted, found, failed)
        )


def _read_whole(talk: Talk, way: Way, asked: list[int], found: dict[int, Version], keep: KeepProgram | None) -> None:
    """All programs by one request: nothing is kept before all of it is sure."""
    talk.state = "Nothing was kept, and the instrument is as it was."
    for bank, numbers_of in by_banks(talk.line, way, asked).items():
        held = read_bank(talk, way, bank)
        for number in numbers_of:
            if number in held.programs:
                found[number] = held.programs[number]
                if keep is not None:
                    keep(number, found[number])


def no_memory(line: Line) -> Refused:
    """The chart knows no memory, so nothing can be asked of it."""
    return Refused(
        f"{line.name} has no memory of its own that its chart knows.",
        "Capture and keep its sounds one by one, or add [memory] to the chart.",
    )


def numbers(line: Line, programs: Iterable[int] | None) -> list[int]:
    """The programs meant, in order. Raises Refused for one that the memory does not have, or where there is none."""
    memory = line.chart.memory
    if memory is None:
        raise no_memory(line)
    wanted = range(memory.size) if programs is None else list(programs)
    for number in wanted:
        if not 0 <= number < memory.size:
            raise Refused(
                f"{line.name} has no program {number}: its {memory.size} programs are counted from 0.",
                f"Choose programs from 0 to {memory.size - 1}.",
            )
    return list(wanted)


def single_programs(line: Line, form: str) -> bool:
    """True when the chart has a message for one program in this form."""
    return _has(line.chart, "program", form)


def written_as_a_whole(chart: Chart) -> bool:
    """True when to write one program, all of the memory (or of its bank) has to be sent."""
    return _has(chart, "bank", "write") and not _has(chart, "program", "write")


def _has(chart: Chart, kind: str, form: str) -> bool:
    return any(info.kind == kind and form in info.forms for info in chart.codec.messages.values())


def program_way(line: Line, form: str) -> Way:
    """The message for one program in this form ("request" or "write"), as a way. Raises Refused when there is none."""
    for name, info in line.chart.codec.messages.items():
        if info.kind == "program" and form in info.forms:
            declared = next((way for way in line.chart.ways_out if way.message == name), None)
            if form == "write" and declared is not None:
                return declared
            timeout = max((way.timeout_s for way in line.chart.ways_in), default=2.0)
            return Way("dump", name, info.carries, timeout, label=info.label or name)
    verb = "asks for" if form == "request" else "writes"
    raise Refused(
        f"The chart of {line.name} has no message that {verb} a single program.",
        "Add a message of kind “program” to the chart.",
    )


def slots(line: Line, number: int) -> dict[str, int]:
    """Program and bank of an index through all banks, as the messages of the chart name them."""
    memory = line.chart.memory
    if memory is None:
        raise no_memory(line)
    bank, program = divmod(number, memory.programs)
    return {"program": program, "bank": bank}


def slots_of(line: Line, message: str, number: int) -> dict[str, int]:
    """Those of `slots` that this message has."""
    has = line.chart.codec.messages[message].slots
    return {name: value for name, value in slots(line, number).items() if name in has}


def read_program(talk: Talk, number: int) -> Version:
    """One stored program, read until its answers agree."""
    line = talk.line
    way = program_way(line, "request")
    sure = read_surely(talk, way, expected=None, **slots_of(line, way.message, number))
    version = as_version(line, sure.reading)
    shown = line.chart.memory.shown(number) if line.chart.memory is not None else str(number)
    origin = Origin("captured", f"program {shown} on {line.port}")
    return Version(
        version.chart, version.revision, version.values, version.unknown, version.received, origin, version.name
    )


def same_sound(a: Version, b: Version) -> bool:
    """True when two versions hold the same values, unknowns and name."""
    return a.values == b.values and a.unknown == b.unknown and a.name == b.name


def _changed(found: Mapping[int, Version], earlier: Mapping[int, Version]) -> tuple[int, ...]:
    return tuple(
        number for number, version in found.items() if number not in earlier or not same_sound(version, earlier[number])
    )


def _sentence(line: Line, wanted: list[int], found: Mapping[int, Version], failed: Mapping[int, str]) -> str:
    said = f"{len(found)} of {len(wanted)} programs read from {line.name}"
    if not failed:
        return said
    memory = line.chart.memory
    names = [memory.shown(number) if memory is not None else str(number) for number in failed]
    return f"{said}; {and_list(names)} could not be read"
