"""Programs of a memory and backups of it by the words on a command line, and as answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from librarian.chart import Chart, Memory
from librarian.cli import answers
from librarian.collection import Library
from librarian.collection.memories import Memories, MemoryBackup
from librarian.errors import BadInput, Refused
from librarian.messages import Version

PROGRAMS = "As the instrument shows them: one (12), a range (1..8), several (1,5,9..12)."
BACKUP = "The name of a backup, the beginning of it, or “last” for the newest complete one."
LAST = "last"


def memory_of(chart: Chart) -> Memory:
    """The memory of a chart's instrument. Raises Refused where it has none."""
    if chart.memory is None:
        raise Refused(
            f"The chart of {chart.name} knows no memory, so there is nothing to back up or restore.",
            "Say in the chart how many programs it has: the section [memory].",
        )
    return chart.memory


def shown(memory: Memory, numbers: Iterable[int]) -> list[str]:
    """Programs as the instrument shows them."""
    return [memory.shown(number) for number in numbers]


def chosen_programs(memory: Memory, said: str) -> list[int]:
    """The programs that `said` means, each once, in order. Raises BadInput naming what is not understood."""
    places = {memory.shown(number).casefold(): number for number in range(memory.size)}
    found: list[int] = []
    for word in said.split(","):
        item = word.strip().casefold()
        if item in places:
            found.append(places[item])
            continue
        first, last = _ends(item, places)
        if first not in places or last not in places:
            raise BadInput(
                f"“{word.strip()}” is no program of this memory: {_first_and_last(memory)}.", f"Programs: {PROGRAMS}"
            )
        if places[first] > places[last]:
            raise BadInput(f"“{word.strip()}” runs backwards.", "Name the lower program first.")
        found += range(places[first], places[last] + 1)
    return sorted(set(found))


def programs_of(
    library: Library, backup: MemoryBackup, memory: Memory, said: str | None
) -> tuple[dict[int, Version], list[int]]:
    """What a backup holds, and the programs of it that `said` means (None: all). Raises BadInput for one it lacks."""
    inside = Memories(library).programs(backup)
    chosen = list(inside) if said is None else chosen_programs(memory, said)
    missing = [number for number in chosen if number not in inside]
    if missing:
        raise BadInput(
            f"“{backup.name}” does not hold {', '.join(shown(memory, missing))}.", "librarian bank show lists it."
        )
    return inside, chosen


def one_program(memory: Memory, said: str) -> int:
    """The one program that `said` means. Raises BadInput."""
    found = chosen_programs(memory, said)
    if len(found) != 1:
        raise BadInput(f"“{said}” means {len(found)} programs, and one is needed.", "Name one, as it is shown.")
    return found[0]


def _ends(item: str, places: Mapping[str, int]) -> tuple[str, str]:
    """Both ends of a range. Names of programs may have a hyphen of their own ("1-12")."""
    if ".." in item:
        first, _, last = item.partition("..")
        return first.strip(), last.strip()
    cuts = [place for place, sign in enumerate(item) if sign in "-–"]
    for cut in cuts:
        first, last = item[:cut].strip(), item[cut + 1 :].strip()
        if first in places and last in places:
            return first, last
    return item, item


def _first_and_last(memory: Memory) -> str:
    return f"it has {memory.shown(0)} to {memory.shown(memory.size - 1)}"


def find_backup(library: Library, said: str, instrument: int | None = None) -> MemoryBackup:
    """The backup that `said` means. Raises BadInput naming those there are."""
    every = Memories(library).all(instrument)
    if said.casefold() == LAST:
        complete = [one for one in every if one.kind == "backup" and one.complete]
        if complete:
            return complete[-1]
        raise BadInput("There is no complete backup yet.", "Make one: librarian bank backup")
    wanted = said.casefold()
    for same in (
        [one for one in every if one.name == said],
        [one for one in every if one.name.casefold() == wanted],
        [one for one in every if one.name.casefold().startswith(wanted)],
    ):
        if len(same) == 1:
            return same[0]
        if same:
            several = ", ".join(f"“{one.name}”" for one in same[-8:])
            raise BadInput(f"“{said}” may be any of {len(same)} backups.", f"Say more of its name: {several}.")
    there = ", ".join(f"“{one.name}”" for one in every[-8:]) or "none yet"
    raise BadInput(f"“{said}” is no backup of a memory here.", f"There are: {there}.")


def memory_answer(backup: MemoryBackup, memory: Memory | None) -> answers.Memory:
    """A backup under its documented keys."""
    return answers.Memory(
        name=backup.name,
        kind=backup.kind,
        instrument=backup.instrument_name,
        chart=backup.chart,
        revision=backup.revision,
        firmware=backup.firmware,
        taken=backup.taken,
        kept=len(backup.kept),
        of=len(backup.wanted),
        complete=backup.complete,
        interrupted=not backup.ended,
        failed={memory.shown(number) if memory else str(number): why for number, why in backup.failed.items()},
    )
