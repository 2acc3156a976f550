"""Reading an instrument so that what was read can be believed."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.chart import Way
from librarian.messages import Values
from librarian.transfer.controllers import read_controllers
from librarian.transfer.dumps import read_dump
from librarian.transfer.reading import Reading, Unreadable
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, NoReply, NotUnderstood

MOST_QUESTIONS = 8
_MOST_SILENT = 2


def read(talk: Talk, way: Way, **slots: int) -> Reading:
    """Ask once by `way` and hear the answer out. Raises what `read_dump` and `read_controllers` raise."""
    return read_dump(talk, way, **slots) if way.kind == "dump" else read_controllers(talk, way)


def askable(talk: Talk) -> list[Way]:
    """The ways of the chart by which the program itself can ask for the edit buffer, preferred first."""
    codec = talk.line.chart.codec
    found = []
    for way in talk.line.chart.ways_in:
        if way.kind == "controllers" and way.requested and codec.controller_request(talk.line.address):
            found.append(way)
        if way.kind == "dump" and way.requested and codec.messages[way.message].kind == "edit buffer":
            found.append(way)
    return found


@dataclass(slots=True)
class Sure:
    """A reading that was confirmed by another one. `questions`: how often it was asked; `refused`: bad answers."""

    reading: Reading
    questions: int = 1
    refused: list[str] = field(default_factory=list)


def read_surely(talk: Talk, way: Way, **slots: int) -> Sure:
    """Ask until two answers agree: checksums of the trade do not notice bytes that changed places, CC have none.

    A dump must come twice byte for byte the same. Of controllers each value must; those of the last answer that no
    other one confirms are left out, so that what is returned was true at one moment. At most eight questions.
    Raises NotUnderstood (with every reason), NoReply, EchoLoop, ForeignOnly, InstrumentRefused, CableLost, Cancelled.
    """
    readings: list[Reading] = []
    refused: list[str] = []
    silent = 0
    for question in range(1, MOST_QUESTIONS + 1):
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
        confirmed = _confirmed(way, latest, readings)
        readings.append(latest)
        if confirmed is not None and (way.kind == "dump" or set(confirmed.values) == _ever_heard(readings)):
            return Sure(confirmed, question, refused)
    if way.kind != "dump" and len(readings) > 1:
        best = _confirmed(way, readings[-1], readings[:-1])
        if best is not None and best.values:
            return Sure(best, MOST_QUESTIONS, refused)
    raise NotUnderstood(
        f"{talk.line.name} was asked {MOST_QUESTIONS} times, and no two answers agree. "
        f"{refused[-1] if refused else 'Its controls may be moving.'}",
        "Leave the knobs still and look at the cable, then ask again, slower.",
        tuple(refused),
    )


def _confirmed(way: Way, latest: Reading, earlier: list[Reading]) -> Reading | None:
    """What of the latest answer another one confirms; None where that is nothing."""
    if way.kind == "dump":
        return latest if any(latest.agrees(one) for one in earlier) else None
    if not earlier:
        return None
    same = {
        name: value for name, value in latest.values.items() if any(one.values.get(name) == value for one in earlier)
    }
    return Reading(latest.way, Values(same), latest.name, latest.received, latest.raw)


def _ever_heard(readings: list[Reading]) -> set[str]:
    return {name for one in readings for name in one.values}
