"""What a conversation with an instrument is about, from the moment it is asked for until its end is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from librarian.window.desk.standing import InIt


@dataclass(frozen=True)
class About:
    """What one conversation is about, and what is to become of what it brings. It is asked for once, and stays so.

    `subject`: the name of the sound. `in_it`: what the instrument holds after a recall that arrives. `into`: the patch
    that a captured sound becomes a version of. `then`, `otherwise`: who hears the end of any other conversation.
    """

    subject: str = ""
    patch: int = 0
    version: int = 0
    in_it: InIt | None = None
    into: int | None = None
    then: Callable[[object], object] | None = None
    otherwise: Callable[[Exception], object] | None = None
