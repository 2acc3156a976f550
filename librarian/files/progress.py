"""How far reading or keeping a file is, and a way to end it. A cancel token of a conversation fits as well."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


class CancelToken(Protocol):
    """Set by another thread; looked at after every few hundred sounds."""

    def check(self, state: str = "") -> None:
        """Raise `Cancelled(state)` when the person asked for the end."""
        ...


@dataclass(frozen=True, slots=True)
class Step:
    """`done` of `total` of what `what` names ("bytes", "sounds"); `total` 0 where it is not known."""

    done: int
    total: int
    what: str


OnStep = Callable[[Step], None]
NOTHING_KEPT = "Nothing was kept; the library is as it was."
NOTHING_WRITTEN = "Nothing was written."


class Going:
    """The two together, quiet where they were not given."""

    def __init__(
        self, cancel: CancelToken | None, progress: OnStep | None, every: int = 256, state: str = NOTHING_KEPT
    ) -> None:
        self.cancel = cancel
        self.progress = progress
        self._every = every
        self._state = state
        self._count = 0

    def tell(self, done: int, total: int, what: str) -> None:
        """Called for every sound or message; acts for the first and then for every few hundred."""
        self._count += 1
        if (self._count - 1) % self._every:
            return
        if self.cancel is not None:
            self.cancel.check(self._state)
        if self.progress is not None:
            self.progress(Step(done, total, what))
