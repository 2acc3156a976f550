"""How a sound gets out of an instrument and into it: the ways of a chart, compiled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

WayKind = Literal["dump", "controllers", "parameters", "program", "hand"]


@dataclass(frozen=True, slots=True)
class ControllerEnd:
    """How the end of a dump of controllers is known; whichever comes first. `last`: a parameter id."""

    count: int | None = None
    last: str | None = None
    silence_s: float = 0.5


@dataclass(frozen=True, slots=True)
class Way:
    """One way in or out. `message`: name of the dump message, or ''. `carries`: ids of the parameters it brings.

    `timeout_s`: longest wait for the first byte of an answer. `end`: for controllers that the instrument sends.
    `requested`: a message asks for it (else the person starts it on the instrument). For the way in: `into` what it
    replaces, `before` and `after` names of messages to send around it, `acknowledged`: ACK or NAK is answered,
    `settle_s`: time before it can be read back.
    """

    kind: WayKind
    message: str = ""
    carries: frozenset[str] = frozenset()
    timeout_s: float = 2.0
    end: ControllerEnd | None = None
    requested: bool = True
    into: Literal["edit buffer", "memory"] = "edit buffer"
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    acknowledged: bool = False
    settle_s: float = 0.0
    label: str = ""
