"""What of the sound in an instrument a bring-up would lose for good: it is said, and agreed to, before it begins."""

from __future__ import annotations

from librarian.transfer.bank import program_way, single_programs
from librarian.transfer.bringup.bench import Bench
from librarian.transfer.bringup.dumps import dump_way, write_way
from librarian.transfer.reading import Reading
from librarian.transfer.troubles import and_list
from librarian.transfer.wholebank import bank_way


def of_the_edit_buffer(bench: Bench, held: Reading | None, why: str) -> str:
    """In a sentence what the test values replace and nothing can put back; '' where that is nothing.

    `held`: what was read of it; None where its answers cannot be used, and `why`.
    """
    name = bench.talk.line.name
    if held is None:
        return f"The sound in {name} cannot be read, so it cannot be put back after the test values: {why}"
    lost = [one for one in bench.chart.order if one in _written(bench) and one not in held.values]
    if not lost:
        return ""
    labels = and_list([bench.parameters[one].label for one in lost])
    them = "it" if len(lost) == 1 else "them"
    return f"{labels} of the sound in {name} cannot be read, so nothing can put {them} back after the test values."


def _written(bench: Bench) -> set[str]:
    """What the checks set: by controllers and alone only what is read back, by dumps all that these carry."""
    codec = bench.chart.codec
    found = {*codec.carried(), *codec.single_ids} & bench.readable
    way = write_way(bench)
    if way is not None and dump_way(bench) is not None:
        found |= way.carries
    return found


def by_storing(bench: Bench) -> str:
    """The same of an instrument whose edit buffer cannot be asked for, where its memory may be written.

    The commands around a store are the chart's own; many instruments load a program, or store from their edit buffer.
    """
    line = bench.talk.line
    single = single_programs(line, "request") and single_programs(line, "write")
    if not single and bank_way(line, "request") is None:
        return ""
    way = program_way(line, "write") if single else bank_way(line, "write")
    if way is None or not (way.before or way.after):
        return ""
    return (
        f"The sound in the edit buffer of {line.name} cannot be read, and the commands that its chart sends around a "
        "store may replace it."
    )
