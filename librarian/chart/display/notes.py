"""Note names: 60 is middle C, whatever number its octave has on the instrument."""

from __future__ import annotations

import re

from librarian.chart.display.numbers import MINUS, plain

_NAMES = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_TYPED = re.compile(r"([a-g])\s*(#|♯|sharp|b|♭|flat)?\s*(-?\d{1,6})")


def note_name(number: int, middle_c: int = 4) -> str:
    """Name of a note number, e.g. 60 as "C4", 61 as "C♯4", 0 as "C−1" (with middle C = C4)."""
    octave = number // 12 - 5 + middle_c
    return f"{_NAMES[number % 12]}{MINUS if octave < 0 else ''}{abs(octave)}"


def note_number(text: str, middle_c: int = 4) -> int | None:
    """Note number of a typed name ("c4", "Bb3", "F♯ −1"), or None when it is no name."""
    match = _TYPED.fullmatch(plain(text))
    if match is None:
        return None
    letter, sign, octave = match.groups()
    shift = 0 if sign is None else 1 if sign in {"#", "♯", "sharp"} else -1
    return _STEPS[letter] + shift + (int(octave) + 5 - middle_c) * 12
