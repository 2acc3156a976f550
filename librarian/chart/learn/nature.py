"""What kind of control the values of a movement come from: continuous or stepped, and how far it reaches."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

NatureKind = Literal["continuous", "stepped", "switch"]

_MOST_STEPS = 32
_NEAR = 64
"""A reach that ends within 1/64 of the wire's range from its end is taken to reach the end."""


@dataclass(frozen=True, slots=True)
class Nature:
    """`low`, `high`: the range, numbers as on the wire. `steps`: the numbers sent, of a stepped control or switch.

    `certain`: enough was seen; if not, `advice` says how to move it once more.
    """

    kind: NatureKind
    low: int
    high: int
    steps: tuple[int, ...] = ()
    certain: bool = True
    advice: str = ""

    @property
    def direct(self) -> bool:
        """The steps are numbered one after another."""
        return bool(self.steps) and self.steps == tuple(range(self.low, self.high + 1))


def nature_of(values: Sequence[int], most: int) -> Nature:
    """The nature of a control that sent `values` in this order; `most` is the highest number it could send."""
    seen = sorted(set(values))
    low, high = seen[0], seen[-1]
    if len(seen) == 1:
        return Nature("continuous", 0, most, certain=False, advice="It sent one value only: turn it from end to end.")
    if len(seen) == 2 and high - low <= most // _NEAR and low:
        advice = "It only trembles between two values: turn it from end to end."
        return Nature("continuous", 0, most, certain=False, advice=advice)
    if len(seen) == 2:
        return Nature("switch", low, high, tuple(seen), certain=len(values) >= 3, advice=_again(len(values) >= 3))
    if len(seen) <= _MOST_STEPS and _stepped(values, seen, most):
        certain = _turned_back(values, seen)
        return Nature("stepped", low, high, tuple(seen), certain, _again(certain))
    room = most // _NEAR
    low, high = 0 if low <= room else low, most if high >= most - room else high
    swept = len(seen) >= 4
    return Nature("continuous", low, high, certain=swept, advice=_again(swept))


def bins(count: int, most: int = 127) -> tuple[int, ...]:
    """The middle of `count` equal parts of the wire's range (MIDI 2.0 Bit Scaling and Resolution 1.0.2, 5)."""
    size = most + 1
    return tuple((size * k + count - 1) // count + size // (2 * count) for k in range(count))


def _again(certain: bool) -> str:
    return "" if certain else "Turn it slowly from end to end and back."


def _stepped(values: Sequence[int], seen: list[int], most: int) -> bool:
    """Numbered one after another, the middle of equal bins, or the same few numbers on the way there and back."""
    gaps = {after - before for before, after in itertools.pairwise(seen)}
    if gaps == {1}:
        return seen[0] <= 1 and seen[-1] < most // 4
    return tuple(seen) == bins(len(seen), most) or (min(gaps) > 1 and _turned_back(values, seen))


def _turned_back(values: Sequence[int], seen: list[int]) -> bool:
    """It passed nearly all its numbers twice: a pot that is turned by hand never hits the same ones again."""
    moves = [value for at, value in enumerate(values) if at == 0 or values[at - 1] != value]
    twice = sum(moves.count(value) >= 2 for value in seen)
    return twice >= len(seen) - 2 and len(moves) >= 2 * len(seen) - 2
