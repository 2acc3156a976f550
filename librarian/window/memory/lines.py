"""Rows of a memory: programs of a backup, and what became of them. No Qt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.collection.memories import MemoryBackup
from librarian.messages import Version
from librarian.transfer import Restored, same_sound, written_as_a_whole
from librarian.window.parts.lines import Line
from librarian.window.words import clock_time, counted, day, listed, quoted


@dataclass(frozen=True)
class Programs:
    """What one backup holds. `changed`: numbers that differ from the backup before it; None without one."""

    backup: MemoryBackup
    found: Mapping[int, Version]
    changed: frozenset[int] | None
    since: str = ""


def changed_since(now: Mapping[int, Version], earlier: Mapping[int, Version]) -> frozenset[int]:
    """Numbers whose sound is another one, or new."""
    return frozenset(
        number for number, version in now.items() if number not in earlier or not same_sound(version, earlier[number])
    )


def backup_words(backup: MemoryBackup, *, going: bool = False) -> str:
    """"12 Mar 20:06 · 64 of 64 programs". `going`: one that has not ended is being read just now."""
    when = f"{day(backup.taken)} {clock_time(backup.taken)}"
    count = f"{len(backup.kept)} of {counted(len(backup.wanted), 'program')}"
    what = "as it was before a restore · " if backup.kind == "before" else ""
    broken = "" if backup.ended else " · being read" if going else " · broken off"
    return f"{when} · {what}{count}{broken}"


def program_lines(
    chart: Chart, programs: Programs | None, numbers: Sequence[int], result: Restored | None
) -> list[Line]:
    """One row for each of these programs."""
    return [program_line(chart, programs, number, result) for number in numbers]


def program_line(chart: Chart, programs: Programs | None, number: int, result: Restored | None) -> Line:
    """One program: its number as the instrument shows it, its name, and what is known or became of it."""
    memory = chart.memory
    shown = memory.shown(number) if memory is not None else str(number)
    version = programs.found.get(number) if programs is not None else None
    name = f"{shown}  {version.name.strip() or 'without a name'}" if version is not None else shown
    if result is not None:
        if number in result.new:
            return Line(name, "written, read back equal", mark="equal", says="read back equal")
        if number in result.unknown:
            return Line(name, result.unknown[number], mark="different", says="not certain", trouble=True)
        if number in result.old:
            return Line(name, f"as before: {result.old[number]}", mark="question", says="as before")
    if version is None:
        why = programs.backup.failed.get(number, "") if programs is not None else ""
        if why:
            return Line(f"{shown}  not read", why, mark="different", says="could not be read", trouble=True)
        return Line(f"{shown}  not read yet", mark="unknown", says="unknown")
    known = f"{len(version.values)} of {len(chart.parameters)} known"
    if programs is not None and programs.changed is not None and number in programs.changed:
        return Line(name, known, "changed", mark="changed", says="changed", strong=True)
    return Line(name, known)


@dataclass(frozen=True)
class Question:
    """Before anything is replaced: what is there now (`seen`), what is `wanted`, by number; only where they differ."""

    instrument_id: int
    instrument: str
    chart: Chart
    seen: Mapping[int, Version]
    wanted: Mapping[int, Version]
    source: str

    @property
    def numbers(self) -> list[int]:
        """Programs that would be replaced."""
        return [
            number for number, version in self.wanted.items()
            if number in self.seen and not same_sound(self.seen[number], version)
        ]

    def shown(self, number: int) -> str:
        """A number as the instrument shows it."""
        return self.chart.memory.shown(number) if self.chart.memory is not None else str(number)

    @property
    def what(self) -> str:
        """"program 12", "5 programs"."""
        numbers = self.numbers
        return f"program {self.shown(numbers[0])}" if len(numbers) == 1 else counted(len(numbers), "program")

    @property
    def first(self) -> str:
        """The question."""
        return f"Replace {self.what} in {self.instrument}’s memory?"

    @property
    def rest(self) -> str:
        """What is there now, what will be, and that it can be written back."""
        numbers = self.numbers
        pairs = [
            f"{self.shown(number)}: {quoted(self.seen[number].name.strip())} becomes "
            f"{quoted(self.wanted[number].name.strip())}" for number in numbers
        ]
        same = len(self.wanted) - len(numbers)
        holds = f" {counted(same, 'other is', 'others are')} there already or cannot be read." if same else ""
        whole = (
            f" {self.instrument} takes its memory only as a whole: all of it is sent, the rest as it is now."
            if written_as_a_whole(self.chart) else ""
        )
        return (
            f"{listed(pairs, 6)}.{holds}{whole} "
            "What is there now is kept as a backup of its own and can be written back."
        )
