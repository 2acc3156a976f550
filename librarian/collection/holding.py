"""Which patches hold a given content already, and which are called so: what an import asks before it keeps anything."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import NamedTuple

from sqlalchemy import Connection, select

from librarian.messages import Version as VersionContent

from . import sqlite
from .content import Contents
from .folding import clean_name, order_key
from .schema import LIVE, TRASHED, Content, Patch, Version

_PORTION = 4000


class Held(NamedTuple):
    """A version that holds the content asked for, with its patch and that patch's name. `taken`: as it is stored."""

    version: int
    patch: int
    name: str
    instrument: int
    taken: int


def holders(
    connection: Connection, versions: Sequence[VersionContent], *, trash: bool = False
) -> list[tuple[Held, ...]]:
    """For each content: the versions that hold the same values of the same chart revision.

    Those of patches outside the trash, or with `trash` of those inside too. Equal contents share one tuple: there may
    be very many sounds that are the same.
    """
    contents = Contents(connection)
    states = (LIVE, TRASHED) if trash else (LIVE,)
    found: list[tuple[Held, ...]] = []
    for start in range(0, len(versions), _PORTION):
        keys = contents.digests(versions[start : start + _PORTION])
        there: dict[bytes, list[Held]] = {}
        query = (
            select(Content.digest, Version.id, Patch.id, Patch.name, Patch.instrument_id, Version.taken)
            .join(Version, Version.content_id == Content.id)
            .join(Patch, Patch.id == Version.patch_id)
            .where(sqlite.in_digests(Content.digest, set(keys)), Version.state == LIVE, Patch.state.in_(states))
            .order_by(Version.id)
        )
        for key, version, patch, name, instrument, taken in connection.execute(query):
            there.setdefault(key, []).append(Held(version, patch, name, instrument, taken))
        shared = {key: tuple(some) for key, some in there.items()}
        found.extend(shared.get(key, ()) for key in keys)
    return found


def called(connection: Connection, instrument: int, names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Exact name as kept -> ids of the patches of this instrument outside the trash."""
    found: dict[str, tuple[int, ...]] = {}
    source = iter(names)
    while portion := list(islice(source, _PORTION)):
        wanted = {clean_name(name, cut=True) for name in portion}
        # equal names sort alike, and that is what an index knows
        keys = {order_key(name) for name in wanted}
        query = select(Patch.name, Patch.id).where(
            Patch.instrument_id == instrument, Patch.state == LIVE, sqlite.in_texts(Patch.name_order, keys)
        )
        here: dict[str, list[int]] = {}
        for name, patch in connection.execute(query.order_by(Patch.id)):
            if name in wanted:
                here.setdefault(name, []).append(patch)
        found.update((name, tuple(patches)) for name, patches in here.items())
    return found
