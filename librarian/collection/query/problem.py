"""What is wrong with a line, where, and what would be right."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """`sentence` for the person; `start`, `end` in the line; `replacement` for that piece, '' when nothing is near."""

    sentence: str
    start: int
    end: int
    replacement: str = ""
