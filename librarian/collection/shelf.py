"""What a search needs of every patch, held in memory: which are live, when taken, their tags, their values.

A `Shelf` is a snapshot that never changes; `ShelfKeeper.current` makes the next one out of it by reading only what
changed since. All arrays are dense, with the id of the patch (or content) as index: ids are never used twice, so no
search is needed to get from one to the other. About 110 bytes a sound for an instrument of 52 controls.
"""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, bindparam, select

from . import sqlite
from .layout import Layout, read_layout
from .problems import as_kept
from .schema import LIVE, Content, Instrument, Patch, PatchTag
from .schema import Layout as LayoutTable
from .wordlist import WordList, word_list

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

#: Rows per round of loading: no other thread waits longer than such a round takes.
PORTION = 20_000
#: When more than this share changed, everything is read anew.
MOST_CHANGED = 0.2
#: A result smaller than this share is sorted by itself instead of being picked out of the order of all.
FEW = 0.15
#: So many renamed patches are put into their places one by one; more, and the whole order is read anew.
FEW_RENAMED = 100
#: Columns read of each patch, after its id.
_HAS = ("unknown", "note", "tags", "versions")


@dataclass(frozen=True, slots=True)
class Matrix:
    """All contents of one layout: `rows` structured by `layout.dtype`, `contents` their content ids, both (n,)."""

    layout: Layout
    contents: Whole
    rows: NDArray[Any]
    _columns: dict[str, NDArray[Any]] = field(default_factory=dict, compare=False, repr=False)

    def column(self, parameter: str) -> NDArray[Any]:
        """Codes of one parameter, shape (n,), in one piece: made the first time it is asked for."""
        name = self.layout.field(parameter)
        found = self._columns.get(name)
        if found is None:
            apart = self.rows[name]
            found = self._columns[name] = np.ascontiguousarray(apart, apart.dtype.newbyteorder("="))
        return found

    def longer(self, contents: Whole, rows: NDArray[Any]) -> Matrix:
        """The same with more contents behind; columns that were asked for stay in one piece."""
        columns = {
            name: np.concatenate([column, rows[name].astype(column.dtype)]) for name, column in self._columns.items()
        }
        return Matrix(
            self.layout, np.concatenate([self.contents, contents]), np.concatenate([self.rows, rows]), columns
        )


@dataclass(frozen=True)
class Shelf:
    """One state of the library. Index of `live`, `content`, `instrument`, `taken`: patch id; shape (last id + 1,)."""

    change: int
    epoch: int
    live: Flags
    content: Whole
    instrument: Whole
    taken: Whole
    #: By the words that may stand after "has:".
    has: Mapping[str, Flags]
    #: Which patch has which tag: two parallel arrays, live patches or not.
    tagged: Whole
    tag: Whole
    matrices: Mapping[int, Matrix]
    last_content: int
    #: The words of all live patches, once they were learnt (`ShelfKeeper.learn_words`).
    words: WordList | None = None
    _orders: dict[str, Whole] = field(default_factory=dict, compare=False, repr=False)
    _ranks: dict[str, Whole] = field(default_factory=dict, compare=False, repr=False)

    @property
    def total(self) -> int:
        """How many live patches."""
        return int(np.count_nonzero(self.live))

    def mask(self, ids: Whole) -> Flags:
        """True at these ids."""
        mask = np.zeros(len(self.live), np.bool_)
        # Another thread's transaction may already know patches that came after this snapshot.
        mask[ids[ids < len(mask)] if len(ids) and ids.max() >= len(mask) else ids] = True
        return mask

    def contents_mask(self, contents: Whole) -> Flags:
        """True at the patches whose latest content is one of these."""
        wanted = np.zeros(self.last_content + 1, np.bool_)
        wanted[contents] = True
        found: Flags = wanted[self.content]
        return found

    def order(self, connection: Connection, kind: str) -> Whole:
        """All live ids by 'name', 'time' (latest first) or 'instrument' (then by name)."""
        if kind not in self._orders:
            self._orders[kind] = self._ordered(connection, kind)
        return self._orders[kind]

    def sorted(self, connection: Connection, kind: str, mask: Flags) -> Whole:
        """The live ids of a mask in such an order."""
        order = self.order(connection, kind)
        ids = np.flatnonzero(mask & self.live)
        if len(ids) > len(order) * FEW:
            return order[mask[order]]
        ranks = self._ranks.get(kind)
        if ranks is None:
            ranks = self._ranks[kind] = np.zeros(len(self.live), np.int64)
            ranks[order] = np.arange(len(order))
        return ids[np.argsort(ranks[ids])]

    def _ordered(self, connection: Connection, kind: str) -> Whole:
        if kind == "time":
            ids = np.flatnonzero(self.live)
            return ids[np.lexsort((-ids, -self.taken[ids]))]
        if kind == "instrument":
            by_name = self.order(connection, "name")
            ranks = _instrument_ranks(connection)
            return by_name[np.argsort(ranks[self.instrument[by_name]], kind="stable")]
        query: Select[Any] = select(Patch.id).where(Patch.state == LIVE).order_by(Patch.name_order, Patch.id)
        return sqlite.id_array(connection, query)

    def known_order(self, kind: str) -> Whole | None:
        """The order if it was asked for already."""
        return self._orders.get(kind)

    def give_order(self, kind: str, order: Whole) -> None:
        """Take an order that was worked out elsewhere."""
        self._orders[kind] = order


def _instrument_ranks(connection: Connection) -> Whole:
    rows = connection.execute(select(Instrument.id).order_by(Instrument.name, Instrument.id)).scalars().all()
    ranks = np.zeros(max(rows, default=0) + 1, np.int64)
    ranks[list(rows)] = np.arange(len(rows))
    return ranks


class ShelfKeeper:
    """Holds the newest snapshot. Nothing is loaded before the first call of `current`."""

    def __init__(self) -> None:
        self._shelf: Shelf | None = None
        self._lock = threading.Lock()

    @property
    def loaded(self) -> bool:
        """Whether the library is in memory."""
        return self._shelf is not None

    @property
    def loading(self) -> bool:
        """Whether another thread is reading it for the first time, which takes seconds for a million sounds."""
        return self._shelf is None and self._lock.locked()

    def forget(self) -> None:
        """Give the memory free."""
        with self._lock:
            self._shelf = None

    def learn_words(self, connection: Connection, change: int, epoch: int) -> bool:
        """Take the words of the state that `connection` sees; False when another thread has gone on meanwhile.

        Others find by the index in the file until it is done.
        """
        if self.current(connection, change, epoch).words is not None:
            return True
        words = _learnt(connection)
        with self._lock:
            shelf = self._shelf
            if shelf is None or (shelf.change, shelf.epoch) != (change, epoch):
                return False
            self._shelf = replace(shelf, words=words)
            return True

    def current(self, connection: Connection, change: int, epoch: int) -> Shelf:
        """The snapshot of the state that `connection` sees, or a newer one if another thread was faster."""
        with self._lock:
            old = self._shelf
            if old is not None and old.epoch == epoch and old.change >= change:
                return old
            usable = old is not None and old.epoch == epoch
            with as_kept():
                fresh = _refreshed(connection, change, old) if usable and old else _loaded(connection, change, epoch)
                if old is not None and old.words is not None and fresh.words is None:
                    fresh = replace(fresh, words=_learnt(connection))
            self._shelf = fresh
            return fresh


def _learnt(connection: Connection) -> WordList:
    return word_list(sqlite.indexed_portions(connection, PORTION))


def _loaded(connection: Connection, change: int, epoch: int) -> Shelf:
    empty = Shelf(
        change=0,
        epoch=epoch,
        live=np.zeros(1, np.bool_),
        content=np.zeros(1, np.int64),
        instrument=np.zeros(1, np.int64),
        taken=np.zeros(1, np.int64),
        has={what: np.zeros(1, np.bool_) for what in _HAS},
        tagged=np.empty(0, np.int64),
        tag=np.empty(0, np.int64),
        matrices={},
        last_content=0,
    )
    return _with_changes(connection, change, empty, whole=True)


def _refreshed(connection: Connection, change: int, old: Shelf) -> Shelf:
    changed = select(Patch.id).where(Patch.change > old.change).limit(int(old.total * MOST_CHANGED) + 1000)
    few = len(connection.execute(changed).all()) < int(old.total * MOST_CHANGED) + 1000
    return _with_changes(connection, change, old, whole=False) if few else _loaded(connection, change, old.epoch)


def _with_changes(connection: Connection, change: int, old: Shelf, *, whole: bool) -> Shelf:
    ids, contents, instruments, times, states, *having = _patches(connection, old.change)
    size = max(len(old.live), int(ids.max(initial=0)) + 1)
    live, content, instrument, taken = (
        _grown(array, size) for array in (old.live, old.content, old.instrument, old.taken)
    )  # fmt: skip
    live[ids], content[ids], instrument[ids], taken[ids] = states == LIVE, contents, instruments, times
    has = {what: _grown(old.has[what], size) for what in _HAS}
    for what, column in zip(_HAS, having, strict=True):
        has[what][ids] = column > 0
    tagged, tag = _tags(connection, old, None if whole else ids)
    matrices, last = _matrices(connection, old)
    words = old.words
    if words is not None and len(ids):
        words = words.followed(ids.tolist(), sqlite.indexed_of(connection, ids.tolist()))
    shelf = Shelf(change, old.epoch, live, content, instrument, taken, has, tagged, tag, matrices, last, words)
    by_name = old.known_order("name")
    if by_name is not None and len(ids) <= FEW_RENAMED:
        shelf.give_order("name", _moved(connection, by_name, ids, size))
    return shelf


def _moved(connection: Connection, order: Whole, changed: Whole, size: int) -> Whole:
    """The order of names after a few patches changed: these are taken out and put in where they belong now."""
    gone = np.zeros(size, np.bool_)
    gone[changed] = True
    kept = order[~gone[order]]
    # The state is looked at here: asked for it, SQLite would go through the index of names instead of these few ids.
    query = select(Patch.name_order, Patch.id, Patch.state).where(sqlite.in_ids(Patch.id, changed.tolist()))
    fresh = sorted((row.name_order, row.id) for row in connection.execute(query) if row.state == LIVE)
    one = select(Patch.name_order).where(Patch.id == bindparam("patch"))

    def key(patch: Any) -> tuple[str, int]:
        return connection.execute(one, {"patch": int(patch)}).scalar_one(), int(patch)

    places = [bisect_left(kept, wanted, key=key) for wanted in fresh]
    return np.insert(kept, places, [patch for _, patch in fresh]) if fresh else kept


def _grown(array: NDArray[Any], size: int) -> NDArray[Any]:
    """A copy, longer where needed: snapshots that others hold stay as they are."""
    grown = np.zeros(size, array.dtype)
    grown[: len(array)] = array
    return grown


def _portions(connection: Connection, query: Any) -> Iterator[list[Any]]:
    cursor = sqlite.cursor(connection, query)
    while portion := cursor.fetchmany(PORTION):
        yield portion


def _patches(connection: Connection, since: int) -> tuple[Whole, ...]:
    """id, content, instrument, taken, state, and what `_HAS` names, of the patches that changed after `since`."""
    query = select(
        Patch.id, Patch.content_id, Patch.instrument_id, Patch.taken, Patch.state,
        Patch.unknown, Patch.note != "", Patch.tags != "", Patch.versions - 1,
    )  # fmt: skip
    if since:
        query = query.where(Patch.change > since)
    parts = [np.array(portion, np.int64).reshape(-1, 9) for portion in _portions(connection, query)]
    table = np.concatenate(parts) if parts else np.empty((0, 9), np.int64)
    return tuple(np.ascontiguousarray(table[:, place]) for place in range(9))


def _tags(connection: Connection, old: Shelf, changed: Whole | None) -> tuple[Whole, Whole]:
    query = select(PatchTag.patch_id, PatchTag.tag_id)
    if changed is not None:
        if not len(changed):
            return old.tagged, old.tag
        query = query.where(sqlite.in_ids(PatchTag.patch_id, changed.tolist()))
    parts = [np.array(portion, np.int64).reshape(-1, 2) for portion in _portions(connection, query)]
    table = np.concatenate(parts) if parts else np.empty((0, 2), np.int64)
    if changed is None:
        return np.ascontiguousarray(table[:, 0]), np.ascontiguousarray(table[:, 1])
    kept = np.isin(old.tagged, changed, invert=True)
    return np.concatenate([old.tagged[kept], table[:, 0]]), np.concatenate([old.tag[kept], table[:, 1]])


def _matrices(connection: Connection, old: Shelf) -> tuple[dict[int, Matrix], int]:
    """Contents are immutable and only added, so the new ones are those with a higher id."""
    ids: dict[int, list[int]] = {}
    rows: dict[int, list[bytes]] = {}
    last = old.last_content
    query = select(Content.id, Content.layout_id, Content.row).where(Content.id > last)
    for portion in _portions(connection, query):
        for content, layout, row in portion:
            ids.setdefault(layout, []).append(content)
            rows.setdefault(layout, []).append(row)
            last = max(last, content)
    matrices = dict(old.matrices)
    for layout_id, some in ids.items():
        layout = matrices[layout_id].layout if layout_id in matrices else _layout(connection, layout_id)
        # A sound of a chart without parameters is a row of no bytes, which a buffer cannot be counted in.
        fresh = (
            np.frombuffer(b"".join(rows[layout_id]), layout.dtype) if layout.size else np.zeros(len(some), layout.dtype)
        )
        contents = np.array(some, np.int64)
        before = matrices.get(layout_id)
        matrices[layout_id] = Matrix(layout, contents, fresh) if before is None else before.longer(contents, fresh)
    return matrices, last


def _layout(connection: Connection, layout_id: int) -> Layout:
    row = connection.execute(select(LayoutTable).where(LayoutTable.id == layout_id)).one()
    return read_layout(row.chart, row.revision, row.parameters, row.widths)
