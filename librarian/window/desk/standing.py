"""What is true of one instrument, as facts, and the one sentence that the chain says of it now.

A claim ages: whatever was proved or heard goes the moment the line is lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal

from librarian.chart import Chart, Heard
from librarian.collection import InstrumentRow
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Values
from librarian.transfer import (
    Busy,
    Captured,
    EchoLoop,
    ForeignOnly,
    Identified,
    NoReply,
    NotUnderstood,
    Progress,
    Recalled,
    Verified,
)
from librarian.transfer.connections import NoSuchPort
from librarian.transfer.results import RecallState
from librarian.transfer.unasked import starts_its_dump
from librarian.window.chain import memory, transfers, troubles
from librarian.window.chain.facts import CHOOSE_PORTS, LOOK_AGAIN, Setting
from librarian.window.chain.state import ChainState, PlateMark
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import clock_time
from librarian.wire.cable import CableLost, NoMidiSystem, PortHeld

_TITLES = {
    "recall": "Recall of {}", "verify": "Comparing with {}", "backup": "Reading the memory",
    "restore": "Writing {} into the memory", "bring-up": "Bring-up",
}
_INNER_STEPS = {"answers", "messages", "parameters", "controls", "programs"}
Worst = Literal["", "alarm", "different", "unknown", "broken"]
Say = Callable[[Setting], ChainState]
_WORST: Mapping[RecallState, Worst] = {"arrived": "", "differs": "different", "sent": "unknown"}
_MARKS: Mapping[RecallState, PlateMark] = {"arrived": "equal", "differs": "different", "sent": "question"}


@dataclass(frozen=True)
class InIt:
    """The stored sound that is in the instrument: patch and version ids, its name, since when, its values."""

    patch: int
    version: int
    name: str
    since: datetime
    values: Values


@dataclass
class Standing:
    """One instrument of the library with its chart and what is known of it."""

    row: InstrumentRow
    chart: Chart
    setting: Setting
    say: Say
    worst: Worst = ""
    ready: bool = False
    open: bool = False
    identified: Identified | None = None
    last_answer: datetime | None = None
    silent_since: datetime | None = None
    outage: datetime | None = None
    now: dict[str, int] = field(default_factory=dict)
    in_it: InIt | None = None
    asked: int = 0
    halted: bool = False
    held_elsewhere: bool = False
    transfer: str = ""
    subject: str = ""

    @property
    def chain(self) -> ChainState:
        """The chain as it is to be drawn now."""
        return self.say(self.setting)

    @property
    def to_be_asked_again(self) -> bool:
        """True while it is silent, or was held by another program: what the chain says of that is to be true."""
        # An echo loop is not asked again: nothing more is sent until the person has rewired.
        silent = not self.ready and bool(self.asked) and self.worst != "different" and not self.halted
        return self.open and (silent or self.held_elsewhere)

    @property
    def changed(self) -> frozenset[str]:
        """Controls whose position is off the sound that is in the instrument, by more than a step."""
        if self.in_it is None:
            return frozenset()
        values = self.in_it.values
        return frozenset(
            name for name, value in self.now.items() if name in values and abs(value - values[name]) > self._slack(name)
        )

    def agreeing(self, values: Values) -> frozenset[str]:
        """Sound parameters whose control was heard where these values have it, within one step."""
        return frozenset(
            name
            for name in self.chart.sound_ids
            if name in self.now and name in values and abs(self.now[name] - values[name]) <= self._slack(name)
        )

    def _slack(self, name: str) -> int:
        parameter = self.chart.parameters[name]
        if parameter.kind in {"stepped", "switch"}:
            return 0
        # One step of a seven-bit control; finer parameters are heard no finer by many panels.
        return max(1, (parameter.high - parameter.low) // 127)

    # -- the line --------------------------------------------------------------------------------------------------

    def line_opened(self, output: str, input_: str, system: str) -> None:
        """The ports are open; nobody has answered yet."""
        self.open, self.ready, self.halted, self.asked = True, False, False, 0
        self.outage = None
        self.setting = replace(self.setting, output=output, input=input_, system=system, open_ports=2)
        self.worst, self.say = "", transfers.asking

    def line_lost(self, problem: LibrarianError, when: datetime, *, system_gone: bool) -> None:
        """The line is gone or could not be opened; proof and positions go with it."""
        if self.open:
            self.outage = when
        self.open = self.ready = False
        self.transfer = ""
        self._forget_positions(when)
        self.setting = replace(self.setting, out_rate=0.0, in_rate=0.0, open_ports=0)
        self.worst = "broken"
        # Trying to open it again fails in its own words every second; what is true is when it went, and what is gone.
        at = clock_time(self.outage) if self.outage is not None else ""
        if isinstance(problem, PortHeld):
            self.say = troubles.port_held
        elif system_gone or isinstance(problem, NoMidiSystem):
            self.say = lambda setting: (
                troubles.lost_system(setting, stopped=at) if at else troubles.no_system(setting)
            )
        elif at and isinstance(problem, (CableLost, NoSuchPort)):
            self.say = lambda setting: troubles.port_gone(setting, at=at)
        else:
            self.say = self._not_reached(problem)

    def no_ports_chosen(self, found: int, system: str, any_system: bool) -> None:
        """No cable is named for this instrument."""
        self.open = self.ready = False
        self.worst = "unknown"
        self.setting = replace(self.setting, system=system, open_ports=0, output="", input="")
        if not any_system:
            self.say = troubles.no_system
        elif found == 0:
            self.say = troubles.nothing_connected
        else:
            self.say = lambda setting: troubles.none_chosen(setting, found)

    def _forget_positions(self, when: datetime) -> None:
        if self.now or self.in_it is not None:
            self.silent_since = when
        self.now.clear()
        self.in_it = None

    # -- who is there ----------------------------------------------------------------------------------------------

    def asking(self) -> None:
        """The question who is there is on its way."""
        self.asked += 1
        self.transfer = "identify"
        self.say = transfers.asking

    def answered(self, who: Identified, when: datetime) -> None:
        """Somebody answered; the chain says whether it is the right one."""
        self.transfer, self.identified, self.last_answer = "", who, when
        self.halted = self.held_elsewhere = False
        self.asked, self.silent_since = 0, None
        address = who.address
        self.setting = replace(
            self.setting,
            firmware=who.firmware or self.setting.firmware,
            channel=address.channel + 1,
            device=address.device if address.device != 127 else None,
        )
        self.ready = who.fits == "fits"
        if who.fits == "other firmware":
            self.worst = "different"
            described = f"revision {self.chart.revision} of its chart's firmware"
            self.say = lambda setting: troubles.wrong_firmware(setting, described=described)
        elif who.fits == "other instrument":
            self.worst = "different"
            self.say = lambda setting: troubles.could_not(
                setting, first=who.sentence, rest=f"Choose other ports for {self.row.name}.",
                buttons=(CHOOSE_PORTS, LOOK_AGAIN),
            )
        else:
            self.worst = ""
            revision = self.chart.revision
            self.say = lambda setting: transfers.identified(
                setting, answered_ago_s=(datetime.now().astimezone() - when).total_seconds(), revision=revision
            )

    def cannot_be_asked(self) -> None:
        """Its chart gives it no way to answer; the open ports are all there is to know."""
        self.transfer, self.ready, self.worst = "", True, ""
        revision = self.chart.revision
        self.say = lambda setting: transfers.heard_only(setting, revision=revision)

    def heard(self, moves: Iterable[Heard]) -> None:
        """Controls moved on the panel."""
        for move in moves:
            self.now[move.parameter] = move.value

    # -- transfers -------------------------------------------------------------------------------------------------

    def began(self, what: str, subject: str = "") -> None:
        """A transfer begins; `subject` is the name of the sound it is about."""
        self.transfer, self.subject, self.held_elsewhere = what, subject, False
        if what in {"backup", "restore", "bring-up"}:
            size = self.chart.memory.size if self.chart.memory is not None else 1
            self.went_on(Progress(0, size, "programs") if what != "bring-up" else Progress(0, 0, ""))
            return
        of = len(self.chart.sound_ids if what in {"recall", "verify"} else self.chart.parameters)
        self.went_on(Progress(0, of, "parameters"))

    def went_on(self, step: Progress) -> None:
        """The transfer under way is so far."""
        if not self._is_shown(step):
            return
        name, left = self.subject, step.seconds_left
        if self.transfer == "recall" and step.what != "read back":
            self.say = lambda setting: transfers.recalling(
                setting, name=name, sent=step.done, of=step.total, left_s=left, kept_as=""
            )
        elif self.transfer in {"recall", "verify"}:
            self.say = lambda setting: transfers.verifying(
                setting, name=name, read=step.done, of=step.total, left_s=left
            )
        elif self.transfer == "capture by hand":
            by_dump = starts_its_dump(self.chart)
            self.say = lambda setting: transfers.capturing_by_hand(
                setting, moved=step.done, of=step.total, by_dump=by_dump
            )
        elif self.transfer in {"backup", "restore", "bring-up"}:
            what = self.transfer
            self.say = lambda setting: memory.under_way(
                setting, what=what, subject=name, done=step.done, of=step.total, step=step.what, left_s=left
            )
        elif self.transfer == "capture":
            self.say = lambda setting: transfers.capturing(setting, received=step.done, of=step.total, left_s=left)

    def _is_shown(self, step: Progress) -> bool:
        """Of conversations made of smaller ones only their own steps count: programs read, checks made."""
        if self.transfer == "bring-up":
            return step.what not in _INNER_STEPS
        if self.transfer in {"backup", "restore"}:
            single = any(info.kind == "program" for info in self.chart.codec.messages.values())
            return step.what == "programs" or (not single and step.what == "messages")
        return True

    def captured(self, result: Captured, when: datetime) -> None:
        """A sound was captured."""
        self.transfer, self.last_answer = "", when
        self.now.clear()
        if result.missing:
            self.worst = "unknown"
            labels = self.labels(result.missing)
            self.say = lambda setting: transfers.captured_incomplete(
                setting, missing=labels, known=result.known, of=result.of
            )
        else:
            self.worst = ""
            self.say = lambda setting: transfers.captured(
                setting, known=result.known, of=result.of, at=clock_time(when)
            )

    def not_kept(self, first: str, rest: str, buttons: tuple[ButtonSpec, ...]) -> Say:
        """A sound was captured, and the library did not take it; returns what the chain says from now on."""
        self.worst = "alarm"
        self.say = lambda setting: troubles.could_not(setting, first=first, rest=rest, buttons=buttons)
        return self.say

    def recalled(self, result: Recalled | Verified, name: str, when: datetime) -> None:
        """A recall, or a comparison with the instrument, has ended."""
        self.transfer, self.last_answer = "", when
        self.worst = _WORST[result.state]
        proof = result.proof
        if isinstance(result, Verified) or not _is_told_by_its_count(result):
            tell = transfers.compared if isinstance(result, Verified) else transfers.ended_otherwise
            self.say = lambda setting: tell(
                setting, name=name, equal=result.equal, of=result.of, mark=_MARKS[result.state],
                sentence=result.sentence,
            )
        elif result.state == "arrived":
            setup = 0 if result.of > len(self.chart.sound_ids) else len(self.chart.setup_ids)
            self.say = lambda setting: transfers.proved(
                setting, name=name, equal=result.equal, of=result.of, at=clock_time(when), setup_left=setup,
                saved=result.saved,
            )
        elif proof is not None:
            labels = self.labels(proof.differs)
            self.say = lambda setting: transfers.differs(
                setting, labels=labels, equal=result.equal, of=result.of
            )
        else:
            self.say = lambda setting: transfers.sent_unprovable(setting, sent=result.sent, of=result.of)

    def ended(self, when: datetime) -> None:
        """Another conversation has ended; whoever began it says how, by `told`."""
        self.transfer, self.last_answer = "", when
        self.now.clear()

    def told(self, *, mark: PlateMark, plate: str, first: str, rest: str, report: bool = False) -> None:
        """How it ended: what the chain says from now on."""
        self.worst = "different" if mark == "different" else "unknown" if mark == "question" else ""
        self.say = lambda setting: memory.ended(
            setting, mark=mark, plate=plate, first=first, rest=rest, report=report
        )

    def failed(self, problem: Exception, when: datetime) -> None:
        """A conversation ended without its result."""
        what = self.transfer
        self.transfer = ""
        at = clock_time(self.last_answer) if self.last_answer else ""
        if isinstance(problem, Cancelled):
            title = self.title(what)
            state = problem.state
            self.say = lambda setting: transfers.cancelled(setting, what=title, state=state)
            return
        self.worst = "broken" if isinstance(problem, (NoReply, EchoLoop, ForeignOnly)) else "alarm"
        self.held_elsewhere = isinstance(problem, Busy)
        if isinstance(problem, NoReply):
            self.ready = False
            asked = max(1, self.asked)
            self._forget_positions(when)
            self.say = lambda setting: troubles.no_answer(setting, asked=asked, last_answer=at)
        elif isinstance(problem, EchoLoop):
            self.ready, self.halted = False, True
            asked = max(1, self.asked)
            self.say = lambda setting: troubles.echo(setting, requests=asked)
        elif isinstance(problem, ForeignOnly):
            self.ready = False
            asked, detail = max(1, self.asked), _tail(str(problem))
            self.say = lambda setting: troubles.foreign(setting, asked=asked, heard=detail)
        elif isinstance(problem, NotUnderstood) and problem.reasons:
            reason = problem.reasons[-1]
            reason = reason if reason.endswith(".") else f"{reason}."
            self.say = lambda setting: troubles.dump_refused(setting, reason=reason)
        else:
            self.say = self._could_not(problem)

    @staticmethod
    def _not_reached(problem: Exception) -> Say:
        first, rest = str(problem), getattr(problem, "hint", "")
        return lambda setting: troubles.not_reached(setting, first=first, rest=rest)

    def _could_not(self, problem: Exception) -> Say:
        first, rest = str(problem), getattr(problem, "hint", "")
        return lambda setting: troubles.could_not(setting, first=first, rest=rest)

    def title(self, what: str) -> str:
        """What a conversation is called in a sentence: "Recall of “Harbour”"."""
        return _TITLES.get(what, "Capture").format(f"“{self.subject}”")

    def labels(self, parameters: Iterable[str]) -> tuple[str, ...]:
        """Their labels, in the order given."""
        known: Mapping[str, object] = self.chart.parameters
        return tuple(self.chart.parameters[name].label for name in parameters if name in known)


def _is_told_by_its_count(result: Recalled) -> bool:
    """True where a count, and the labels of what did not arrive, tell all of a recall; else its sentence does."""
    proof = result.proof
    if proof is None:
        return result.state == "sent" and ";" not in result.sentence
    if result.state == "arrived":
        return not proof.near
    lost = len(proof.differs) == len(proof.wanted) - len(proof.equal)
    return result.state == "differs" and lost and result.sentence.endswith("did not arrive")


def _tail(sentence: str) -> str:
    """What comes after the colon of "Messages arrive …, but none from X: notes on channel 10."."""
    return sentence.rpartition(": ")[2].rstrip(".") or sentence


def road(row: InstrumentRow) -> tuple[str, int, str, str]:
    """What, when it changes, means another line."""
    return row.chart, row.revision, row.output, row.input
