"""What instruments held before recalls: kept in the library first, and had back when the person says undo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.collection import Library
from librarian.errors import LibrarianError
from librarian.messages import Version
from librarian.transfer.before import NotKept, keep_what_was_there


@dataclass(frozen=True)
class Before:
    """What an instrument held before the sound called `over` was recalled; with its set-up where that went too."""

    instrument: int
    content: Version
    over: str
    with_setup: bool


class Recalls:
    """One of a window. Several instruments may be recalled to at once; `last` is what undo brings back."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._under_way: dict[int, Before] = {}
        self._put_back: dict[int, Before] = {}
        self.last: Before | None = None

    def begin(
        self, instrument: int, chart: Chart, over: str, *, with_setup: bool, unkept: bool = False
    ) -> Callable[[Version], None]:
        """A recall begins. What is returned keeps what is there; it runs on the line's thread.

        `unkept`: the person was told that the library does not take it, and goes on; undo still has it.
        """
        self.last = None
        self._under_way.pop(instrument, None)
        self._put_back.pop(instrument, None)

        def keep(before: Version) -> None:
            if not (self._library.only_to_read or unkept):
                try:
                    keep_what_was_there(self._library, instrument, chart, before, over, with_setup=with_setup)
                except LibrarianError as problem:
                    raise NotKept(
                        f"What is in the instrument now could not be kept, so it was not replaced. {problem}",
                        problem.hint,
                    ) from problem
            if before.values:
                self._under_way[instrument] = Before(instrument, before, over, with_setup)

        return keep

    def begin_undo(self, back: Before, chart: Chart, *, unkept: bool = False) -> Callable[[Version], None]:
        """`back` is to be put back. What was played into the instrument since is kept as well."""
        keep = self.begin(
            back.instrument, chart, f"what was there before “{back.over}”", with_setup=back.with_setup, unkept=unkept
        )
        self._put_back[back.instrument] = back
        return keep

    def ended(self, instrument: int) -> None:
        """It was sent. After an undo nothing is left to take back."""
        before, undone = self._under_way.pop(instrument, None), self._put_back.pop(instrument, None)
        if undone is None and before is not None:
            self.last = before

    def broke_off(self, instrument: int) -> None:
        """It ended on the way: what was there before can be had back, and an undo can be tried again."""
        before, undone = self._under_way.pop(instrument, None), self._put_back.pop(instrument, None)
        if undone is not None or before is not None:
            self.last = undone or before
