"""Which patches match, in which order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Select, case, func, select

from . import sqlite
from .folding import tag_key, words
from .records import Ids, Order
from .schema import LIVE, TRASHED, Instrument, Patch, PatchTag, Tag


@dataclass(frozen=True, slots=True)
class Found:
    """The answer to one line: `ids` in list order, `total` patches looked at, `stamp` of the library then."""

    ids: Ids
    text: str = ""
    total: int = 0
    order: Order = "name"
    stamp: int = 0
    words: tuple[str, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.ids)


def find(
    connection: Connection,
    text: str,
    *,
    tags: Sequence[str] = (),
    instrument: int | None = None,
    order: Order = "name",
    trash: bool = False,
) -> Ids:
    """Ids of the patches that have every word (as a prefix, in name, tags or note), every tag, the instrument."""
    query: Select[Any] = select(Patch.id).where(Patch.state == (TRASHED if trash else LIVE))
    wanted = words(text)
    if wanted:
        expression = " AND ".join(sqlite.term(word) for word in wanted)
        query = query.where(Patch.id.in_(sqlite.matching(expression)))
    for tag in tags:
        key = tag_key(tag)
        query = query.where(
            Patch.id.in_(
                select(PatchTag.patch_id)
                .join(Tag, Tag.id == PatchTag.tag_id)
                .where((Tag.key == key) | (func.substr(Tag.key, 1, len(key) + 1) == key + "/"))
            )
        )
    if instrument is not None:
        query = query.where(Patch.instrument_id == instrument)
    return Ids(sqlite.id_array(connection, _ordered(query, wanted, order)))


def _ordered(query: Select[Any], wanted: Sequence[str], order: Order) -> Select[Any]:
    if order == "time":
        return query.order_by(Patch.taken.desc(), Patch.id.desc())
    if order == "instrument":
        query = query.join(Instrument, Instrument.id == Patch.instrument_id)
        return query.order_by(Instrument.name, Instrument.id, Patch.name_order, Patch.id)
    if order == "match" and wanted:
        in_name = " AND ".join(sqlite.term(word, "name") for word in wanted)
        best = case((Patch.id.in_(sqlite.matching(in_name)), 0), else_=1)
        return query.order_by(best, Patch.name_order, Patch.id)
    return query.order_by(Patch.name_order, Patch.id)


def tag_counts(connection: Connection, ids: Sequence[int]) -> list[tuple[str, int]]:
    """Tags of these patches with their number, most used first, then by name."""
    count = func.count().label("count")
    query = (
        select(Tag.name, count)
        .join(PatchTag, PatchTag.tag_id == Tag.id)
        .where(sqlite.in_ids(PatchTag.patch_id, ids))
        .group_by(Tag.id)
        .order_by(count.desc(), Tag.key)
    )
    return [(name, number) for name, number in connection.execute(query).tuples()]
