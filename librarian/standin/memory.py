"""The programs in a simulated instrument's own memory, and the sounds it has when it is taken out of its box."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

from librarian.chart import Chart


@dataclass(slots=True)
class Program:
    """One stored sound: values by parameter id, its name, and the last dump written there (unexplained bytes)."""

    values: dict[str, int]
    name: str = ""
    raw: tuple[bytes, ...] | None = None


class Memory:
    """All programs of all banks, in wire order: index = bank * programs + program. Each is made up when looked at."""

    def __init__(self, chart: Chart, seed: int) -> None:
        self._chart = chart
        self._seed = seed
        self._programs: dict[int, Program] = {}
        self.size = chart.memory.size if chart.memory is not None else 0

    def __getitem__(self, index: int) -> Program:
        """Program `index`, counted through all banks. Raises IndexError where there is none."""
        if not 0 <= index < self.size:
            raise IndexError(f"there is no program {index}; there are {self.size}")
        if index not in self._programs:
            dice = random.Random(f"{self._seed}, program {index}")
            self._programs[index] = Program(first_values(self._chart, dice), f"Program {index + 1}")
        return self._programs[index]

    def at(self, program: int, bank: int = 0) -> Program | None:
        """The program of this number in bank `bank` (both from 0), or None when there is no such place."""
        memory = self._chart.memory
        if memory is None or not 0 <= program < memory.programs:
            return None
        index = bank * memory.programs + program
        return self[index] if 0 <= index < self.size else None

    def as_lists(self) -> list[dict[str, object]]:
        """Every program for the state report."""
        return [{"name": self[index].name, "values": dict(self[index].values)} for index in range(self.size)]


def first_values(chart: Chart, dice: random.Random) -> dict[str, int]:
    """A random sound of the chart: sound parameters anywhere in their range, setup ones at their default."""
    values = {}
    for name, parameter in chart.parameters.items():
        thrown = dice.randint(parameter.low, parameter.high)
        values[name] = parameter.default if not parameter.sound and parameter.default is not None else thrown
    return values


def load(target: Mapping[str, int], into: dict[str, int], sound_ids: tuple[str, ...]) -> None:
    """Choosing a program replaces the sound and leaves the player's set-up as it is."""
    into.update({name: target[name] for name in sound_ids if name in target})
