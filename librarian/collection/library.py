"""The collection as one object: what window, terminal, transfer and files call.

Every method may be called from any thread; each that changes something is one step of undo and one transaction
(several become one inside `together`). Nothing here talks to an instrument, prints, or knows a window.
"""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from librarian.errors import Refused

from . import journal, restoring
from .door_instruments import InstrumentsDoor
from .door_questions import QuestionsDoor
from .door_sounds import SoundsDoor
from .opening import open_store, open_to_read
from .query.vocabulary import ReadChart
from .search import Search
from .store import Store
from .upkeep import step_of_restore


class Library(InstrumentsDoor, SoundsDoor, QuestionsDoor):
    """An open library file. `Library.open(path)`; `close()`, or use it as a context manager."""

    def __init__(self, store: Store, read_chart: ReadChart | None = None) -> None:
        self._store = store
        self._search = Search(store, read_chart)

    @classmethod
    def open(
        cls, path: Path | None = None, *, read_chart: ReadChart | None = None, only_to_read: bool = False
    ) -> Library:
        """Open the library at `path` (the platform's own place without one), make it, or bring it up to date.

        Raises `LibraryProblem` or `NewerLibrary` with a sentence; then nothing was written. `read_chart` turns kept
        chart texts into charts for searching by value; it is `librarian.chart.loads` unless a test brings its own.
        `only_to_read`: one that cannot be written is opened all the same, and refuses every change.
        """
        store = open_to_read(path) if only_to_read else None
        return cls(store or open_store(path), read_chart)

    @property
    def path(self) -> Path:
        """The file."""
        return self._store.path

    @property
    def only_to_read(self) -> bool:
        """True when it was opened although it cannot be written: every change is refused."""
        return self._store.only_to_read

    def close(self) -> None:
        """Give the file free."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # ---- undo ----------------------------------------------------------------------------------------------------

    def undo_label(self) -> str | None:
        """What undo would take back, or None."""
        return self._label(forth=False)

    def redo_label(self) -> str | None:
        """What redo would do again, or None."""
        return self._label(forth=True)

    def undo(self, expected: str | None = None) -> str | None:
        """Take the last step back; returns its label, None when there is none.

        With `expected` (a label shown to the person), refused when another program has done something since.
        """
        return self._take(expected, forth=False)

    def redo(self, expected: str | None = None) -> str | None:
        """Do the step that was undone last again."""
        return self._take(expected, forth=True)

    def _label(self, *, forth: bool) -> str | None:
        with self._store.read() as connection:
            step = journal.next_step(connection, forth=forth)
            return None if step is None else str(step["label"])

    def _take(self, expected: str | None, *, forth: bool) -> str | None:
        with self._store.alone() as connection:
            step = journal.next_step(connection, forth=forth)
            if step is None:
                return None
            label = str(step["label"])
            if expected is not None and expected != label:
                raise Refused(f"Another program changed the library meanwhile; next would be: {label}.")
            restored = step_of_restore(step)
            if restored is None:
                journal.take(connection, self._store.next_change(connection), step, forth=forth)
                return label
        restoring.go(self._store, restored, label, forth=forth)
        return label
