"""Questions to one open library: remembers what makes the next one fast, and forgets it when the library changes."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from . import finding, reading, sqlite
from .finding import Asked, Found
from .query.complete import Completion, complete
from .query.vocabulary import Charts, ReadChart, Vocabulary, read_vocabulary
from .records import Ids, Order, Reason
from .shelf import Shelf, ShelfKeeper
from .store import Store

#: From the second question on, a library with more patches than this is searched in memory.
WORTH_HOLDING = 2000


class Search:
    """One for each open library. Safe to use from several threads."""

    def __init__(self, store: Store, read_chart: ReadChart | None = None) -> None:
        self._store = store
        self._charts = Charts(read_chart)
        self._keeper = ShelfKeeper()
        self._lock = threading.Lock()
        self._vocabulary: tuple[tuple[int, int], Vocabulary] | None = None
        self._tag_counts: tuple[tuple[int, int], dict[str, int]] | None = None
        self._asked = 0

    def warm(self) -> None:
        """Read into memory what searching needs (some tenths of a second for 100,000 patches)."""
        with self._store.read() as connection:
            shelf = self._shelf(connection)
            shelf.order(connection, "name")
            self._known_tags(connection)

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
        moment = now or datetime.now().astimezone()
        with self._store.read() as connection:
            change, _ = self._store.state(connection)
            vocabulary = self._words(connection)
            asked = finding.ask(line, vocabulary, moment, tags=tags, instrument=instrument, order=order, trash=trash)
            ids, total = self._answer(connection, asked)
        return Found(ids, line, total, order, asked.parsed.problems, change, asked.node)

    def _answer(self, connection: Connection, asked: Asked) -> tuple[Ids, int]:
        self._asked += 1
        total = None
        if not asked.trash:
            if not self._keeper.loaded and self._asked > 1:
                total = reading.total(connection)
            if self._keeper.loaded or (total or 0) > WORTH_HOLDING:
                shelf = self._shelf(connection)
                return finding.find_on_shelf(connection, asked, shelf), shelf.total
        ids = finding.find_by_sql(connection, asked)
        return ids, total if total is not None else reading.total(connection, trash=asked.trash)

    def tag_counts(self, ids: Ids) -> list[tuple[str, int]]:
        """Tags of these patches with their number, most used first, then by name."""
        with self._store.read() as connection:
            if self._keeper.loaded:
                return finding.tag_counts_on_shelf(self._shelf(connection), ids, self._words(connection))
            return finding.tag_counts(connection, ids)

    def reasons(self, found: Found, ids: Sequence[int]) -> dict[int, tuple[Reason, ...]]:
        """Why each of these was found."""
        with self._store.read() as connection:
            return finding.reasons(connection, found.node, ids)

    def complete(self, line: str, cursor: int) -> tuple[Completion, ...]:
        """What the word at the cursor could become."""
        with self._store.read() as connection:
            return complete(
                line,
                cursor,
                self._words(connection),
                self._known_tags(connection),
                lambda begun: sqlite.known_words(connection, begun),
            )

    def _shelf(self, connection: Connection) -> Shelf:
        change, epoch = self._store.state(connection)
        return self._keeper.current(connection, change, epoch)

    def _words(self, connection: Connection) -> Vocabulary:
        state = self._store.state(connection)
        with self._lock:
            if self._vocabulary is None or self._vocabulary[0] != state:
                self._vocabulary = (state, read_vocabulary(connection, self._charts))
            return self._vocabulary[1]

    def _known_tags(self, connection: Connection) -> dict[str, int]:
        state = self._store.state(connection)
        with self._lock:
            known = self._tag_counts
        if known is None or known[0] != state:
            known = (state, dict(reading.all_tags(connection)))
            with self._lock:
                self._tag_counts = known
        return known[1]
