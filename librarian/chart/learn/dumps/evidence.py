"""The dumps seen so far, and what is known of the controls in each of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from librarian.chart.learn.dumps.framing import Framing, Take, framing_of
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
    """One dump, of one message or several. `moved`: the only control that moved since the shot before, or None.
    `state`: values that are known.

    `text`: what the person called the sound since the shot before, `program`: which one it is; "" and None: not told.
    """

    raws: Take
    moved: str | None
    state: Mapping[str, int]
    text: str = ""
    program: int | None = None

    @property
    def raw(self) -> bytes:
        """Its first message."""
        return self.raws[0]


class Evidence:
    """Dumps of one kind, in the order in which they came."""

    def __init__(self) -> None:
        self.shots: list[Shot] = []
        self.others = 0
        self._framed: tuple[int, Framing] | None = None

    def sound(self, raws: Take, program: int | None = None) -> None:
        """A dump of any sound; nothing is known of its values. Raises BadInput (see `_check`)."""
        self._check(raws)
        if self.shots:
            self.others += 1
        self.shots.append(Shot(raws, None, {}, program=program))

    def named(self, text: str, raws: Take) -> None:
        """A dump after nothing but the sound's name was changed. Raises BadInput (see `_check`)."""
        self._check(raws)
        state = dict(self.shots[-1].state) if self.shots else {}
        program = self.shots[-1].program if self.shots else None
        self.shots.append(Shot(raws, None, state, text, program))

    def moved(self, control: str, value: int | None, raws: Take) -> None:
        """A dump after `control` alone was moved since the dump before: to `value`, or no one knows where to."""
        self._check(raws)
        if not self.shots:
            raise BadInput("A move says nothing without a dump before it.", "Send a dump first, then move a control.")
        state = dict(self.shots[-1].state)
        state.pop(control, None)
        if value is not None:
            state[control] = value
        self.shots.append(Shot(raws, control, state, program=self.shots[-1].program))

    def several(self, moves: Mapping[str, int | None], raws: Take) -> None:
        """A dump after several controls were moved: it tells none of them, but the next one is compared with it."""
        self._check(raws)
        state = dict(self.shots[-1].state) if self.shots else {}
        for name, value in moves.items():
            state.pop(name, None)
            if value is not None:
                state[name] = value
        self.shots.append(Shot(raws, None, state))

    def take_back(self) -> Shot:
        """Forget the newest dump, and give it back. Raises Refused when there is none."""
        if not self.shots:
            raise Refused("There is no dump to take back.", "Send one first.")
        gone = self.shots.pop()
        if gone.moved is None and self.shots and not gone.state:
            self.others -= 1
        return gone

    def _check(self, raws: Take) -> None:
        """Raises BadInput for what is no whole SysEx message, or another kind of dump than those before."""
        for raw in raws:
            if len(raw) < 6 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
                raise BadInput(
                    "This is no whole SysEx message.", "A dump begins with F0 and ends with F7; send it again."
                )
        if not self.shots:
            if len(raws) > 1:
                framing_of([raws])
            return
        first = self.shots[0].raws
        if raws[0][: maker_end(raws[0])] != first[0][: maker_end(first[0])]:
            raise BadInput("This dump has another manufacturer ID than those before.", "Keep to one instrument.")
        if len(raws) != len(first):
            raise BadInput(
                f"This dump came in {len(raws)} messages, those before in {len(first)}.", "Send it again, whole."
            )
        for raw, before in zip(raws, first, strict=True):
            if len(raw) != len(before):
                raise BadInput(
                    f"This dump has {len(raw)} bytes, those before have {len(before)}.",
                    "Keep to one kind of dump, and send it again if it was cut off. Dumps of changing length cannot "
                    "be learnt.",
                )

    @property
    def framing(self) -> Framing | None:
        """How the messages of a dump are numbered; None where a dump is one message."""
        if len(self.shots[0].raws) == 1:
            return None
        if self._framed is None or self._framed[0] != len(self.shots):
            self._framed = (len(self.shots), framing_of([shot.raws for shot in self.shots]))
        return self._framed[1]

    @property
    def table(self) -> Bytes:
        """All dumps, one a row; of those in several messages the data joined."""
        framing = self.framing
        rows = [shot.raw if framing is None else framing.joined(shot.raws) for shot in self.shots]
        return np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(len(rows), -1)

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
