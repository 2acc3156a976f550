"""Questions to one open library: remembers what makes the next one fast, and forgets it when the library changes.

What is asked in the middle of a change (`Store.unsettled`) is answered from the file and not remembered: when that
change comes to nothing, its number is given to the next one.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from . import finding, reading, sqlite
from .finding import Asked, Found
from .grouping import grouped
from .query.complete import Completion, complete
from .query.dates import here_and_now
from .query.vocabulary import Charts, ReadChart, Vocabulary, read_vocabulary
from .records import Group, GroupBy, Ids, Order, Reason
from .shelf import ShelfKeeper
from .store import Store
from .values import ValueTable, value_table

#: From the second question on, a library with more patches than this is searched in memory.
WORTH_HOLDING = 2000

#: Completions by words of the sounds that are looked at.
MOST_WORDS = 20

#: So often the words are read anew when the library changes while they are read; then the file's index has to do.
LEARNING_ROUNDS = 3

#: Counter of changes and epoch, as `Store.state` gives them.
State = tuple[int, int]


class Search:
    """One for each open library. Safe to use from several threads."""

    def __init__(self, store: Store, read_chart: ReadChart | None = None) -> None:
        self._store = store
        self._charts = Charts(read_chart)
        self._keeper = ShelfKeeper()
        self._lock = threading.Lock()
        self._vocabulary: tuple[State, Vocabulary] | None = None
        self._tag_counts: tuple[State, dict[str, int]] | None = None
        self._asked = 0

    def warm(self) -> None:
        """Read into memory what searching needs (about two seconds for 100,000 patches; others may ask meanwhile)."""
        if self._store.unsettled:
            return
        learnt = False
        for _ in range(LEARNING_ROUNDS):
            with self._store.read() as connection:
                state = self._store.state(connection)
                self._keeper.current(connection, *state).order(connection, "name")
                self._known_tags(connection, state)
                learnt = learnt or self._keeper.learn_words(connection, *state)
            if learnt:
                return

    def cool(self) -> None:
        """Give that memory free."""
        self._keeper.forget()

    def find(
        self,
        line: str,
        *,
        tags: Sequence[str],
        instrument: int | None,
        order: Order,
        trash: bool,
        now: datetime | None,
    ) -> Found:
        """See `Library.find`."""
        moment = now or here_and_now()
        with self._store.read() as connection:
            state = self._store.state(connection)
            vocabulary = self._words(connection, state)
            asked = finding.ask(line, vocabulary, moment, tags=tags, instrument=instrument, order=order, trash=trash)
            ids, total = self._answer(connection, asked, state)
        return Found(ids, line, total, order, asked.parsed.problems, state[0], asked.node)

    def _answer(self, connection: Connection, asked: Asked, state: State) -> tuple[Ids, int]:
        self._asked += 1
        total = None
        if not asked.trash and not self._store.unsettled:
            if not self._keeper.loaded and self._asked > 1:
                total = reading.total(connection)
            if self._keeper.loaded or ((total or 0) > WORTH_HOLDING and not self._keeper.loading):
                shelf = self._keeper.current(connection, *state)
                return finding.find_on_shelf(connection, asked, shelf), shelf.total
        ids = finding.find_by_sql(connection, asked)
        return ids, total if total is not None else reading.total(connection, trash=asked.trash)

    def tag_counts(self, ids: Ids) -> list[tuple[str, int]]:
        """Tags of these patches with their number, most used first, then by name."""
        with self._store.read() as connection:
            if not self._held:
                return finding.tag_counts(connection, ids)
            state = self._store.state(connection)
            shelf = self._keeper.current(connection, *state)
            return finding.tag_counts_on_shelf(shelf, shelf.mask(ids.array), self._words(connection, state))

    def groups(self, ids: Ids, by: GroupBy) -> tuple[Group, ...]:
        """See `Library.groups`."""
        with self._store.read() as connection:
            return grouped(connection, ids, by)

    def all_tags(self) -> list[tuple[str, int]]:
        """The same for all live patches."""
        with self._store.read() as connection:
            return self._counted_tags(connection, self._store.state(connection))

    def reasons(self, found: Found, ids: Sequence[int]) -> dict[int, tuple[Reason, ...]]:
        """Why each of these was found."""
        with self._store.read() as connection:
            return finding.reasons(connection, found.node, ids)

    def value_table(self, chart: str, revision: int | None) -> ValueTable:
        """See `Library.value_table`."""
        with self._store.read() as connection:
            keeper = ShelfKeeper() if self._store.unsettled else self._keeper
            return value_table(keeper.current(connection, *self._store.state(connection)), chart, revision)

    def complete(self, line: str, cursor: int) -> tuple[Completion, ...]:
        """What the word at the cursor could become."""
        with self._store.read() as connection:
            state = self._store.state(connection)
            return complete(
                line,
                cursor,
                self._words(connection, state),
                self._known_tags(connection, state),
                lambda begun: self._begun(connection, state, begun),
            )

    def _begun(self, connection: Connection, state: State, begun: str) -> list[tuple[str, int]]:
        """Words that begin so, with the number of patches that have them, most frequent first."""
        words = self._keeper.current(connection, *state).words if self._held else None
        return sqlite.known_words(connection, begun) if words is None else words.begun(begun, MOST_WORDS)

    @property
    def _held(self) -> bool:
        """Whether the memory may answer."""
        return self._keeper.loaded and not self._store.unsettled

    def _words(self, connection: Connection, state: State) -> Vocabulary:
        if self._store.unsettled:
            return read_vocabulary(connection, self._charts)
        with self._lock:
            if self._vocabulary is None or self._vocabulary[0] != state:
                self._vocabulary = (state, read_vocabulary(connection, self._charts))
            return self._vocabulary[1]

    def _known_tags(self, connection: Connection, state: State) -> dict[str, int]:
        if self._store.unsettled:
            return dict(reading.all_tags(connection))
        with self._lock:
            known = self._tag_counts
        if known is None or known[0] != state:
            counts = self._counted_tags(connection, state)
            known = (state, dict(counts))
            with self._lock:
                self._tag_counts = known
        return known[1]

    def _counted_tags(self, connection: Connection, state: State) -> list[tuple[str, int]]:
        if not self._held:
            return reading.all_tags(connection)
        shelf = self._keeper.current(connection, *state)
        return finding.tag_counts_on_shelf(shelf, shelf.live, self._words(connection, state))
