"""What the chain shows, as plain data: no Qt, no MIDI. `troubles` and `transfers` make these from facts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.window.parts.spec import ButtonSpec

PlateMark = Literal[
    "", "agrees", "equal", "different", "question", "alarm", "to instrument", "to computer", "unknown"
]
Course = Literal["whole", "dotted", "absent", "broken at computer", "broken at instrument", "returning"]

Outline = Literal["whole", "dashed", "broken"]
Others = Literal["", "alarm", "different", "unknown", "broken"]


@dataclass(frozen=True)
class Strand:
    """One direction of the cable. `port` and `remark` stand beside the plug ("Pit interface 1", "12 B/s").

    `thick`: bytes of a transfer run through it, up to the plate. `foreign`: messages nobody here understands.
    `moving`: bytes crossed in the last moments (the triangles move).
    """

    course: Course = "whole"
    port: str = ""
    remark: str = ""
    thick: bool = False
    foreign: bool = False
    moving: bool = False
    plug: bool = True


@dataclass(frozen=True)
class Plate:
    """The last transfer and its proof, in the middle. `share`: progress 0 to 1, or None for no bar."""

    mark: PlateMark
    text: str
    broken: bool = False
    share: float | None = None


@dataclass(frozen=True)
class Box:
    """The instrument at the right. `place`: "1 of 2" when there are several; `others`: their worst state's mark."""

    name: str
    detail: str = ""
    outline: Outline = "whole"
    place: str = ""
    others: Others = ""


@dataclass(frozen=True)
class Computer:
    """The computer at the left with its MIDI system ("ALSA · 2 ports open")."""

    detail: str
    dashed: bool = False
    name: str = "Computer"


@dataclass(frozen=True)
class ChainState:
    """Everything the chain shows at one moment. `leader`: from where a line runs to the sentence.

    `first` is the sentence's bold clause with its punctuation, `rest` what follows. The buttons never include
    Panic: it stands at the far right in every state; `panic_reason` says why it cannot work, or is empty.
    """

    computer: Computer
    out: Strand
    back: Strand
    box: Box
    first: str
    rest: str = ""
    plate: Plate | None = None
    buttons: tuple[ButtonSpec, ...] = ()
    leader: Literal["none", "computer", "gap", "loop", "box"] = "none"
    panic_reason: str = ""

    @property
    def sentence(self) -> str:
        """The whole sentence as plain text."""
        return f"{self.first} {self.rest}".strip()
