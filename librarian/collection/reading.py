"""Patches, versions, tags and steps as they are: the questions that change nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, bindparam, func, select

from librarian.errors import Refused
from librarian.messages import Origin
from librarian.messages import Version as VersionContent

from . import sqlite
from .content import cut
from .layout import read_layout
from .problems import as_kept
from .records import PatchRow, SavedSearchRow, UnreadRow, VersionRow, moment
from .schema import (
    LIVE,
    TRASHED,
    WITHDRAWN,
    Content,
    Instrument,
    Layout,
    Patch,
    PatchTag,
    Received,
    SavedSearch,
    Tag,
    Unread,
    Version,
)

_PATCHES = select(
    Patch.id, Patch.name, Patch.instrument_id, Instrument.name.label("instrument_name"), Patch.tags, Patch.note,
    Patch.latest_id, Patch.versions, Patch.unknown, Patch.origin, Patch.taken, Patch.changed, Patch.state,
).join(Instrument, Instrument.id == Patch.instrument_id)  # fmt: skip


_PATCHES_BY_ID = _PATCHES.where(sqlite.in_named_ids(Patch.id), Patch.state != WITHDRAWN)


def patch_rows(connection: Connection, ids: Sequence[int]) -> list[PatchRow]:
    """Rows in the order of `ids` by one query; ids that are gone are left out."""
    rows = sqlite.cursor(connection, _PATCHES_BY_ID, {"ids": sqlite.listed(ids)}).fetchall()
    with as_kept():
        found = {row[0]: _patch(*row) for row in rows}
    return [found[patch] for patch in ids if patch in found]


def patch_row(connection: Connection, patch: int) -> PatchRow:
    """One patch, also from the trash. Raises `Refused` when it is gone."""
    found = patch_rows(connection, [patch])
    if not found:
        raise Refused("That patch is no longer in the library.")
    return found[0]


def _patch(
    patch: int, name: str, instrument: int, instrument_name: str, tags: str, note: str, latest: int, versions: int,
    unknown: int, origin: str, taken: int, changed: int, state: int,
) -> PatchRow:  # fmt: skip
    """One row, columns as in `_PATCHES`; by position, as a page of them is read with every letter typed."""
    return PatchRow(
        patch,
        name,
        instrument,
        instrument_name,
        tuple(tags.split("\n")) if tags else (),
        note,
        latest,
        versions,
        unknown,
        origin,
        moment(taken),
        moment(changed),
        "live" if state == LIVE else "trash",
    )


def version_rows(connection: Connection, patch: int) -> tuple[VersionRow, ...]:
    """The versions of a patch, oldest first; bytes and values are left where they are."""
    return histories(connection, [patch]).get(patch, ())


_HISTORIES = (
    select(Version, Content.unknown)
    .join(Content, Content.id == Version.content_id)
    .where(sqlite.in_named_ids(Version.patch_id), Version.state == LIVE)
    .order_by(Version.patch_id, Version.number)
)


def histories(connection: Connection, patches: Sequence[int]) -> dict[int, tuple[VersionRow, ...]]:
    """Patch id -> its versions, oldest first, by one query."""
    found: dict[int, list[VersionRow]] = {}
    rows = connection.execute(_HISTORIES, {"ids": sqlite.listed(patches)}).all()
    with as_kept():
        for row in rows:
            version = VersionRow(
                id=row.id,
                number=row.number,
                taken=moment(row.taken),
                kept=moment(row.kept),
                origin=Origin(row.origin, row.detail),
                note=row.note,
                unknown=row.unknown,
                parent=row.parent_id,
                content=row.content_id,
            )
            found.setdefault(row.patch_id, []).append(version)
    return {patch: tuple(versions) for patch, versions in found.items()}


_VERSIONS = (
    select(
        Version.id, Version.origin, Version.detail, Version.dump_name, Version.taken, Content.row, Layout.chart,
        Layout.revision, Layout.parameters, Layout.widths, Received.raw, Received.lengths,
    )
    .join(Content, Content.id == Version.content_id)
    .join(Layout, Layout.id == Content.layout_id)
    .outerjoin(Received, Received.id == Version.received_id)
)  # fmt: skip


_VERSIONS_BY_ID = _VERSIONS.where(sqlite.in_named_ids(Version.id), Version.state == LIVE)


def versions(connection: Connection, ids: Sequence[int]) -> dict[int, VersionContent]:
    """Version id -> its whole content, by one query."""
    rows = connection.execute(_VERSIONS_BY_ID, {"ids": sqlite.listed(ids)}).all()
    with as_kept():
        return {row.id: _version(row) for row in rows}


def version(connection: Connection, version_id: int) -> VersionContent:
    """The whole content of one version. Raises `Refused` when there is none."""
    found = versions(connection, [version_id]).get(version_id)
    if found is None:
        raise Refused(f"There is no version number {version_id} in this library.")
    return found


def _version(row: Any) -> VersionContent:
    layout = read_layout(row.chart, row.revision, row.parameters, row.widths)
    values, unknown = layout.unpack(row.row)
    return VersionContent(
        chart=row.chart,
        revision=row.revision,
        values=values,
        unknown=unknown,
        received=cut(row.raw, row.lengths) if row.raw is not None else (),
        origin=Origin(row.origin, row.detail),
        name=row.dump_name,
        taken=moment(row.taken),
    )


_TOTAL = select(func.count()).select_from(Patch).where(Patch.state == bindparam("state"))


def total(connection: Connection, *, trash: bool = False) -> int:
    """How many patches there are."""
    return int(connection.execute(_TOTAL, {"state": TRASHED if trash else LIVE}).scalar_one())


def all_tags(connection: Connection) -> list[tuple[str, int]]:
    """Every tag in use with the number of live patches, most used first, then by name."""
    count = func.count().label("count")
    query = (
        select(Tag.name, count)
        .join(PatchTag, PatchTag.tag_id == Tag.id)
        .join(Patch, Patch.id == PatchTag.patch_id)
        .where(Patch.state == LIVE)
        .group_by(Tag.id)
        .order_by(count.desc(), Tag.key)
    )
    return [(name, number) for name, number in connection.execute(query)]


def saved_searches(connection: Connection) -> tuple[SavedSearchRow, ...]:
    """Saved searches by name."""
    query = select(SavedSearch).where(SavedSearch.state == LIVE).order_by(func.lower(SavedSearch.name), SavedSearch.id)
    return tuple(SavedSearchRow(row.id, row.name, row.text) for row in connection.execute(query))


def unread(connection: Connection) -> tuple[UnreadRow, ...]:
    """Everything that was not understood, oldest first."""
    query = (
        select(Unread.id, Unread.source, Unread.reason, Unread.kept, Received.raw, Received.lengths)
        .join(Received, Received.id == Unread.received_id)
        .where(Unread.state == LIVE)
        .order_by(Unread.id)
    )
    rows = connection.execute(query).all()
    with as_kept():
        return tuple(
            UnreadRow(row.id, cut(row.raw, row.lengths), row.source, row.reason, moment(row.kept)) for row in rows
        )


def same_values(connection: Connection) -> list[list[int]]:
    """Groups of live patches whose latest values are equal to the last one, larger groups first."""
    many = select(Patch.content_id).where(Patch.state == LIVE).group_by(Patch.content_id).having(func.count() > 1)
    query = (
        select(Patch.content_id, Patch.id)
        .where(Patch.state == LIVE, Patch.content_id.in_(many))
        .order_by(Patch.content_id, Patch.name_order, Patch.id)
    )
    groups: dict[int, list[int]] = {}
    for content, patch in connection.execute(query):
        groups.setdefault(content, []).append(patch)
    return sorted(groups.values(), key=lambda group: -len(group))
