"""Writes to its memory, only when the person allows it: one program, its neighbours, and back again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from librarian.chart import Way
from librarian.errors import LibrarianError, Refused
from librarian.messages import Values, Version
from librarian.transfer.bank import no_memory, program_way, read_program, single_programs, slots, slots_of
from librarian.transfer.bringup.bench import Bench, KeepBefore
from librarian.transfer.plan import dump_in
from librarian.transfer.send import commands, send_dump
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply, NotUnderstood
from librarian.transfer.wholebank import bank_way, by_banks, read_bank, write_bank
from librarian.transfer.writing import written


@dataclass(frozen=True, slots=True)
class _Road:
    """How one program is read and written. `store(number, there, values, name)`: `there` is what it held before."""

    sets: frozenset[str]
    tells: frozenset[str]
    read: Callable[[int], Version]
    store: Callable[[int, Version, Mapping[str, int], str], object]


def writing(bench: Bench, *, allowed: bool, keep_before: KeepBefore | None = None) -> None:
    """Write the last program, read it and its neighbours back, and put the old one there again.

    Where the edit buffer cannot be read this is the only proof of what a dump sets: then every value is tried here.
    """
    check = "memory: writing"
    memory = bench.chart.memory
    if memory is None:
        bench.not_tried(check, "the chart knows no memory")
        return
    if not allowed:
        bench.not_tried(check, "writing to the memory was not allowed")
        return
    try:
        road = _road(bench)
    except Refused as problem:
        bench.not_tried(check, str(problem))
        return
    number = memory.size - 1
    neighbours = [other for other in (number - 1, 0) if 0 <= other != number]
    subject = f"program {memory.shown(number)}"
    try:
        before = {other: road.read(other) for other in (number, *neighbours)}
        if keep_before is not None and (why := _unkept(keep_before, subject, before[number])):
            # The values of the test are in its edit buffer: the run goes on, and puts back what was there.
            bench.not_tried(check, why)
            return
        state = bench.talk.state
        bench.talk.state = f"{state} Its {subject} holds values of the test as well, or is being written."
        if bench.roads:
            values = bench.some_values(road.sets)
            bench.begin()
            road.store(number, before[number], values, "Bring-up")
            held = road.read(number).values
            wrong = [name for name in road.tells if held.get(name) != values[name]]
            bench.noted(not wrong, check, subject, "reads back as written", f"{len(wrong)} parameters differ")
        else:
            _each_value(bench, road, number, before[number])
        moved = [other for other in neighbours if road.read(other).values != before[other].values]
        words = f"{', '.join(memory.shown(other) for other in moved)} changed"
        bench.noted(not moved, "memory: neighbours", subject, "other programs stay", words)
        bench.begin()
        road.store(number, before[number], dict(before[number].values), before[number].name)
        again = road.read(number)
        bench.noted(
            again.values == before[number].values, "memory: put back", subject, "the old sound again", "another sound"
        )
        if again.values == before[number].values:
            bench.talk.state = state
    except (NotUnderstood, NoReply, ForeignOnly, EchoLoop, InstrumentRefused) as problem:
        bench.failed(check, subject, "an answer", str(problem))


def _unkept(keep_before: KeepBefore, subject: str, before: Version) -> str:
    """'' when it is kept, else why not."""
    try:
        keep_before(subject, before)
    except LibrarianError as problem:
        return f"what {subject} holds could not be kept: {problem}"
    return ""


def _each_value(bench: Bench, road: _Road, number: int, there: Version) -> None:
    """Ends, middle and some values of every parameter, in one program."""
    order = [name for name in bench.chart.order if name in road.sets]
    for which, values in bench.value_sets(order):
        bench.begin()
        road.store(number, there, values, "Bring-up")
        held = road.read(number).values
        for name in order:
            if name in road.tells:
                got = held.get(name)
                subject = f"{bench.named(name)}, {which}"
                expected = bench.shown(name, values[name])
                bench.noted(got == values[name], "memory: values", subject, expected, bench.shown(name, got))
    bench.by_memory = road.sets & road.tells


def _road(bench: Bench) -> _Road:
    """One program by messages of its own, else through the whole bank. Raises Refused where neither goes both ways."""
    line = bench.talk.line
    request, write = bank_way(line, "request"), bank_way(line, "write")
    singly = single_programs(line, "request") and single_programs(line, "write")
    if not singly and request is not None and write is not None:
        return _by_bank(bench, request, write)
    request, write = program_way(line, "request"), program_way(line, "write")

    def store(number: int, there: Version, values: Mapping[str, int], name: str) -> None:
        _store(bench, write, number, there, Values(values), name)

    tells = write.carries & request.carries
    return _Road(write.carries, tells, lambda number: read_program(bench.talk, number), store)


def _store(bench: Bench, way: Way, number: int, there: Version, values: Values, name: str) -> None:
    line = bench.talk.line
    where = slots(line, number)
    base = dump_in(line, there, way.message)
    messages = written(line, way.message, values, base=base, name=name, slots=slots_of(line, way.message, number))
    commands(bench.talk, way.before, **where)
    send_dump(bench.talk, way, messages)
    commands(bench.talk, way.after, **where)
    bench.talk.until_sent()
    bench.talk.pause(max(way.settle_s, line.pace.write_delay_s))


def _by_bank(bench: Bench, request: Way, write: Way) -> _Road:
    talk = bench.talk
    memory = talk.line.chart.memory
    if memory is None:
        raise no_memory(talk.line)

    def held(number: int) -> tuple[int, ...]:
        return tuple(by_banks(talk.line, request, [number]))

    def read(number: int) -> Version:
        (bank,) = held(number)
        return read_bank(talk, request, bank).programs[number]

    def store(number: int, there: Version, values: Mapping[str, int], name: str) -> None:
        (bank,) = held(number)
        new = replace(there, values=there.values.with_values(values), name=name)
        write_bank(talk, write, read_bank(talk, request, bank), {number: new})

    # A bank carries the values of each program; which they are, its first program shows.
    told = frozenset(read(memory.size - 1).values)
    return _Road(told, told, read, store)
