"""What is wrong with a chart: every fault with its place, what is wrong, and what to write instead."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.errors import BadInput

Path = tuple[str | int, ...]
"""Where something stands in a chart: keys and indices as in the TOML, e.g. ("parameter", 3, "range", 1)."""

MOST_FAULTS = 500


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault. `line` and `column` count from 1 (0: the whole file); `key` is the dotted path of the key."""

    line: int
    column: int
    key: str
    sentence: str
    remedy: str = ""
    source: str = "chart"

    @property
    def told(self) -> str:
        """Where it is and what is wrong, without what to write instead."""
        place = f"{self.source}, line {self.line}, column {self.column}" if self.line else self.source
        key = f" ({self.key})" if self.key else ""
        return f"{place}{key}: {self.sentence}"

    def __str__(self) -> str:
        return f"{self.told} {self.remedy}".strip()


class ChartFaults(BadInput):
    """A chart that cannot be used; nothing of it was taken. `faults`: all of them, in order of their place."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        first = faults[0]
        more = f" There are {len(faults) - 1} more faults." if len(faults) > 2 else ""
        more = " There is 1 more fault." if len(faults) == 2 else more
        super().__init__(f"{first.told.strip()}{more}", first.remedy or "Correct the chart and load it again.")


def key_text(path: Path) -> str:
    """`("parameter", 3, "range", 1)` as people count: `parameter[4].range[2]`."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else str(part)
    return text
