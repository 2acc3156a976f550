"""The two things a person may have while a conversation runs: how far it is, and a way to end it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from librarian.errors import Cancelled


class Cancel:
    """A token that another thread sets; conversations look at it at least every 50 ms and end with `Cancelled`."""

    def __init__(self) -> None:
        self._event = threading.Event()

    def set(self) -> None:
        """Ask the conversation to end. It drops what is not yet on the wire and says in which state things are."""
        self._event.set()

    def is_set(self) -> bool:
        """True once the person asked for the end."""
        return self._event.is_set()

    def check(self, state: str = "") -> None:
        """Raise `Cancelled(state)` when the person asked for the end."""
        if self._event.is_set():
            raise Cancelled(state)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a conversation is: `done` of `total` (parameters, messages or programs; `what` names them).

    `seconds_left` is None where nothing honest can be said (a person turning knobs).
    """

    done: int
    total: int
    what: str
    seconds_left: float | None = None


OnProgress = Callable[[Progress], None]
