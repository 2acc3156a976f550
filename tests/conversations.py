"""One conversation with one instrument in one kind of trouble, on virtual wire, judged by the instrument itself."""

from __future__ import annotations

import signal
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from types import FrameType
from typing import Literal

from librarian.chart import Chart, load, shipped
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Values, Version
from librarian.transfer import (
    Backup,
    Cancel,
    Captured,
    Identified,
    Recalled,
    Restored,
    Verified,
    backup,
    capture,
    capture_by_hand,
    identify,
    limits,
    recall,
    restore,
    verify,
)
from librarian.transfer.read import askable, showing
from tests.causes import fits
from tests.simulated import World, world
from tests.troubles import TROUBLES, Trouble

__all__ = ["TROUBLES", "Judgement", "charts", "converse"]

End = Literal["proved", "told", "silent_wrong", "hung", "kept_wrong"]

_REAL_SECONDS = 20
_CANCEL_S = 0.3


@dataclass(frozen=True, slots=True)
class Judgement:
    """How one conversation ended, and what made the judge say so."""

    number: int
    instrument: str
    trouble: str
    conversation: str
    end: End
    words: str
    kind: str = ""


class _Hung(BaseException):
    """The conversation does not come back: stopped by an alarm of the machine's own clock."""


def charts() -> list[Chart]:
    """Lanternfish and Fogbell, Saltmarsh (packets with a handshake) and Kelpline (everything at an address)."""
    invented = sorted(Path(__file__).with_name("data").joinpath("instruments").glob("*.toml"))
    return [load(Path(str(place))) for place in [*shipped().values(), *invented]]


def converse(instruments: list[Chart], names: list[str], seed: int, number: int) -> Judgement:
    """Conversation `number` of a run with `seed`."""
    dice = Random(f"{seed}/{number}")
    chart = dice.choice(instruments)
    name = names[number % len(names)]
    trouble = TROUBLES[name](dice, chart)
    # A throw of its own, so that all else about a numbered conversation stays what it was.
    pieces = Random(f"{seed}/{number}, pieces").random() < 0.5
    trouble = replace(trouble, behaviour=replace(trouble.behaviour, takes_pieces=pieces))
    run = _Run(chart, trouble, name, dice)
    conversation, play = dice.choice(run.conversations())
    before = signal.signal(signal.SIGALRM, _alarm)
    signal.alarm(_REAL_SECONDS)
    try:
        end, words = play()
    except _Hung:
        end, words = "hung", traceback.format_exc()
    except Exception:  # noqa: BLE001 - anything that is not ours is what this bench looks for
        end, words = "silent_wrong", traceback.format_exc()
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
    return Judgement(number, chart.id, name, conversation, end, words, _kind(conversation, end, words))


def _kind(conversation: str, end: End, words: str) -> str:
    """What was told, in a word: the error, or what the result says."""
    if end != "told":
        return end
    first, colon, _ = words.partition(": ")
    if colon and first.isalpha():
        return first
    if conversation == "by hand":
        return "by hand"
    marks = (("cannot be verified", "sent"), ("programs read", "incomplete"), ("programs ", "programs"),
             ("read back equal", "differs"), ("received", "incomplete"))  # fmt: skip
    for mark, kind in marks:
        if mark in words:
            return kind
    return "cancelled"


def _alarm(number: int, frame: FrameType | None) -> None:
    raise _Hung


class _Run:
    """One instrument in trouble, and the judge."""

    def __init__(self, chart: Chart, trouble: Trouble, name: str, dice: Random) -> None:
        self.chart = chart
        self.trouble = trouble
        self.name = name
        self.dice = dice
        self.kept: list[Version] = []
        self.nothing_known = False
        elsewhere = name == "another device"
        address = chart.default_address
        there = replace(address, device=(address.device + 1) % 16) if elsewhere else address
        self.world: World = world(
            chart, seed=dice.randrange(1 << 30), behaviour=trouble.behaviour, faults=trouble.faults, address=there,
            name=dice.choice(["", "Harbour", "Gulls"]), introduced=False,
        )  # fmt: skip
        self.world.line.address = address
        self.start = self.world.clock.now()
        memory = self.world.instrument.memory
        self.stored = [dict(memory[number].values) for number in range(memory.size)]
        trouble.prepare(self.world, dice)

    def conversations(self) -> list[tuple[str, Callable[[], tuple[End, str]]]]:
        """What can be tried, each as often as it is to be drawn."""
        many = [("capture", self._capture)] * 3 + [("recall", self._recall)] * 4
        if self.stored:
            many += [("backup", self._backup), ("restore", self._restore)]
        return [*many, ("identify", self._identify), ("verify", self._verify), ("cancel", self._cancel),
                ("by hand", self._by_hand), ("identify, recall", self._identify_and_recall)]  # fmt: skip

    # -- the conversations --------------------------------------------------------------------------------------------

    def _identify(self) -> tuple[End, str]:
        return self._judged(lambda: identify(self.world.line), limits.identify_s(self.world.line, 1.0))

    def _capture(self) -> tuple[End, str]:
        return self._judged(lambda: self._keeping(capture(self.world.line)), limits.capture_s(self.world.line))

    def _verify(self) -> tuple[End, str]:
        held = Version(self.chart.id, self.chart.revision, Values(self.world.sound))
        version = held if self.dice.random() < 0.5 else self._some_version()
        return self._judged(lambda: verify(self.world.line, version), limits.capture_s(self.world.line), version)

    def _recall(self) -> tuple[End, str]:
        version = self._some_version()
        whole = self.dice.random() < 0.3
        with_setup = self.dice.random() < 0.2
        return self._judged(
            lambda: recall(self.world.line, version, whole=whole, with_setup=with_setup, keep_before=self.kept.append),
            limits.recall_s(self.world.line, 3),
            version,
        )

    def _identify_and_recall(self) -> tuple[End, str]:
        version = self._some_version()

        def both() -> object:
            identify(self.world.line)
            return recall(self.world.line, version, keep_before=self.kept.append)

        longest = limits.identify_s(self.world.line, 1.0) + limits.recall_s(self.world.line, 3)
        return self._judged(both, longest, version)

    def _some_programs(self) -> list[int]:
        return sorted(self.dice.sample(range(len(self.stored)), k=self.dice.randint(1, min(3, len(self.stored)))))

    def _backup(self) -> tuple[End, str]:
        line, programs = self.world.line, self._some_programs()
        return self._judged(lambda: backup(line, programs=programs), limits.backup_s(line, len(programs)))

    def _restore(self) -> tuple[End, str]:
        line, programs = self.world.line, self._some_programs()
        new = {}
        for number in programs:
            values = {name: self.dice.randint(one.low, one.high) for name, one in self.chart.parameters.items()}
            new[number] = Version(self.chart.id, self.chart.revision, Values(values))
        before: dict[int, Version] = {}

        def both() -> object:
            done = restore(line, new, allow=lambda place: True, keep_before=before.__setitem__)
            return done, new

        return self._judged(both, limits.restore_s(line, len(programs)))

    def _cancel(self) -> tuple[End, str]:
        cancel = Cancel()
        moment = self.start + self.dice.uniform(0.0, 1.0)
        self.world.bad.at(moment, lambda now: cancel.set())
        version = self._some_version()
        try:
            result = recall(self.world.line, version, keep_before=self.kept.append, cancel=cancel)
        except Cancelled as ended:
            late = self.world.clock.now() - moment
            if late > _CANCEL_S:
                return "hung", f"cancelled {late:.3f} s late"
            return self._kept_well() or ("told", ended.state) if ended.state else ("silent_wrong", "no state said")
        except LibrarianError as problem:
            return self._told(problem)
        return self._result(result, version)

    def _by_hand(self) -> tuple[End, str]:
        enough = threading.Event()
        names = self.dice.sample(sorted(self.chart.parameters), k=min(8, len(self.chart.parameters)))
        for index, name in enumerate(names):
            one = self.chart.parameters[name]
            value = self.dice.randint(one.low, one.high)
            self.world.bad.at(
                self.start + 0.2 + index * 0.3,
                lambda now, name=name, value=value: self.world.instrument.turn(name, value, now),
            )
        self.world.bad.at(self.start + 4.0, lambda now: enough.set())
        try:
            got = capture_by_hand(self.world.line, enough=enough)
        except LibrarianError as problem:
            return self._told(problem)
        if got.version.complete and got.missing:
            return "silent_wrong", "complete with something missing"
        # Nothing checks what one control says once; only that nothing more than what was heard is claimed.
        return "told", got.sentence

    # -- the judge ----------------------------------------------------------------------------------------------------

    def _judged(self, run: Callable[[], object], longest: float, version: Version | None = None) -> tuple[End, str]:
        try:
            result = run()
        except LibrarianError as problem:
            return self._in_time(longest) or self._told(problem)
        return self._in_time(longest) or self._result(result, version)

    def _in_time(self, longest: float) -> tuple[End, str] | None:
        took = self.world.clock.now() - self.start
        return ("hung", f"took {took:.1f} s of at most {longest:.1f}") if took > longest + 0.1 else None

    def _told(self, problem: LibrarianError) -> tuple[End, str]:
        wrong = self._kept_well()
        if wrong is not None:
            return wrong
        kind = type(problem).__name__
        words = f"{kind}: {problem} {problem.hint}"
        own = fits("", words, self._own_limits())
        if not (kind in self.trouble.told or own) or not str(problem).strip() or not problem.hint:
            return "silent_wrong", f"a wrong cause was told. {words}"
        return self._fitting(words)

    def _fitting(self, words: str) -> tuple[End, str]:
        """Told: but only if the words fit the trouble, or what this chart cannot do at all."""
        if not fits(self.name, words, self._own_limits()):
            return "silent_wrong", f"what was told does not fit “{self.name}”: {words}"
        return "told", words

    def _own_limits(self) -> tuple[str, ...]:
        """What may be told of this instrument in no trouble at all: what its chart has no message for."""
        own = ["Nothing of this sound is known"] if self.chart.sound_ids and self.nothing_known else []
        ways = askable(self.world.line)
        carried = {name for way in ways for name in way.carries}
        if not ways:
            own.append("cannot be asked for (its|the) sound|sent, cannot be verified")
        elif not set(self.chart.parameters) <= carried:
            own.append("cannot be verified|did not arrive and (is|are) unknown")
        if not showing(self.world.line):
            own.append("knows nothing else to ask for")
        messages = self.chart.codec.messages.values()
        steps = [self.chart.codec.handshake(name) for name in self.chart.codec.messages]
        if self.name == "late" and any(step and step.required and step.answer_s < 0.35 for step in steps):
            # It wants an ACK sooner than this cable brings one, and ends the transfer without it.
            own.append("stopped before its end|did not acknowledge it|did not arrive")
        if self.name == "another device" and any(step and step.names_device for step in steps):
            own.append("acknowledged to device ID .*, which may not be the one it has")
        if not any(info.kind == "edit buffer" and info.carries for info in messages):
            own.append("takes sounds only into its memory")
        if not any(info.kind in {"program", "bank"} and "request" in info.forms for info in messages):
            own.append("has no message that asks for a single program|has no message that writes a single program")
        if not self.chart.codec.carried("instrument"):
            own.append("cannot be captured by hand")
        out = [set(way.carries) for way in self.chart.ways_out]
        if not any(set(self.chart.parameters) <= each for each in out):
            own.append("no way of recall in its chart carries|carries (anything|nothing) of this sound")
        if not ways or not set(self.chart.parameters) <= carried:
            own.append("A dump replaces everything, and these are not known")
        stored = [info for info in messages if info.kind in {"program", "bank"}]
        if any(not set(self.chart.parameters) <= set(info.carries) for info in stored):
            own.append("A program in memory needs every value|these are not known")
        return tuple(own)

    def _result(self, result: object, version: Version | None) -> tuple[End, str]:
        wrong = self._kept_well()
        if wrong is not None:
            return wrong
        if isinstance(result, Identified):
            if result.fits != "fits":
                return self._fitting(result.sentence)
            return "proved", result.sentence
        if isinstance(result, Captured):
            return ("proved", result.sentence) if result.version.complete else self._fitting(result.sentence)
        if isinstance(result, Backup):
            return self._backed_up(result)
        if isinstance(result, tuple):
            return self._restored(*result)
        assert isinstance(result, Recalled | Verified)
        if result.proof is not None and not self._was_so(result.proof.read):
            return "silent_wrong", f"“{result.sentence}”, but what was read back never was in the instrument"
        if result.state != "arrived":
            return self._verified_otherwise(result, version) or self._fitting(result.sentence)
        assert version is not None
        assert result.proof is not None
        return self._arrived(result.proof.wanted, result.sentence)

    def _verified_otherwise(self, result: Recalled | Verified, version: Version | None) -> tuple[End, str] | None:
        """A verify of another sound rightly finds it different: the true cause is that it is another sound."""
        if not isinstance(result, Verified) or version is None or result.proof is None:
            return None
        wrong = [name for name in result.proof.differs if self._had(name, result.proof.wanted[name])]
        if wrong and not self.trouble.moves:
            return "silent_wrong", f"“{result.sentence}”, but {wrong} were as wanted all the time"
        return "told", result.sentence

    def _had(self, name: str, value: int) -> bool:
        return all(values[name] == value for _, values in self.world.instrument.states)

    def _backed_up(self, done: Backup) -> tuple[End, str]:
        for number, version in done.programs.items():
            if any(self.stored[number][name] != value for name, value in version.values.items()):
                return "kept_wrong", f"program {number} never was {dict(version.values)}"
        words = f"{done.sentence}: {'; '.join(done.failed.values())}"
        return ("proved", words) if not done.failed else self._fitting(words)

    def _restored(self, done: Restored, new: dict[int, Version]) -> tuple[End, str]:
        memory = self.world.instrument.memory
        held = {number: dict(memory[number].values) for number in new}
        for number, version in done.before.items():
            if any(self.stored[number][name] != value for name, value in version.values.items()):
                return "kept_wrong", f"program {number} never was {dict(version.values)}"
        for number in done.new:
            carried = done.before[number].values
            if any(held[number][name] != new[number].values[name] for name in carried):
                return "silent_wrong", f"“{done.sentence}”: program {number} is not new"
        for number in done.old:
            if held[number] != self.stored[number]:
                return "silent_wrong", f"“{done.sentence}”: program {number} is not old"
        others = [
            number for number, program in enumerate(memory)
            if number not in new and dict(program.values) != self.stored[number] and number not in done.unknown
        ]  # fmt: skip
        if others and "may have gone" not in done.sentence:
            return "silent_wrong", f"“{done.sentence}”: programs {others} were replaced, and nothing tells so"
        words = f"{done.sentence}: {'; '.join([*done.old.values(), *done.unknown.values()])}"
        if sorted([*done.new, *done.old, *(number for number in done.unknown if number in new)]) != sorted(new):
            return "silent_wrong", f"“{words}” does not tell of each of {sorted(new)}"
        return ("proved", words) if len(done.new) == len(new) else self._fitting(words)

    def _arrived(self, wanted: Values, sentence: str) -> tuple[End, str]:
        """True in the instrument's own state at some moment of the conversation, with nothing else changed by us."""
        states = [values for _, values in self.world.instrument.states]
        first = states[0]
        for values in states:
            if all(values[name] == value for name, value in wanted.items()):
                others = [name for name in values if name not in wanted and values[name] != first[name]]
                if self.trouble.moves or not others:
                    return "proved", sentence
        return "silent_wrong", f"“{sentence}” is not true in the instrument"

    def _was_so(self, read: Values) -> bool:
        states = [values for _, values in self.world.instrument.states]
        return any(all(values[name] == value for name, value in read.items()) for values in states)

    def _keeping(self, captured: Captured) -> Captured:
        self.kept.append(captured.version)
        return captured

    def _kept_well(self) -> tuple[End, str] | None:
        states = [values for _, values in self.world.instrument.states]
        for version in self.kept:
            known = version.values
            if not any(all(values[name] == value for name, value in known.items()) for values in states):
                return "kept_wrong", f"the instrument never had {dict(known)}"
        return None

    def _some_version(self) -> Version:
        values = {name: self.dice.randint(one.low, one.high) for name, one in self.chart.parameters.items()}
        unknown = frozenset(self.dice.sample(sorted(values), k=min(len(values), self.dice.choice([0, 0, 0, 1, 4]))))
        if self.dice.random() < 0.3:  # like what is there, but for a few
            few = self.dice.sample(sorted(values), k=min(3, len(values)))
            values = {name: values[name] if name in few else self.world.sound[name] for name in values}
        known = Values(values).without(unknown)
        self.nothing_known = not set(self.chart.sound_ids) & set(known)
        return Version(self.chart.id, self.chart.revision, known, unknown)
