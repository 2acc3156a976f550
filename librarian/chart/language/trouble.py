"""Collects the faults of one chart while it is read, and turns paths into places."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from librarian.chart.faults import MOST_FAULTS, ChartFaults, Fault, Path, key_text


class Place(NamedTuple):
    """File name, line and column (from 1; 0 for the whole file).

    `again`: an earlier round of a group was written at the same place.
    """

    source: str
    line: int
    column: int
    again: bool = False


class Trouble:
    """All faults found so far. `where` answers the place of a path in the file that it was written in."""

    def __init__(self, where: Callable[[Path], Place]) -> None:
        self.where = where
        self._faults: dict[tuple[Path, str], Fault] = {}
        self._touched: set[Path] = set()
        self._told: set[Place] = set()
        self.left_out = 0

    def __len__(self) -> int:
        return len(self._faults)

    def add(self, path: Path, sentence: str, remedy: str = "", *, echo: bool = False) -> None:
        """Note a fault at `path`. `echo`: drop it where this place, or something inside it, has a fault already."""
        if (path, sentence) in self._faults or (echo and path in self._touched):
            return
        if len(self._faults) >= MOST_FAULTS:
            self.left_out += 1
            return
        place = self.where(path)
        first = place._replace(again=False)
        if place.again and first in self._told:
            return  # the same slip of the hand, told once for all rounds
        self._told.add(first)
        source, line, column, _ = place
        self._touched.update(path[:length] for length in range(1, len(path) + 1))
        self._faults[path, sentence] = Fault(line, column, key_text(path), sentence, remedy, source)

    def faults(self) -> tuple[Fault, ...]:
        """All faults, in order of their place."""
        found = sorted(self._faults.values(), key=lambda fault: (fault.source, fault.line, fault.column))
        if self.left_out:
            last = f"{self.left_out:,} more faults are not listed."
            found.append(Fault(0, 0, "", last, "Correct the first ones and look again.", found[0].source))
        return tuple(found)

    def stop_if_any(self) -> None:
        """Raise ChartFaults when there is a fault."""
        if self._faults:
            raise ChartFaults(self.faults())
