"""Ports by name, and finding the same port again although systems number and rename them as they please."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

Direction = Literal["in", "out"]

API_NAMES = {"alsa": "ALSA", "jack": "JACK", "coremidi": "CoreMIDI", "winmm": "Windows MIDI"}

_THROUGH = "midi through"
_ALSA_NUMBERS = re.compile(r" \d+:\d+$")
_JACK_DUPLICATE = re.compile(r"-\d\d(?=:|$)")
_WINDOWS_INDEX = re.compile(r" \d+$")
_WINDOWS_UNIT = re.compile(r"^\d+- ")
_WINDOWS_SOCKET = re.compile(r"^midi(?:in|out)(\d+) \((.*)\)$")


@dataclass(frozen=True, slots=True)
class Port:
    """One end that a MIDI system offers. `api`: a key of `API_NAMES`. `direction` is the computer's.

    `name` is exactly the system's. `ordinal` counts from 0 among the ports of the same API and direction whose
    normalised names are equal.
    """

    api: str
    direction: Direction
    name: str
    ordinal: int = 0

    @property
    def fingerprint(self) -> str:
        """What to store instead of a list position; `match` finds the port again by it."""
        return f"{self.api}:{self.direction}:{self.ordinal}:{self.name}"

    @property
    def plain_name(self) -> str:
        """The name without what the system adds and changes."""
        return normalise(self.name, self.api)

    @property
    def is_through(self) -> bool:
        """True for ALSA's "Midi Through", which returns what it is sent: never to be chosen but by the person."""
        return _THROUGH in self.plain_name


@dataclass(frozen=True, slots=True)
class Match:
    """Where a fingerprint leads: one port, or several among which only the person or an identity reply can choose.

    `how` tells how sure `port` is; anything but 'exact' is to be confirmed by identity before a write to memory.
    """

    port: Port | None
    candidates: tuple[Port, ...]
    how: Literal["exact", "name and number", "name", "none"]


def normalise(name: str, api: str) -> str:
    """Case-folded, without client and port numbers, list positions and the marks of duplicates."""
    plain = " ".join(unicodedata.normalize("NFKC", name).casefold().split())
    if api == "alsa":
        return _ALSA_NUMBERS.sub("", plain)
    if api == "jack":
        return _JACK_DUPLICATE.sub("", plain)
    if api == "winmm":
        plain = _WINDOWS_UNIT.sub("", _WINDOWS_INDEX.sub("", plain))
        socket = _WINDOWS_SOCKET.match(plain)
        return f"{_WINDOWS_UNIT.sub('', socket[2])} ({socket[1]})" if socket else plain
    return plain


def numbered(api: str, direction: Direction, names: Iterable[str]) -> tuple[Port, ...]:
    """Ports from the names that a system lists, in its order."""
    seen: Counter[str] = Counter()
    ports = []
    for name in names:
        plain = normalise(name, api)
        ports.append(Port(api, direction, name, seen[plain]))
        seen[plain] += 1
    return tuple(ports)


def match(fingerprint: str, ports: Sequence[Port]) -> Match:
    """Find the port again. Never guesses: without a port, `candidates` is what could be meant."""
    api, direction, ordinal, name = (*fingerprint.split(":", 3), "", "", "")[:4]
    plain = normalise(name, api)
    same_kind = [port for port in ports if (port.api, port.direction) == (api, direction)]
    exact = [port for port in same_kind if port.name == name]
    alike = [port for port in same_kind if port.plain_name == plain and not port.is_through]
    if len(exact) == 1:
        return Match(exact[0], (exact[0],), "exact")
    numbered_alike = [port for port in exact or alike if str(port.ordinal) == ordinal]
    if len(numbered_alike) == 1:
        return Match(numbered_alike[0], (numbered_alike[0],), "name and number")
    if len(alike) == 1:
        return Match(alike[0], (alike[0],), "name")
    return Match(None, tuple(alike), "none")


def alike(one: str, other: str) -> bool:
    """True for fingerprints of ports that only their number or a system's mark of duplicates tells apart."""
    first, second = ((*text.split(":", 3), "", "", "")[:4] for text in (one, other))
    return first[:2] == second[:2] and normalise(first[3], first[0]) == normalise(second[3], second[0])
