"""Writing into an instrument's memory: what is there is read and kept first, the person is asked, each is proved."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from librarian.chart import UnknownValues, Way
from librarian.errors import Refused
from librarian.messages import Version
from librarian.transfer.bank import KeepProgram, numbers, program_way, read_program, same_sound, slots, slots_of
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Line
from librarian.transfer.plan import dump_in
from librarian.transfer.send import commands, send_dump
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import InstrumentRefused, NotUnderstood, and_list
from librarian.transfer.writing import written

_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Replace:
    """What the person is asked about: program `number` (through all banks, from 0), what is there, what will be."""

    number: int
    shown: str
    there: Version
    new: Version


@dataclass(frozen=True, slots=True)
class Restored:
    """The memory after a restore: each program asked for is in exactly one of the three.

    `new`: written and read back equal. `old`: still (or again) what it was, with the reason. `unknown`: written, but
    reading it back did not show it equal, with what is known. `before`: what was there, for those that were read.
    """

    new: tuple[int, ...]
    old: Mapping[int, str]
    unknown: Mapping[int, str]
    before: Mapping[int, Version]
    bytes_out: int
    bytes_in: int
    seconds: float
    sentence: str


@dataclass(slots=True)
class _Account:
    """Which program is in which condition, kept up to date before and after each byte."""

    wanted: list[int]
    shown: Callable[[int], str]
    new: list[int] = field(default_factory=list)
    old: dict[int, str] = field(default_factory=dict)
    unknown: dict[int, str] = field(default_factory=dict)

    def sentence(self) -> str:
        """Exactly which programs are new, old, unknown."""
        rest = [number for number in self.wanted if number not in {*self.new, *self.old, *self.unknown}]
        said = [f"{len(self.new)} of {len(self.wanted)} programs were written and read back equal"]
        for numbers_, words in ((self.unknown, "not certain"), ([*self.old, *rest], "as before")):
            if numbers_:
                verb = "is" if len(numbers_) == 1 else "are"
                said.append(f"{and_list([self.shown(number) for number in numbers_])} {verb} {words}")
        return "; ".join(said)


def restore(
    line: Line,
    programs: Mapping[int, Version],
    *,
    allow: Callable[[Replace], bool],
    keep_before: KeepProgram,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Restored:
    """Write versions into the memory: `programs` maps an index (through all banks, from 0) to a version.

    Each place is read first and given to `keep_before`; then `allow` is asked (the person, or a choice already made).
    A place that already holds the sound is not written. Every program is read back. Raises Refused for a version of
    another chart or revision, or one that does not know every value (a memory takes no unknowns); otherwise as
    `capture`. Cancelled and CableLost say exactly which programs are new, old, not certain.
    """
    with line.talk("restore", cancel, progress) as talk:
        introduce(talk)
        refuse_stranger(line.identified)
        wanted = numbers(line, sorted(programs))
        way = program_way(line, "write")
        for number in wanted:
            _check(line, programs[number], way)
        memory = line.chart.memory
        account = _Account(wanted, memory.shown if memory is not None else str)
        before: dict[int, Version] = {}
        started = line.clock.now()
        for count, number in enumerate(wanted):
            talk.state = account.sentence() + "."
            left = (line.clock.now() - started) / count * (len(wanted) - count) if count else None
            talk.tell(count, len(wanted), "programs", left)
            try:
                there = before[number] = read_program(talk, number)
            except (InstrumentRefused, NotUnderstood) as problem:
                account.old[number] = f"what is there could not be read and kept first: {problem}"
                continue
            keep_before(number, there)
            version = programs[number]
            try:
                messages = written(
                    line, way.message, version.values, base=_base(line, way.message, version, there),
                    name=version.name, slots=slots_of(line, way.message, number),
                )  # fmt: skip
            except UnknownValues as problem:
                account.old[number] = str(problem)
                continue
            if _is_there(line, there, messages):
                account.new.append(number)
            elif not allow(Replace(number, account.shown(number), there, version)):
                account.old[number] = "it was not to be replaced"
            else:
                _write(talk, way, account, number, there, messages)
        talk.tell(len(wanted), len(wanted), "programs", 0.0)
        return Restored(
            tuple(account.new), account.old, account.unknown, before,
            talk.bytes_out, talk.bytes_in, talk.seconds, account.sentence(),
        )  # fmt: skip


def _check(line: Line, version: Version, way: Way) -> None:
    if (version.chart, version.revision) != (line.chart.id, line.chart.revision):
        raise Refused(
            f"A sound of chart “{version.chart}” revision {version.revision} cannot be written to {line.name}, which "
            f"is described by “{line.chart.id}” revision {line.chart.revision}.",
            "Choose sounds of this instrument, or carry them over first.",
        )
    missing = [line.chart.parameters[name].label for name in way.carries if name in version.unknown]
    if missing:
        raise Refused(
            f"A program in memory needs every value, and {and_list(missing)} {'is' if len(missing) == 1 else 'are'} "
            "unknown.",
            "Recall the sound, set what is unknown by hand, and store it at the instrument.",
        )


def _write(talk: Talk, way: Way, account: _Account, number: int, there: Version, messages: tuple[bytes, ...]) -> None:
    """Write one program until it reads back equal, at most three times; afterwards its condition is known."""
    line = talk.line
    wanted = line.chart.codec.decode_all(messages, line.address)
    account.unknown[number] = "it was being written"
    for _ in range(_ROUNDS):
        talk.state = account.sentence() + "."
        refusal = _send(talk, way, messages, slots(line, number))
        try:
            held = read_program(talk, number)
        except (InstrumentRefused, NotUnderstood) as problem:
            account.unknown[number] = str(problem)
            return
        if held.values == wanted.values and held.name == wanted.name:
            del account.unknown[number]
            account.new.append(number)
            return
        unchanged = same_sound(held, there)
        if unchanged and refusal:
            break
        line.slower()
    if unchanged:
        del account.unknown[number]
        account.old[number] = refusal or "it did not take the new sound"
    else:
        account.unknown[number] = "it reads back neither as it was nor as it should be"


def _is_there(line: Line, there: Version, messages: tuple[bytes, ...]) -> bool:
    """True when the place already holds what these messages would write."""
    wanted = line.chart.codec.decode_all(messages, line.address)
    return there.values == wanted.values and there.name == wanted.name


def _send(talk: Talk, way: Way, messages: tuple[bytes, ...], where: dict[str, int]) -> str:
    refusals = talk.refusals
    commands(talk, way.before, **where)
    refusal = send_dump(talk, way, messages)
    commands(talk, way.after, **where)
    talk.until_sent()
    talk.pause(max(way.settle_s, talk.line.pace.write_delay_s))
    if talk.refusals > refusals:
        refusal = refusal or f"{talk.line.name} refused it"
    return refusal


def _base(line: Line, message: str, version: Version, there: Version) -> tuple[bytes, ...] | None:
    """Where the bytes come from that no field explains: the sound's own dumps first, then what is in that place."""
    kinds = {"program", "edit buffer"}
    others = [name for name, info in line.chart.codec.messages.items() if info.kind in kinds and name != message]
    for name in [message, *others]:
        if (own := dump_in(line, version, name)) is not None:
            return own
    return dump_in(line, there, message)
