"""Asking for one parameter after the other, where an instrument answers such questions and has no dump of its sound."""

from __future__ import annotations

from librarian.chart import Way
from librarian.messages import Damaged, Values
from librarian.transfer.line import Line
from librarian.transfer.reading import Mark, Reading, silence
from librarian.transfer.talk import Talk

_TIMEOUT_S = 1.0
_MOST_SILENT = 3
_AFTER_DAMAGE_S = 0.1
"""So much later a whole answer may still come when something broken came: that may have been another's."""


def parameters_way(line: Line) -> Way | None:
    """The way of reading by single-parameter requests, None where the chart has none."""
    ask = line.chart.codec.ask_one
    found = frozenset(name for name in line.chart.codec.single_ids if ask(name, line.address))
    if not found:
        return None
    slowest = max((way.timeout_s for way in line.chart.ways_in), default=_TIMEOUT_S)
    return Way("parameters", carries=found, timeout_s=min(slowest, _TIMEOUT_S), label="one by one")


def read_parameters(talk: Talk, way: Way) -> Reading:
    """Ask for every parameter of `way` in chart order, those that stay silent once more; the rest is left out.

    When three in a row stay silent, one that has answered is asked again: does anybody still answer at all?
    Raises NoReply and the like when nobody does, Unreadable when that began in the middle, CableLost, Cancelled.
    """
    line = talk.line
    values: dict[str, int] = {}
    received: list[bytes] = []
    asked = [name for name in line.chart.order if name in way.carries]
    since = Mark.of(talk)
    for names in (asked, None):
        silent = 0
        for name in names or [each for each in asked if each not in values]:
            talk.tell(len(values), len(asked), "parameters", None)
            raw = _one(talk, name, way.timeout_s)
            if raw is None:
                silent += 1
                if silent == _MOST_SILENT and (not values or _one(talk, next(iter(values)), way.timeout_s) is None):
                    labels = [line.chart.parameters[each].label for each in asked if each not in values]
                    raise silence(talk, since, "its parameters", tuple(labels) if values else ())
                continue
            silent = 0
            received.append(raw)
            values.update({key: value for key, value in line.chart.codec.heard(raw, line.address) if key == name})
        if not values:
            raise silence(talk, since, "its parameters")
    return Reading(way, Values(values), "", tuple(received))


def _one(talk: Talk, name: str, timeout_s: float) -> bytes | None:
    """The message that answers for one parameter, None when none comes in time."""
    line = talk.line
    found: bytes | None = None
    for request in line.chart.codec.ask_one(name, line.address):
        until = talk.ask(request) + timeout_s
        while found is None and (arrival := talk.next(until)) is not None:
            if isinstance(arrival, Damaged):
                until = min(until, line.clock.now() + _AFTER_DAMAGE_S)
                continue
            if line.echo.is_request(arrival.raw, line.clock.now()):
                continue
            heard = line.chart.codec.heard(arrival.raw, line.address) if arrival.raw[0] == 0xF0 else ()
            if any(key == name for key, _ in heard):
                found = arrival.raw
            elif not heard:  # the answer for another one: the question was damaged on its way, no control moved
                talk.hear(arrival)
        if found is not None:
            line.echo.answer_came()
        talk.answered()
    return found
