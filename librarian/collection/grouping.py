"""What was found, under headings: by tag or by instrument."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, select

from . import sqlite
from .records import Group, GroupBy, Ids
from .schema import Instrument, Patch, PatchTag, Tag


def grouped(connection: Connection, ids: Ids, by: GroupBy) -> tuple[Group, ...]:
    """Groups by the order of their names, each in the order of `ids`; those without a tag come last, under ''."""
    if not len(ids):
        return ()
    if by == "tag":
        names = connection.execute(select(Tag.id, Tag.name).order_by(Tag.key, Tag.id)).all()
        pairs = _pairs(connection, select(PatchTag.patch_id, PatchTag.tag_id), ids)
    else:
        names = connection.execute(
            select(Instrument.id, Instrument.name).order_by(Instrument.name, Instrument.id)
        ).all()
        pairs = _pairs(connection, select(Patch.id, Patch.instrument_id), ids)
    place = np.full(int(ids.array.max()) + 1, -1, np.int64)
    place[ids.array] = np.arange(len(ids))
    pairs = pairs[np.argsort(place[pairs[:, 0]], kind="stable")]
    pairs = pairs[np.argsort(pairs[:, 1], kind="stable")]
    begin = np.searchsorted(pairs[:, 1], [number for number, _ in names], side="left")
    end = np.searchsorted(pairs[:, 1], [number for number, _ in names], side="right")
    groups = [
        Group(name, Ids(np.ascontiguousarray(pairs[first:last, 0])))
        for (_, name), first, last in zip(names, begin.tolist(), end.tolist(), strict=True)
        if last > first
    ]
    rest = ids.array[~np.isin(ids.array, pairs[:, 0])]
    return (*groups, Group("", Ids(rest))) if len(rest) else tuple(groups)


def _pairs(connection: Connection, query: Select[int, int], ids: Ids) -> NDArray[np.int64]:
    """(patch, heading) of the patches found, shape (n, 2)."""
    patch = next(iter(query.selected_columns))
    rows = sqlite.cursor(connection, query.where(sqlite.in_named_ids(patch)), {"ids": sqlite.listed(ids)}).fetchall()
    return np.array(rows, np.int64).reshape(-1, 2)
