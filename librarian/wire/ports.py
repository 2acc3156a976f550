"""Ports by name, and finding the same port again although systems number and rename them as they please."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Direction = Literal["in", "out"]


@dataclass(frozen=True, slots=True)
class Port:
    """One end that a MIDI system offers. `api`: alsa, jack, coremidi, winmm. `direction` is the computer's.

    `ordinal` counts from 0 among the ports of the same API and direction whose normalised names are equal.
    """

    api: str
    direction: Direction
    name: str
    ordinal: int = 0

    @property
    def fingerprint(self) -> str:
        """What to store instead of a list position; `match` finds the port again by it."""
        return f"{self.api}:{self.direction}:{self.ordinal}:{self.name}"
