"""Writes to its memory, only when the person allows it: one program, its neighbours, and back again."""

from __future__ import annotations

from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer.bank import program_way, read_program, slots, slots_of
from librarian.transfer.bringup.bench import Bench
from librarian.transfer.plan import dump_in
from librarian.transfer.send import commands, send_dump
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply, NotUnderstood
from librarian.transfer.writing import written


def writing(bench: Bench, *, allowed: bool) -> None:
    """Write the last program, read it and its neighbours back, and put the old one there again."""
    check = "memory: writing"
    memory = bench.chart.memory
    if memory is None:
        bench.not_tried(check, "the chart knows no memory")
        return
    if not allowed:
        bench.not_tried(check, "writing to the memory was not allowed")
        return
    try:
        way = program_way(bench.talk.line, "write")
        program_way(bench.talk.line, "request")
    except Refused as problem:
        bench.not_tried(check, str(problem))
        return
    number = memory.size - 1
    neighbours = [other for other in (number - 1, 0) if 0 <= other != number]
    subject = f"program {memory.shown(number)}"
    try:
        before = {other: read_program(bench.talk, other) for other in (number, *neighbours)}
        values = bench.some_values(way.carries)
        bench.begin()
        state = bench.talk.state
        bench.talk.state = f"{state} Its {subject} holds values of the test as well, or is being written."
        _store(bench, number, values, before[number], "Bring-up")
        held = read_program(bench.talk, number)
        wrong = [name for name, value in values.items() if held.values.get(name) != value]
        bench.noted(not wrong, check, subject, "reads back as written", f"{len(wrong)} parameters differ")
        moved = [other for other in neighbours if read_program(bench.talk, other).values != before[other].values]
        words = f"{', '.join(memory.shown(other) for other in moved)} changed"
        bench.noted(not moved, "memory: neighbours", subject, "other programs stay", words)
        bench.begin()
        _store(bench, number, dict(before[number].values), before[number], before[number].name)
        again = read_program(bench.talk, number)
        bench.noted(
            again.values == before[number].values, "memory: put back", subject, "the old sound again", "another sound"
        )
        if again.values == before[number].values:
            bench.talk.state = state
    except (NotUnderstood, NoReply, ForeignOnly, EchoLoop, InstrumentRefused) as problem:
        bench.failed(check, subject, "an answer", str(problem))


def _store(bench: Bench, number: int, values: dict[str, int], there: Version, name: str) -> None:
    line = bench.talk.line
    way = program_way(line, "write")
    where = slots(line, number)
    base = dump_in(line, there, way.message)
    messages = written(
        line, way.message, Values(values), base=base, name=name, slots=slots_of(line, way.message, number)
    )
    commands(bench.talk, way.before, **where)
    send_dump(bench.talk, way, messages)
    commands(bench.talk, way.after, **where)
    bench.talk.until_sent()
    bench.talk.pause(max(way.settle_s, line.pace.write_delay_s))
