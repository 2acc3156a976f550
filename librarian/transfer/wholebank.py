"""Memories that are only read and written as a whole bank: each program of it is a sound of its own all the same."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from librarian.chart import NotWritable, Way
from librarian.chart.dump import ProgramSource
from librarian.messages import Origin, Version
from librarian.transfer.line import Line
from librarian.transfer.plan import dump_in
from librarian.transfer.read import read_surely
from librarian.transfer.send import store_dump
from librarian.transfer.talk import Talk
from librarian.transfer.writing import MOST_NAMES, fitting_names


def bank_way(line: Line, form: str) -> Way | None:
    """The message for the whole memory in this form ("request" or "write"), as a way; None when there is none."""
    for name, info in line.chart.codec.messages.items():
        if info.kind == "bank" and form in info.forms:
            declared = next((way for way in line.chart.ways_out if way.message == name), None)
            if form == "write" and declared is not None:
                return declared
            timeout = max((way.timeout_s for way in line.chart.ways_in), default=2.0)
            carries = info.carries or frozenset(line.chart.parameters)
            return Way("dump", name, carries, timeout, label=info.label or name)
    return None


@dataclass(frozen=True, slots=True)
class Bank:
    """A whole memory, or one bank of it, as it was read.

    `programs`: index through all banks -> version; `raws`: its messages; `first`: index of its first program; `slots`:
    the bank number, where the message says one.
    """

    programs: Mapping[int, Version]
    raws: tuple[bytes, ...]
    first: int = 0
    slots: Mapping[str, int] = field(default_factory=dict)


def by_banks(line: Line, way: Way, wanted: Iterable[int]) -> dict[int, list[int]]:
    """Bank -> the programs of it that are wanted; all under bank 0 where the message carries the whole memory."""
    memory = line.chart.memory
    several = memory is not None and "bank" in line.chart.codec.messages[way.message].slots
    found: dict[int, list[int]] = {}
    for number in wanted:
        found.setdefault(number // memory.programs if several and memory is not None else 0, []).append(number)
    return found


def read_bank(talk: Talk, way: Way, bank: int = 0) -> Bank:
    """The whole memory, or this bank of it, read until its answers agree. Raises what `read_surely` raises."""
    line = talk.line
    codec, chart = line.chart.codec, line.chart
    slots = {"bank": bank} if "bank" in codec.messages[way.message].slots else {}
    first = bank * chart.memory.programs if slots and chart.memory is not None else 0
    sure = read_surely(talk, way, expected=None, **slots)
    decoded = codec.decode_all(sure.reading.received, line.address)
    programs = {}
    for one in decoded.programs:
        alone = codec.extract(decoded, one.number, line.address)
        index = first + one.number
        shown = chart.memory.shown(index) if chart.memory is not None else str(index)
        programs[index] = Version(
            chart=chart.id,
            revision=chart.revision,
            values=one.values,
            unknown=chart.unknown(one.values),
            received=alone[1] if alone is not None else sure.reading.received,
            origin=Origin("captured", f"program {shown} of the whole memory on {line.port}"),
            name=one.name,
        )
    return Bank(programs, sure.reading.received, first, slots)


def _first_writable(encoded: Callable[[int], tuple[bytes, ...]]) -> tuple[bytes, ...]:
    """With the names as they are, or else as they can be, or else without them."""
    for attempt in range(MOST_NAMES):
        try:
            return encoded(attempt)
        except NotWritable:
            continue
    return encoded(MOST_NAMES)


def write_bank(talk: Talk, way: Way, held: Bank, new: Mapping[int, Version]) -> str:
    """Write what was read with some programs replaced; the others go back to the bit. '' or how it was refused.

    Names that the instrument cannot hold are cut and changed as those of single programs are.
    """
    line = talk.line
    codec = line.chart.codec
    kinds = [name for name, info in codec.messages.items() if info.kind in {"program", "edit buffer"}]

    def source(version: Version, attempt: int) -> ProgramSource:
        bases = (dump_in(line, version, name) for name in kinds)
        base = next((found for found in bases if found is not None), None)
        names = fitting_names(version.name, codec.messages[way.message].name_size)
        return ProgramSource(version.values, names[attempt] if attempt < len(names) else None, base)

    def encoded(attempt: int) -> tuple[bytes, ...]:
        return codec.encode_bank(
            way.message,
            {number - held.first: source(version, attempt) for number, version in new.items()},
            line.address,
            values=None,
            base=held.raws,
            form="write",
            **{word: number for word, number in held.slots.items() if word in codec.messages[way.message].slots},
        )

    messages = _first_writable(encoded)
    return store_dump(talk, way, messages)
