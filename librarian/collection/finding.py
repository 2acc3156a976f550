"""Which patches match a line, in which order, and why.

Two roads to the same answer: SQL (a terminal command that asks once), and the shelf in memory (a window that asks
with every letter). A property test holds them to each other and to the judge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, Select, case, func, select

from . import sqlite
from .evaluate import evaluate
from .layout import read_layout
from .problems import as_kept
from .query.facts import Facts
from .query.keys import tagged_exactly
from .query.nodes import EVERYTHING, And, Column, Node, OnInstrument, Text, texts
from .query.parser import Parsed, parse
from .query.problem import Problem
from .query.vocabulary import Vocabulary
from .records import Ids, Order, Reason
from .schema import LIVE, TRASHED, Content, Instrument, Layout, Patch, PatchTag, Tag, Version
from .shelf import Flags, Shelf, Whole


@dataclass(frozen=True, slots=True)
class Asked:
    """A whole question: the line as understood, the chosen tags and instrument, the order."""

    parsed: Parsed
    node: Node
    order: Order
    trash: bool


@dataclass(frozen=True, slots=True)
class Found:
    """The answer: `ids` in list order out of `total` patches; `problems` of the line (the rest of it was answered).

    `stamp`: the library's stamp when it was asked.
    """

    ids: Ids
    text: str = ""
    total: int = 0
    order: Order = "name"
    problems: tuple[Problem, ...] = ()
    stamp: int = 0
    node: Node = field(default=EVERYTHING, repr=False)

    def __len__(self) -> int:
        return len(self.ids)


def ask(
    line: str,
    vocabulary: Vocabulary,
    now: datetime,
    *,
    tags: Sequence[str] = (),
    instrument: int | None = None,
    order: Order = "name",
    trash: bool = False,
) -> Asked:
    """Understand a line."""
    parsed = parse(line, vocabulary, now)
    parts: list[Node] = [] if parsed.node is EVERYTHING else [parsed.node]
    parts += [tagged_exactly(vocabulary, tag) for tag in tags]
    if instrument is not None:
        parts.append(OnInstrument((instrument,)))
    node = EVERYTHING if not parts else parts[0] if len(parts) == 1 else And(tuple(parts))
    return Asked(parsed, node, order, trash)


# ---- by SQL -------------------------------------------------------------------------------------------------------


def find_by_sql(connection: Connection, asked: Asked) -> Ids:
    """The ids in order. The trash is in no index: there every patch is judged."""
    if asked.trash:
        query = _ordered(select(Patch.id).where(Patch.state == TRASHED), (), asked.order)
        ids = sqlite.id_array(connection, query)
        known = facts(connection, ids.tolist())
        return Ids([patch for patch in ids.tolist() if asked.node.judge(known[patch])])
    if asked.node is EVERYTHING:
        query = select(Patch.id).where(Patch.state == LIVE)
    else:
        query = select(Patch.id).where(sqlite.unindexed(Patch.state) == LIVE, asked.node.sql())
    return Ids(sqlite.id_array(connection, _ordered(query, texts(asked.node), asked.order)))


def _ordered(query: Select[Any], wanted: Sequence[Text], order: Order) -> Select[Any]:
    if order == "time":
        return query.order_by(Patch.taken.desc(), Patch.id.desc())
    if order == "instrument":
        query = query.join(Instrument, Instrument.id == Patch.instrument_id)
        return query.order_by(Instrument.name, Instrument.id, Patch.name_order, Patch.id)
    if order == "match" and wanted:
        best = case(*((level.sql(), rank) for rank, level in enumerate(_levels(wanted))), else_=len(_LEVELS))
        return query.order_by(best, Patch.name_order, Patch.id)
    return query.order_by(Patch.name_order, Patch.id)


#: Where all the words stand, best first: as whole words in the name, begun in the name, in the tags.
_LEVELS: tuple[tuple[Column, bool], ...] = (("name", True), ("name", False), ("tags", False))


def _levels(wanted: Sequence[Text]) -> list[Node]:
    return [
        And(tuple(Text(text.words, column, whole=whole or text.whole) for text in wanted)) for column, whole in _LEVELS
    ]


# ---- on the shelf -------------------------------------------------------------------------------------------------


def find_on_shelf(connection: Connection, asked: Asked, shelf: Shelf) -> Ids:
    """The same ids in the same order, from memory."""
    kind = "name" if asked.order == "match" else asked.order
    if asked.node is EVERYTHING:
        return Ids(shelf.order(connection, kind))
    ids = shelf.sorted(connection, kind, evaluate(connection, shelf, asked.node))
    wanted = texts(asked.node)
    if asked.order == "match" and wanted and len(ids):
        ids = ids[np.argsort(_ranks(connection, shelf, wanted)[ids], kind="stable")]
    return Ids(ids)


def _ranks(connection: Connection, shelf: Shelf, wanted: Sequence[Text]) -> Whole:
    ranks = np.full(len(shelf.live), len(_LEVELS), np.int64)
    for rank, level in reversed(list(enumerate(_levels(wanted)))):
        ranks[evaluate(connection, shelf, level)] = rank
    return ranks


def tag_counts_on_shelf(shelf: Shelf, mask: Flags, vocabulary: Vocabulary) -> list[tuple[str, int]]:
    """Tags of the patches of a mask with their number, most used first, then by name."""
    counts = np.bincount(shelf.tag[mask[shelf.tagged]], minlength=1)
    used = [
        (name, int(counts[number]), key)
        for number, name, key in vocabulary.tags
        if number < len(counts) and counts[number]
    ]
    return [(name, count) for name, count, _ in sorted(used, key=lambda row: (-row[1], row[2]))]


def tag_counts(connection: Connection, ids: Iterable[int]) -> list[tuple[str, int]]:
    """The same by SQL."""
    count = func.count().label("count")
    query = (
        select(Tag.name, count)
        .join(PatchTag, PatchTag.tag_id == Tag.id)
        .where(sqlite.in_ids(PatchTag.patch_id, ids))
        .group_by(Tag.id)
        .order_by(count.desc(), Tag.key)
    )
    return [(name, number) for name, number in connection.execute(query)]


# ---- why ----------------------------------------------------------------------------------------------------------


def reasons(connection: Connection, node: Node, ids: Sequence[int]) -> dict[int, tuple[Reason, ...]]:
    """Patch id -> why it was found, for the rows that are about to be shown."""
    if node is EVERYTHING:
        return dict.fromkeys(ids, ())
    known = facts(connection, ids)
    return {
        patch: tuple(dict.fromkeys(node.reasons(known[patch]))) if patch in known and node.judge(known[patch]) else ()
        for patch in ids
    }


_FACTS = (
    select(
        Patch.id, Patch.name, Patch.tags, Patch.note, Patch.instrument_id, Instrument.name.label("instrument_name"),
        Patch.taken, Patch.origin, Version.detail, Patch.unknown, Patch.versions, Layout.chart, Layout.revision,
        Layout.parameters, Layout.widths, Content.row,
    )
    .join(Instrument, Instrument.id == Patch.instrument_id)
    .join(Version, Version.id == Patch.latest_id)
    .join(Content, Content.id == Patch.content_id)
    .join(Layout, Layout.id == Content.layout_id)
    .where(sqlite.in_named_ids(Patch.id))
)  # fmt: skip


def facts(connection: Connection, ids: Sequence[int]) -> dict[int, Facts]:
    """Patch id -> all that a query may ask of it; by one question."""
    return {row.id: _facts(row) for row in connection.execute(_FACTS, {"ids": sqlite.listed(ids)})}


def _facts(row: Any) -> Facts:
    with as_kept():
        values, unknown = read_layout(row.chart, row.revision, row.parameters, row.widths).unpack(row.row)
    return Facts(
        id=row.id,
        name=row.name,
        tags=tuple(row.tags.split("\n")) if row.tags else (),
        note=row.note,
        instrument=row.instrument_id,
        instrument_name=row.instrument_name,
        taken=row.taken,
        origin=row.origin,
        detail=row.detail,
        unknown=row.unknown,
        versions=row.versions,
        chart=row.chart,
        revision=row.revision,
        values=values,
        unknown_ids=unknown,
    )
