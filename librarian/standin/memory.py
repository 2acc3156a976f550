"""The programs in a simulated instrument's own memory, and the sounds it has when it is taken out of its box."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.chart import Chart


@dataclass(slots=True)
class Program:
    """One stored sound: values by parameter id, its name, and the last dump written there (unexplained bytes)."""

    values: dict[str, int]
    name: str = ""
    raw: bytes | None = None


@dataclass(slots=True)
class Memory:
    """All programs of all banks, in wire order: index = bank * programs + program."""

    programs_per_bank: int = 0
    programs: list[Program] = field(default_factory=list)

    def at(self, program: int, bank: int = 0) -> Program | None:
        """The program with these wire numbers, or None when there is no such place."""
        index = bank * self.programs_per_bank + program
        inside = 0 <= program < self.programs_per_bank and 0 <= index < len(self.programs)
        return self.programs[index] if inside else None


def first_values(chart: Chart, dice: random.Random) -> dict[str, int]:
    """A random sound of the chart: sound parameters anywhere in their range, setup ones at their default."""
    values = {}
    for name, parameter in chart.parameters.items():
        thrown = dice.randint(parameter.low, parameter.high)
        values[name] = parameter.default if not parameter.sound and parameter.default is not None else thrown
    return values


def filled(chart: Chart, dice: random.Random) -> Memory:
    """A memory as large as the chart says, a random sound in each place, named after its number."""
    if chart.memory is None:
        return Memory()
    count = chart.memory.programs * chart.memory.banks
    programs = [Program(first_values(chart, dice), f"Program {number}") for number in range(1, count + 1)]
    return Memory(chart.memory.programs, programs)


def as_lists(memory: Memory) -> list[dict[str, object]]:
    """The memory for the state report."""
    return [{"name": one.name, "values": dict[str, int](one.values)} for one in memory.programs]


def load(target: Mapping[str, int], into: dict[str, int], sound_ids: tuple[str, ...]) -> None:
    """Choosing a program replaces the sound and leaves the player's set-up as it is."""
    into.update({name: target[name] for name in sound_ids if name in target})
