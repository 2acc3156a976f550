"""The dumps seen so far, and what is known of the controls in each of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from librarian.chart.learn.singles import maker_end
from librarian.errors import BadInput, Refused

Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Dial:
    """One control that may be in the dump: parameter id, label, range, and names of its positions if it has steps."""

    id: str
    label: str
    low: int
    high: int
    steps: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """How many values it has."""
        return self.high - self.low + 1


@dataclass(frozen=True, slots=True)
class Shot:
    """One dump. `moved`: the only control that moved since the shot before, or None. `state`: values that are known."""

    raw: bytes
    moved: str | None
    state: Mapping[str, int]


class Evidence:
    """Dumps of one kind, in the order in which they came."""

    def __init__(self) -> None:
        self.shots: list[Shot] = []
        self.others = 0

    def sound(self, raw: bytes) -> None:
        """A dump of any sound; nothing is known of its values. Raises BadInput (see `_check`)."""
        self._check(raw)
        if self.shots:
            self.others += 1
        self.shots.append(Shot(raw, None, {}))

    def moved(self, control: str, value: int | None, raw: bytes) -> None:
        """A dump after `control` alone was moved since the dump before: to `value`, or no one knows where to."""
        self._check(raw)
        if not self.shots:
            raise BadInput("A move says nothing without a dump before it.", "Send a dump first, then move a control.")
        state = dict(self.shots[-1].state)
        state.pop(control, None)
        if value is not None:
            state[control] = value
        self.shots.append(Shot(raw, control, state))

    def several(self, moves: Mapping[str, int | None], raw: bytes) -> None:
        """A dump after several controls were moved: it tells none of them, but the next one is compared with it."""
        self._check(raw)
        state = dict(self.shots[-1].state) if self.shots else {}
        for name, value in moves.items():
            state.pop(name, None)
            if value is not None:
                state[name] = value
        self.shots.append(Shot(raw, None, state))

    def take_back(self) -> Shot:
        """Forget the newest dump, and give it back. Raises Refused when there is none."""
        if not self.shots:
            raise Refused("There is no dump to take back.", "Send one first.")
        gone = self.shots.pop()
        if gone.moved is None and self.shots and not gone.state:
            self.others -= 1
        return gone

    def _check(self, raw: bytes) -> None:
        """Raises BadInput for what is no whole SysEx message, or another kind of dump than those before."""
        if len(raw) < 6 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
            raise BadInput("This is no whole SysEx message.", "A dump begins with F0 and ends with F7; send it again.")
        if not self.shots:
            return
        first = self.shots[0].raw
        if raw[: maker_end(raw)] != first[: maker_end(first)]:
            raise BadInput("This dump has another manufacturer ID than those before.", "Keep to one instrument.")
        if len(raw) != len(first):
            raise BadInput(
                f"This dump has {len(raw)} bytes, those before have {len(first)}.",
                "Keep to one kind of dump, and send it again if it was cut off. Dumps of changing length cannot be "
                "learnt.",
            )

    @property
    def table(self) -> Bytes:
        """All messages, one a row."""
        raws = b"".join(shot.raw for shot in self.shots)
        return np.frombuffer(raws, dtype=np.uint8).reshape(len(self.shots), -1)

    @property
    def maker(self) -> int:
        """Where the manufacturer ID ends."""
        return maker_end(self.shots[0].raw)

    def moves(self, control: str) -> list[int]:
        """Numbers of the shots before which only this control was moved."""
        return [number for number, shot in enumerate(self.shots) if shot.moved == control]

    def known(self, control: str) -> list[tuple[int, int]]:
        """(shot, value) wherever the value of this control is known."""
        return [(number, shot.state[control]) for number, shot in enumerate(self.shots) if control in shot.state]

    def values(self, control: str) -> set[int]:
        """The values of this control of which a dump is there."""
        return {value for _, value in self.known(control)}


def touched(images: Bytes, moves: Sequence[int]) -> Bytes:
    """Which bits changed in any of these moves, one byte for each byte of the images."""
    if not moves:
        return np.zeros(images.shape[1], dtype=np.uint8)
    at = np.array(moves)
    changed: Bytes = np.bitwise_or.reduce(images[at] ^ images[at - 1], axis=0)
    return changed
