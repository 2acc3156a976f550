"""Instrument to computer: the sound that is in it now, read until it can be believed, and what is missing."""

from __future__ import annotations

from librarian.chart import Way
from librarian.errors import Refused
from librarian.messages import Origin, Values, Version
from librarian.transfer import limits
from librarian.transfer.cancel import Cancel, OnProgress
from librarian.transfer.identify import introduce, refuse_stranger
from librarian.transfer.line import Knowledge, Line
from librarian.transfer.parameters import parameters_way
from librarian.transfer.read import MOST_TOGETHER, Sure, askable, keeps_changing, read_surely, still
from librarian.transfer.reading import Reading
from librarian.transfer.results import Captured
from librarian.transfer.talk import Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply, NotUnderstood, and_list
from librarian.transfer.unasked import sent_by_itself

"""So often two ways are read again until both tell of the same sound."""


def capture(
    line: Line,
    *,
    way: Way | str | None = None,
    cancel: Cancel | None = None,
    progress: OnProgress | None = None,
) -> Captured:
    """Read the edit buffer by `way` (a way of the chart, or its kind), or by the first that the chart prefers.

    What the first way does not carry is asked for by the others. Nothing is written. Raises NotUnderstood, NoReply,
    EchoLoop, ForeignOnly, WrongInstrument, CableLost, Busy; Refused where only a person can capture (by hand);
    Cancelled: nothing was kept, nothing in the instrument has changed.
    """
    with line.talk("capture", cancel, progress) as talk:
        talk.limit_s = limits.capture_s(line)
        talk.state = "Nothing was kept, and the instrument is as it was."
        introduce(talk)
        if line.identified is not None and line.identified.fits == "other instrument":
            refuse_stranger(line.identified)
        ways = chosen(talk, way)
        talk.tell(0, len(line.chart.parameters), "parameters", None)
        sure = read_all(talk, ways)
        return captured(talk, sure)


def chosen(talk: Talk, way: Way | str | None) -> list[Way]:
    """The ways to ask by, preferred first. Raises Refused where there is none, or `way` is not one of them."""
    line = talk.line
    ways = askable(line)
    if way is not None:
        kind = way if isinstance(way, str) else way.kind
        ways = [one for one in ways if way in (one, one.kind)]
        if not ways and kind == "parameters" and (one_by_one := parameters_way(line)) is not None:
            ways = [one_by_one]  # never needed beside a dump, but asked for
        if not ways:
            raise Refused(
                f"The chart of {line.name} knows no way to ask for its sound by “{kind}”.",
                "Leave the way out, or capture by hand.",
            )
    if not ways:
        raise _cannot_ask(line)
    return ways


def _cannot_ask(line: Line) -> Refused:
    """No way to ask for the edit buffer; with what can be done instead."""
    messages = line.chart.codec.messages.values()
    if line.chart.memory is not None and any(each.kind == "program" and "request" in each.forms for each in messages):
        return Refused(
            f"{line.name} cannot be asked for the sound in its edit buffer, only for the programs of its memory.",
            "Capture one by its number, back up the memory, or capture by hand.",
        )
    said = f"{line.name} cannot be asked for its sound: its chart knows no request."
    if sent_by_itself(line.chart):
        return Refused(said, "Capture it by hand: start listening, then start the dump on the instrument.")
    return Refused(said, "Capture it by hand: start listening, then move each control a little.")


def read_all(talk: Talk, ways: list[Way], expected: Knowledge | None = None) -> Sure:
    """Read by the first way, then by others what is still missing; all of it true at one moment.

    `expected`: what the instrument should hold; see `read_surely`.
    """
    sure = read_surely(talk, ways[0], expected=expected)
    for way in ways[1:]:
        if (set(talk.line.chart.parameters) - set(sure.reading.values)) & set(way.carries):
            sure = _with_more(talk, sure, way)
    return sure


def _with_more(talk: Talk, sure: Sure, way: Way) -> Sure:
    """What was read, with what `way` brings besides. Where that fails, what was read is true all the same."""
    for _ in range(MOST_TOGETHER):
        try:
            more = read_surely(talk, way)
        except (NoReply, ForeignOnly, EchoLoop, NotUnderstood, InstrumentRefused) as problem:
            return Sure(sure.reading, sure.questions, [*sure.refused, str(problem)])
        # The first part must still be true after the second was read, else the two never sounded together.
        held = sure.reading
        known = Knowledge(held.values, held.name, held.raw)
        again = read_surely(talk, held.way, expected=known)
        questions = sure.questions + more.questions + again.questions
        refused = [*sure.refused, *more.refused, *again.refused]
        if still(again.reading, held):
            values = held.values.with_values({k: v for k, v in more.reading.values.items() if k not in held.values})
            raw = {**more.reading.raw, **held.raw}
            received = (*held.received, *more.reading.received)
            return Sure(Reading(held.way, values, held.name, received, raw), questions, refused)
        sure = Sure(again.reading, questions, refused)
    raise keeps_changing(talk.line, sure.questions, sure.refused)


def captured(talk: Talk, sure: Sure, *, program: str = "") -> Captured:
    """The result for the person, and what the line knows from now on. `program`: which stored one was read, if one."""
    line = talk.line
    reading = sure.reading
    version = as_version(line, reading, detail=f"program {program} on {line.port}" if program else "")
    missing = tuple(name for name in line.chart.parameters if name in version.unknown)
    if not missing and not program:
        line.learn(reading.values, reading.name, reading.raw)
    known, of = len(version.values), len(line.chart.parameters)
    return Captured(
        version=version,
        known=known,
        of=of,
        missing=missing,
        way=reading.way.label or reading.way.kind,
        readings=sure.questions,
        bytes_in=talk.bytes_in,
        bytes_out=talk.bytes_out,
        seconds=talk.seconds,
        refused=tuple(sure.refused),
        sentence=_not_described(line, reading) or capture_sentence(line, known, of, missing),
    )


def _not_described(line: Line, reading: Reading) -> str:
    """What is said of a sound that arrived whole from a firmware whose bytes the chart does not explain; else ''."""
    found = line.identified
    if found is None or found.fits == "fits":
        return ""
    size = sum(len(raw) for raw in reading.received)
    return f"{found.sentence.removesuffix('.')}; the {size:,} bytes of its sound are kept as they came, not explained"


def as_version(line: Line, reading: Reading, *, kind: str = "captured", detail: str = "") -> Version:
    """What was read, as an immutable version. With firmware that the chart does not describe only the bytes count."""
    described = line.identified is None or line.identified.fits == "fits"
    values = reading.values if described else Values()
    how = f"{reading.way.label or reading.way.kind} on {line.port}"
    return Version(
        chart=line.chart.id,
        revision=line.chart.revision,
        values=values,
        unknown=frozenset(name for name in line.chart.parameters if name not in values),
        received=reading.received,
        origin=Origin("safety" if kind == "safety" else "captured", detail or how),
        name=reading.name,
    )


def capture_sentence(line: Line, known: int, of: int, missing: tuple[str, ...]) -> str:
    """“52 of 52 parameters received from Lanternfish”, with what is missing by name."""
    said = f"{known} of {of} parameters received from {line.name}"
    if not missing:
        return said
    labels = [line.chart.parameters[name].label for name in missing]
    return f"{said}; {and_list(labels)} did not arrive and {'is' if len(labels) == 1 else 'are'} unknown"
