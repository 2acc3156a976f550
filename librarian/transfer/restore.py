"""Writing into an instrument's memory: what is there is read and kept first, the person is asked, each is proved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from librarian.chart import UnknownValues, Way
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer import limits
from librarian.transfer.astray import Held, Lost, look_for
from librarian.transfer.bank import (
    KeepProgram,
    numbers,
    program_way,
    read_program,
    same_sound,
    slots,
    slots_of,
    written_as_a_whole,
)
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Line
from librarian.transfer.plan import dump_in
from librarian.transfer.send import refused_it, store_dump
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import InstrumentRefused, NotUnderstood, and_list
from librarian.transfer.wholebank import bank_way, by_banks, read_bank, write_bank
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

    `new`: written and read back equal, or, `there` of them, found so. `old`: still (or again) what it was, with the
    reason. `unknown`: written, but reading it back did not show it equal, with what is known. `before`: what was
    there, for those that were read; a memory that travels only as a whole is in it as a whole.
    """

    new: tuple[int, ...]
    old: Mapping[int, str]
    unknown: Mapping[int, str]
    before: Mapping[int, Version]
    there: int
    bytes_out: int
    bytes_in: int
    seconds: float
    sentence: str


@dataclass(slots=True)
class Account:
    """Which program is in which condition, kept up to date before and after each byte; each is in one at most."""

    wanted: list[int]
    shown: Callable[[int], str]
    new: list[int] = field(default_factory=list)
    old: dict[int, str] = field(default_factory=dict)
    unknown: dict[int, str] = field(default_factory=dict)
    whole: bool = False
    """The whole memory travels: while it does, the programs that were not meant are not certain either."""
    unread: int = 0
    """Programs that could hold what did not arrive, and could not be read."""
    astray: list[int] = field(default_factory=list)
    """What was sent to these may be anywhere, in part: they could not be read back, or it cannot be looked for."""
    there: list[int] = field(default_factory=list)
    """Those of the new ones that held the sound already and were not written."""

    def arrived(self, number: int) -> None:
        """It was read back as it should be."""
        self._leave(number)
        self.new.append(number)

    def may_be_anywhere(self, number: int) -> None:
        """What was sent to it did not get there, and where it went cannot be told."""
        if number not in self.astray:
            self.astray.append(number)

    def came_late(self, number: int) -> None:
        """What was sent to it, and was not there when it was read back, is there now."""
        self.arrived(number)
        if number in self.astray:
            self.astray.remove(number)

    def was_there(self, number: int) -> None:
        """It held what it should before anything was written."""
        self.arrived(number)
        self.there.append(number)

    def stayed(self, number: int, why: str) -> None:
        """It is what it was."""
        self._leave(number)
        self.old[number] = why

    def doubt(self, number: int, why: str) -> None:
        """Nobody knows what it is."""
        self._leave(number)
        self.unknown[number] = why

    def _leave(self, number: int) -> None:
        for found in (self.new, self.there):
            if number in found:
                found.remove(number)
        self.old.pop(number, None)
        self.unknown.pop(number, None)

    def sentence(self) -> str:
        """Exactly which programs are new, old, unknown."""
        rest = [number for number in self.wanted if number not in {*self.new, *self.old, *self.unknown}]
        count = f"{len(self.new)} of {len(self.wanted)} programs"
        said = [f"{count} were written and read back equal"]
        if self.there:
            said = [f"{count} read back equal, {len(self.there)} of them there already"]
        if self.new and len(self.new) < len(self.wanted):
            said[0] += f": {self._named(self.new)}"
        for numbers_, words in ((self.unknown, "not certain"), ([*self.old, *rest], "as before")):
            if numbers_:
                verb = "is" if len(numbers_) == 1 else "are"
                said.append(f"{self._named(numbers_)} {verb} {words}")
        if self.whole:
            said.append("its whole memory was being written, so no other program is certain")
        if self.astray:
            said.append(f"what was sent to {self._named(self.astray)} may have gone to another program")
        if self.unread:
            said.append(f"{self.unread} others, to which a lost write may have gone, could not be read")
        return "; ".join(said)

    def _named(self, numbers_: Iterable[int]) -> str:
        """All of them, none counted away: "1, 4 to 9 and 12"."""
        runs: list[list[int]] = []
        for number in sorted(numbers_):
            if runs and number == runs[-1][-1] + 1:
                runs[-1].append(number)
            else:
                runs.append([number])
        said = []
        for run in runs:
            ends = [self.shown(number) for number in run]
            said += ends if len(ends) < 3 else [f"{ends[0]} to {ends[-1]}"]
        return and_list(said, most=len(said))


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
    Where the memory travels only as a whole, all of it is given to `keep_before` before it is written. A place that
    already holds the sound is not written. Every program is read back. Raises Refused for a version of another chart
    or revision, or one that does not know every value (a memory takes no unknowns); otherwise as `capture`. Cancelled
    and CableLost say exactly which programs are new, old, not certain.
    """
    with line.talk("restore", cancel, progress) as talk:
        talk.state = "Nothing was written; every program is as before."
        introduce(talk)
        refuse_stranger(line.identified)
        wanted = numbers(line, sorted(programs))
        talk.limit_s = limits.restore_s(line, len(wanted))
        whole = bank_way(line, "write")
        by_bank = written_as_a_whole(line.chart)
        way = whole if whole is not None and by_bank else program_way(line, "write")
        for number in wanted:
            _check(line, programs[number], way)
        memory = line.chart.memory
        job = _Restore(talk, way, Account(wanted, memory.shown if memory is not None else str), keep_before, allow)
        if by_bank:
            job.by_bank(programs)
        else:
            job.one_by_one(programs)
        talk.tell(len(wanted), len(wanted), "programs", 0.0)
        account = job.account
        return Restored(
            tuple(account.new), account.old, account.unknown, job.before, len(account.there),
            talk.bytes_out, talk.bytes_in, talk.seconds, account.sentence(),
        )  # fmt: skip


class _Restore:
    """One restore under way. `account`: which program is in which condition; `before`: what was there."""

    def __init__(
        self, talk: Talk, way: Way, account: Account, keep_before: KeepProgram, allow: Callable[[Replace], bool]
    ) -> None:
        self.account = account
        self.before: dict[int, Version] = {}
        self._talk = talk
        self._way = way
        self._lost: dict[int, Lost] = {}
        self._known: dict[int, Held] = {}
        self._keep_before = keep_before
        self._allow = allow

    def one_by_one(self, programs: Mapping[int, Version]) -> None:
        """Each program by a message of its own."""
        talk, account, way = self._talk, self.account, self._way
        line = talk.line
        started = line.clock.now()
        for count, number in enumerate(account.wanted):
            talk.state = account.sentence() + "."
            left = (line.clock.now() - started) / count * (len(account.wanted) - count) if count else None
            talk.tell(count, len(account.wanted), "programs", left)
            try:
                there = read_program(talk, number)
            except (InstrumentRefused, NotUnderstood) as problem:
                account.stayed(number, f"what is there could not be read and kept first: {problem}")
                continue
            version = programs[number]
            try:
                messages = written(
                    line, way.message, version.values, base=_base(line, way.message, version, there),
                    name=version.name, slots=slots_of(line, way.message, number),
                )  # fmt: skip
            except UnknownValues as problem:
                account.stayed(number, str(problem))
                continue
            if self._may_replace(number, there, version, is_there=_is_there(line, there, messages)):
                self._write(number, there, messages)
        if self._lost:
            self._look_for_lost()

    def _write(self, number: int, there: Version, messages: tuple[bytes, ...]) -> None:
        """Write one program until it reads back equal, at most three times; afterwards its condition is known."""
        talk, account, line = self._talk, self.account, self._talk.line
        wanted = line.chart.codec.decode_all(messages, line.address)
        account.doubt(number, "it was being written")
        before = there
        for _ in range(_ROUNDS):
            talk.state = account.sentence() + "."
            naks = talk.naks
            refusal = store_dump(talk, self._way, messages, **slots(line, number))
            try:
                held = read_program(talk, number)
            except (InstrumentRefused, NotUnderstood) as problem:
                # What damages answers damages writes, and nothing tells that this one got there whole.
                account.doubt(number, str(problem))
                account.may_be_anywhere(number)
                self._lose(number, (wanted.values, wanted.name), wanted.values)
                return
            self._known[number] = (held.values, held.name)
            if held.values == wanted.values and held.name == wanted.name:
                account.arrived(number)
                return
            unchanged = same_sound(held, there)
            if unchanged and refusal:
                break
            if not refusal:
                self._lose(number, (wanted.values, wanted.name), _not_taken(held, before, wanted.values, len(messages)))
            before = held
            line.slower()
        self._not_arrived(number, refusal or _late(talk, naks), unchanged=unchanged)

    def _lose(self, number: int, whole: Held, piece: Values) -> None:
        """Remember what of a write did not get there: all, those of its messages that changed nothing, or nothing."""
        if not piece:
            return
        lost = self._lost.setdefault(number, Lost(whole))
        lost.pieces.append(piece)
        if lost.cannot_be_known:
            self.account.may_be_anywhere(number)

    def _not_arrived(self, number: int, refusal: str, *, unchanged: bool) -> None:
        if unchanged:
            self.account.stayed(number, refusal or "it did not take the new sound")
        else:
            self.account.doubt(number, "it reads back neither as it was nor as it should be")

    def _look_for_lost(self) -> None:
        """A write that nobody refused and that is not where it was meant may have replaced another program."""
        account = self.account
        self._talk.state = f"{account.sentence()}; a write that was lost may have replaced another one."
        shown = {number: account.shown(number) for number in self._lost}
        found = look_for(self._talk, self._lost, self._known, shown)
        account.unread = found.unread
        for number in found.late:
            account.came_late(number)
        for number in found.many:
            account.may_be_anywhere(number)
        for number, why in found.replaced.items():
            account.doubt(number, why)

    def by_bank(self, programs: Mapping[int, Version]) -> None:
        """The whole memory read, some of its programs replaced, all of it written, and all of it read back."""
        talk, account = self._talk, self.account
        talk.state = account.sentence() + "."
        asks = bank_way(talk.line, "request")
        if asks is None:
            raise Refused(
                f"{talk.line.name} takes its memory only as a whole, and its chart knows no request for it, so what "
                "is there could not be kept.",
                "Add a request to the bank message of the chart.",
            )
        for bank, numbers_of in by_banks(talk.line, asks, account.wanted).items():
            self._one_bank(asks, bank, numbers_of, programs)

    def _one_bank(self, asks: Way, bank: int, wanted: list[int], programs: Mapping[int, Version]) -> None:
        talk, account, way = self._talk, self.account, self._way
        held = read_bank(talk, asks, bank)
        new: dict[int, Version] = {}
        for number in wanted:
            there, version = held.programs[number], programs[number]
            same = there.values.only(version.values) == version.values.only(there.values) and there.name == version.name
            if self._may_replace(number, there, version, is_there=same):
                new[number] = version
        if not new:
            return
        for number, there in held.programs.items():
            if number not in self.before:  # it travels with them, and a write that breaks off may damage it
                self.before[number] = there
                self._keep_before(number, there)
        for _ in range(_ROUNDS):
            # Every round writes all of them: what was read at first, which carries the others, has the old ones.
            for number in new:
                account.doubt(number, "it was being written")
            account.whole = True
            talk.state = account.sentence() + "."
            naks = talk.naks
            refusal = write_bank(talk, way, held, new)
            now = read_bank(talk, asks, bank).programs
            account.whole = False
            self._judge(now, held.programs, new, refusal or _late(talk, naks))
            if held.slots and not refusal and _untouched(now, held.programs):
                for number in new:  # the bank's number may have been damaged on the way
                    account.may_be_anywhere(number)
            if all(number in account.new for number in new) or (refusal and _untouched(now, held.programs)):
                break
            talk.line.slower()
        for number in now:
            if number not in new and not same_sound(now[number], held.programs[number]):
                account.doubt(number, "it was not to be written, and changed")

    def _judge(
        self, now: Mapping[int, Version], was: Mapping[int, Version], new: Mapping[int, Version], refusal: str
    ) -> None:
        """Account for each program that was written."""
        for number, version in new.items():
            if now[number].values == version.values.only(now[number].values):
                self.account.arrived(number)
            else:
                self._not_arrived(number, refusal, unchanged=same_sound(now[number], was[number]))

    def _may_replace(self, number: int, there: Version, version: Version, *, is_there: bool) -> bool:
        """Keep what is there, then ask; a place that already holds the sound is new without a write."""
        self.before[number] = there
        self._keep_before(number, there)
        if is_there:
            self.account.was_there(number)
            return False
        if not self._allow(Replace(number, self.account.shown(number), there, version)):
            self.account.stayed(number, "it was not to be replaced")
            return False
        return True


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


def _is_there(line: Line, there: Version, messages: tuple[bytes, ...]) -> bool:
    """True when the place already holds what these messages would write."""
    wanted = line.chart.codec.decode_all(messages, line.address)
    return there.values == wanted.values and there.name == wanted.name


def _late(talk: Talk, naks: int) -> str:
    """The refusal of a packet that was taken afterwards, or one that came while it was read back: it ended nothing."""
    return refused_it(talk) if talk.naks > naks else ""


def _untouched(now: Mapping[int, Version], was: Mapping[int, Version]) -> bool:
    return all(same_sound(now[number], was[number]) for number in was)


def _not_taken(held: Version, before: Version, wanted: Values, messages: int) -> Values:
    """What of a write changed nothing where it was meant to go; of a single message that is all of it or nothing."""
    if same_sound(held, before):
        return wanted
    if messages == 1:
        return Values({})
    return Values(
        {name: value for name, value in wanted.items() if held.values.get(name) == before.values.get(name) != value}
    )


def _base(line: Line, message: str, version: Version, there: Version) -> tuple[bytes, ...] | None:
    """Where the bytes come from that no field explains: the sound's own dumps first, then what is in that place."""
    kinds = {"program", "edit buffer"}
    others = [name for name, info in line.chart.codec.messages.items() if info.kind in kinds and name != message]
    for name in [message, *others]:
        if (own := dump_in(line, version, name)) is not None:
            return own
    return dump_in(line, there, message)
