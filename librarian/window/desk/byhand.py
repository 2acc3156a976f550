"""Captures by hand under way: how the person ends one, and that what was heard outlasts a change of the instrument."""

from __future__ import annotations

from dataclasses import replace
from threading import Event

from librarian.transfer import Captured
from librarian.window.desk.link import CHANGED, Link

BY_HAND = "capture by hand"
_ENOUGH_S = 1.0


class ByHand:
    """Of all instruments of a window; each has one capture by hand at most."""

    def __init__(self) -> None:
        self._enough: dict[int, Event] = {}
        self._moved: dict[int, int] = {}

    def begin(self, instrument: int) -> Event:
        """One begins; it listens until this is set."""
        self._moved[instrument] = 0
        enough = self._enough[instrument] = Event()
        return enough

    def moved(self, instrument: int, count: int) -> None:
        """So many controls were heard by now."""
        self._moved[instrument] = count

    def enough(self, instrument: int) -> None:
        """The person has moved what matters; the rest stays unknown."""
        if instrument in self._enough:
            self._enough[instrument].set()

    def heard(self, instrument: int) -> int:
        """How many controls the last one has heard."""
        return self._moved.get(instrument, 0)

    def heard_so_far(self, instrument: int, link: Link) -> list[tuple[str, object]]:
        """Its line is to be closed: many minutes of turning knobs end with what they have, and say why."""
        if not self._moved.get(instrument):
            return []
        self.enough(instrument)
        link.wait_until_idle(_ENOUGH_S)
        found: list[tuple[str, object]] = []
        for what, result in link.take_brought():
            if isinstance(result, Captured) and what == BY_HAND and result.missing:
                why = f"{CHANGED} What was heard before is kept: {result.known} of {result.of} parameters."
                found.append((what, replace(result, broke_off=result.broke_off or why)))
            else:
                found.append((what, result))
        return found
