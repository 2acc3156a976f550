"""Reading an instrument so that what was read can be believed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from librarian.chart import Way
from librarian.messages import Values
from librarian.transfer.controllers import read_controllers
from librarian.transfer.dumps import read_dump
from librarian.transfer.line import Knowledge, Line
from librarian.transfer.parameters import parameters_way, read_parameters
from librarian.transfer.reading import Reading, Unreadable
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, NoReply, NotUnderstood

if TYPE_CHECKING:
    from librarian.transfer.line import Knowledge, Line

MOST_QUESTIONS = 8
MOST_TOGETHER = 3
"""How often what several ways brought may turn out to have changed meanwhile."""
_SOUNDING = frozenset({"edit buffer", "setup"})
"""What is true of the instrument now; programs and banks are what it stores. A setup only where the chart lists it."""
_MOST_SILENT = 2
_QUIET, _NOISY = 2, 3
_LEAD = 2
_SHORT_S = 0.1


def read(talk: Talk, way: Way, **slots: int) -> Reading:
    """Ask once by `way` and hear the answer out. Raises what `read_dump` and `read_controllers` raise."""
    if way.kind == "dump":
        return read_dump(talk, way, **slots)
    return read_parameters(talk, way) if way.kind == "parameters" else read_controllers(talk, way)


def askable(line: Line) -> list[Way]:
    """The ways of the chart by which the program itself can ask for the edit buffer, preferred first.

    Questions for single parameters come last, where they bring something that the others do not.
    """
    codec = line.chart.codec
    found = []
    for way in line.chart.ways_in:
        if way.kind == "controllers" and way.requested and codec.controller_request(line.address):
            found.append(way)
        if way.kind == "parameters" and codec.dumps.askable_ids:
            found.append(way)
        if way.kind == "dump" and way.requested and codec.messages[way.message].kind in _SOUNDING:
            found.append(way)
    one_by_one = parameters_way(line)
    if one_by_one is not None and not one_by_one.carries <= {name for way in found for name in way.carries}:
        found.append(one_by_one)
    return found


def showing(line: Line) -> list[Way]:
    """The ways by which an instrument shows that it is there, those for its edit buffer first, then its memory."""
    found = askable(line)
    for kind in ("program", "bank"):
        for name, info in line.chart.codec.messages.items():
            if not found and info.kind == kind and "request" in info.forms:
                found.append(Way("dump", name, info.carries))
    return found


def can_be_read(line: Line) -> bool:
    """True when the program itself can ask for the edit buffer. Sends nothing."""
    return bool(askable(line))


@dataclass(slots=True)
class Sure:
    """A reading that was confirmed by another one. `questions`: how often it was asked; `refused`: bad answers."""

    reading: Reading
    questions: int = 1
    refused: list[str] = field(default_factory=list)


def read_surely(talk: Talk, way: Way, *, expected: Knowledge | None = None, **slots: int) -> Sure:
    """Ask until answers agree: checksums of the trade do not notice bytes that changed places, CC have none.

    A dump must come twice byte for byte the same, three times where it is short or once anything was damaged. Of
    controllers each value must; those of the last answer that others do not confirm are left out, so that what is
    returned was true at one moment. At most eight questions. `expected`: what was read surely before; a first answer
    that is the same to the byte (or to the value, of controllers) is confirmed by that.
    Raises NotUnderstood (with every reason), NoReply, EchoLoop, ForeignOnly, InstrumentRefused, CableLost, Cancelled.
    """
    readings: list[Reading] = []
    refused: list[str] = []
    silent = 0
    for question in range(1, MOST_QUESTIONS + 1):
        before, began = len(talk.damaged), talk.seconds
        try:
            latest = read(talk, way, **slots)
        except Unreadable as problem:
            refused.append(problem.reason)
            continue
        except (NoReply, ForeignOnly, EchoLoop) as problem:
            silent += 1
            refused.append(str(problem))
            if silent == _MOST_SILENT and not readings:
                raise
            continue
        if len(talk.damaged) > before:
            refused.append(talk.damaged[-1].reason)
        if expected is not None and not refused and not readings and _as_expected(way, latest, expected):
            return Sure(latest, question, refused)
        confirmed = _confirmed(way, latest, readings, _needed(readings, latest, refused, talk.seconds - began))
        readings.append(latest)
        if confirmed is not None and (way.kind == "dump" or set(confirmed.values) == _ever_heard(readings)):
            return Sure(confirmed, question, refused)
    if way.kind != "dump" and len(readings) > _QUIET:
        best = _confirmed(way, readings[-1], readings[:-1], _NOISY)
        if best is not None and best.values:
            return Sure(best, MOST_QUESTIONS, refused)
    raise NotUnderstood(
        f"{talk.line.name} was asked {MOST_QUESTIONS} times, and not enough answers agree. {_why(readings, refused)}",
        "Leave the knobs still and look at the cable, then ask again, slower.",
        tuple(refused),
    )


def _why(readings: list[Reading], refused: list[str]) -> str:
    """What was wrong with the answers: the two most frequent reasons, and whether whole answers differ."""
    said = [reason for reason, _ in Counter(refused).most_common(2)]
    if not said or any(not one.agrees(readings[0]) for one in readings):
        said.append("Its controls may be moving.")
    return " ".join(said)


def _as_expected(way: Way, latest: Reading, expected: Knowledge) -> bool:
    if way.kind == "dump":
        return latest.raw.get(way.message) == expected.raw.get(way.message)
    return set(latest.values) == way.carries and expected.values.only(way.carries) == latest.values


def _needed(readings: list[Reading], latest: Reading, refused: list[str], seconds: float) -> int:
    """How many equal answers are believed: two on a quiet cable, three as soon as anything was damaged or differed.

    The same damage twice is rare but not unheard of: a doubled controller number always makes the same wrong value. In
    a short answer (`seconds` from the question on) two bytes may change places twice and nothing else happen, and there
    a third costs next to nothing.
    """
    noisy = refused or latest.coarse or any(not latest.agrees(one) for one in readings)
    return _NOISY if noisy or seconds <= _SHORT_S else _QUIET


def _confirmed(way: Way, latest: Reading, earlier: list[Reading], needed: int) -> Reading | None:
    """What of the latest answer enough others confirm; None where that is nothing."""
    if way.kind == "dump":
        alike = sum(latest.agrees(one) for one in earlier)
        return latest if _believed(alike, _most_alike(latest, earlier), needed) else None
    same = {}
    for name, value in latest.values.items():
        heard = Counter(one.values[name] for one in earlier if name in one.values)
        alike = heard.pop(value, 0)
        if _believed(alike, max(heard.values(), default=0), needed):
            same[name] = value
    return Reading(latest.way, Values(same), latest.name, latest.received, latest.raw) if same else None


def _believed(alike: int, against: int, needed: int) -> bool:
    """True when enough answers say what the latest says (`alike` earlier ones), and two more than say any other thing.

    Where much is damaged, the same damage comes three times now and then, while the truth has come as often
    (`against`: how many say the same other thing).
    """
    return alike + 1 >= needed and alike + 1 - against >= _LEAD


def _most_alike(latest: Reading, earlier: list[Reading]) -> int:
    """How many of the answers that differ from the latest are the same as each other, at most."""
    different = [one for one in earlier if not one.agrees(latest)]
    return max((sum(one.agrees(other) for other in different) for one in different), default=0)


def still(again: Reading, held: Reading) -> bool:
    """True when asking by the same way again brought what was held from it; what is new in it contradicts nothing."""
    if again.raw:
        return all(held.raw.get(message) == raws for message, raws in again.raw.items())
    return all(held.values.get(name, value) == value for name, value in again.values.items())


def keeps_changing(line: Line, questions: int, refused: Sequence[str]) -> NotUnderstood:
    """What was read by several ways never sounded together."""
    return NotUnderstood(
        f"The sound of {line.name} changes while it is read: asked {questions} times, its parts do not fit. Its "
        "controls may be moving.",
        "Leave its controls and programs alone for a moment, then ask again.",
        tuple(refused),
    )


def _ever_heard(readings: list[Reading]) -> set[str]:
    return {name for one in readings for name in one.values}
