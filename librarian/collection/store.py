"""One library file: connections, transactions, the one writer at a time, the counter of changes.

Threads: every method may be called from any thread. Reads take a connection of their own from the pool and see the
last committed state; they never wait for a writer. Writes of this process take turns, writes of other programs are
waited for (`sqlite.PATIENCE_S`).
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from sqlalchemy import Connection, Engine, select, update
from sqlalchemy.exc import DBAPIError

from librarian.errors import Refused

from . import evidence, sqlite
from .folding import clean
from .journal import Pending, record
from .problems import ChangedLibrary, LibraryProblem, as_kept, unwritable
from .schema import Counter

#: Signs of a step's label; it has to fit into a menu.
LONGEST_LABEL = 120


class Store:
    """Opened by `opening.open_store`, closed by `close`.

    `frozen`: the state of a file that can only be read (`sqlite.file_state`). Every change is refused, and what was
    read while another program wrote it is not given out.
    """

    def __init__(self, path: Path, engine: Engine, frozen: tuple[int, int, bool] | None = None) -> None:
        self.path = path
        self._engine = engine
        self._writing = threading.RLock()
        self._mine = threading.local()
        self._closed = False
        self._file = _identity(path)
        self._first: Callable[[], None] | None = None
        self._frozen = frozen
        self._has_log = False

    @property
    def only_to_read(self) -> bool:
        """True when every change is refused, because the file cannot be written."""
        return self._frozen is not None

    def close(self) -> None:
        """Give back every connection. Twice does no harm."""
        self._closed = True
        self._engine.dispose()

    def before_writing(self, do: Callable[[], None]) -> None:
        """Do this once, before the first change that is made from now on: outside of any transaction, by its thread."""
        self._first = do

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A consistent view for the time of the block. Inside `write` of the same thread: that transaction."""
        pending = self._current()
        if pending is not None:
            yield pending.connection
            return
        with self._connected("BEGIN") as connection:
            yield connection

    @contextmanager
    def write(self, label: str, *, purge: bool = False) -> Iterator[Pending]:
        """One intent of the person, one transaction: all of it happens or nothing.

        A block inside another one of the same thread joins it (an import of many sounds is one step of undo).
        Without changes no intent is recorded. `purge`: rows are deleted for good; references are then checked once
        at the end instead of row by row, and every open list is told to read anew.
        """
        outer = self._current()
        if outer is not None and purge:
            raise Refused("That cannot be done in the middle of another change.")
        if outer is not None:
            yield outer
            return
        self._get_ready()
        with self._writing, self._connected("BEGIN IMMEDIATE", unchecked=purge) as connection:
            pending = Pending(connection, clean(label)[:LONGEST_LABEL], self.next_change(connection, epoch=purge))
            self._mine.pending = pending
            try:
                yield pending
                record(pending)
            finally:
                self._mine.pending = None

    @contextmanager
    def alone(self) -> Iterator[Connection]:
        """A write that is no intent (settings, undo itself, upkeep). Refused inside an intent."""
        if self._current() is not None:
            raise Refused("That cannot be done in the middle of another change.")
        self._get_ready()
        with self._writing, self._connected("BEGIN IMMEDIATE") as connection:
            yield connection

    @contextmanager
    def taking_in(self, file: Path | None) -> Iterator[Connection]:
        """A write that replaces very much, with another library attached; references are checked at the end."""
        if self._current() is not None:
            raise Refused("That cannot be done in the middle of another change.")
        self.refuse_a_lost_file()
        with self._writing, self._connected("BEGIN IMMEDIATE", unchecked=True, beside=file) as connection:
            yield connection

    @property
    def unsettled(self) -> bool:
        """Whether this thread reads its own change before that is committed: it may yet come to nothing."""
        return self._current() is not None

    def change(self) -> int:
        """The counter of changes: another number whenever this or another program changed the library."""
        with self.read() as connection:
            return int(connection.execute(_CHANGE).scalar_one())

    @staticmethod
    def state(connection: Connection) -> tuple[int, int]:
        """Counter of changes, and of those that were more than edits of single patches (restore, emptied trash)."""
        found = dict(connection.execute(_STATE).all())
        with as_kept():
            return found["change"], found["epoch"]

    def next_change(self, connection: Connection, *, epoch: bool = False) -> int:
        """Count one change inside an `alone` block."""
        if epoch:
            connection.execute(update(Counter).where(Counter.name == "epoch").values(value=Counter.value + 1))
        return self._next_change(connection)

    @staticmethod
    def _next_change(connection: Connection) -> int:
        connection.execute(_COUNT_UP)
        sqlite.mark_change(connection)
        return int(connection.execute(_CHANGE).scalar_one())

    def _get_ready(self) -> None:
        self.refuse_a_lost_file()
        with self._writing:  # nobody else's change may come before what is to be done first
            first, self._first = self._first, None
            if first is not None:
                first()
            # A copy of a library is a single file until it is changed; whoever only reads it leaves it so.
            if not self._has_log:
                with sqlite.as_sentences(self.path, opened=True):
                    self._has_log = sqlite.write_ahead_if_alone(self.path)

    def refuse_a_lost_file(self) -> None:
        """An open file outlives its folder on some systems: what is written into it would be lost without a word."""
        if self._frozen is not None:
            raise unwritable(self.path)
        if _identity(self.path) != self._file:
            raise LibraryProblem(
                f"{self.path} is no longer the file that was opened, so nothing was written.",
                "Check that its disk is still connected, then open the library again.",
            )

    def _current(self) -> Pending | None:
        return getattr(self._mine, "pending", None)

    @contextmanager
    def _connected(self, begin: str, *, unchecked: bool = False, beside: Path | None = None) -> Iterator[Connection]:
        if self._closed:
            raise Refused(f"The library {self.path} is closed.")
        with (
            self._blaming(),
            sqlite.as_sentences(self.path, opened=True),
            self._engine.connect().execution_options(begin=begin) as connection,
            sqlite.unchecked(connection) if unchecked else nullcontext(),
            sqlite.attached(connection, beside),
            connection.begin(),
        ):
            yield connection
            if unchecked:
                sqlite.check_references(connection, self.path)
            if self._frozen is not None:
                self._refuse_what_changed()

    @contextmanager
    def _blaming(self) -> Iterator[None]:
        """What stumbles over a row that nobody can have written, stumbles over damage: that is proved, then said."""
        try:
            yield
        except _STUMBLES as error:
            if self._is_damaged():
                raise sqlite.damaged(self.path) from error
            raise

    def _is_damaged(self) -> bool:
        with sqlite.as_sentences(self.path, opened=True), self._engine.connect() as connection:
            return evidence.is_damaged(connection)

    def _refuse_what_changed(self) -> None:
        try:
            same = sqlite.file_state(self.path) == self._frozen
        except OSError:
            same = False
        if not same:
            raise ChangedLibrary(
                f"The library {self.path} changed while it was read, or its disk is gone.",
                "Open it once more, or copy the library to where you may write and open the copy.",
            )


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file lies at a path: device and number; None when there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


_STUMBLES = (ValueError, TypeError, AttributeError, LookupError, OverflowError, DBAPIError, sqlite3.Error)
_CHANGE = select(Counter.value).where(Counter.name == "change")
_STATE = select(Counter.name, Counter.value)
_COUNT_UP = update(Counter).where(Counter.name == "change").values(value=Counter.value + 1)
