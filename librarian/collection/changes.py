"""The kinds of change an intent can consist of, each as one function that sets rows to given values.

The same function serves doing, undoing and redoing: only the values differ. A kind that is not here cannot be
undone, so every edit goes through here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, delete, exists, select, update

from . import sqlite
from .folding import clean_tag, order_key, tag_key, words
from .schema import LIVE, WITHDRAWN, Instrument, Patch, PatchTag, SavedSearch, Tag, Unread, Version

Setter = Callable[[Connection, Sequence[int], Sequence[Any]], None]

#: Patches per round, so that bulk edits of any size need bounded memory.
PORTION = 2000


def set_patch_state(connection: Connection, ids: Sequence[int], states: Sequence[int]) -> None:
    """Live, in the trash, withdrawn."""
    sqlite.update_many(connection, "UPDATE patch SET state = ? WHERE id = ?", zip(states, ids, strict=True))
    reindex(connection, ids)


def set_patch_name(connection: Connection, ids: Sequence[int], names: Sequence[str]) -> None:
    """The name, and with it the place in the list."""
    sqlite.update_many(
        connection,
        "UPDATE patch SET name = ?, name_order = ? WHERE id = ?",
        ((name, order_key(name), patch) for name, patch in zip(names, ids, strict=True)),
    )
    reindex(connection, ids)


def set_patch_note(connection: Connection, ids: Sequence[int], notes: Sequence[str]) -> None:
    """The note of the patch (versions have notes of their own)."""
    sqlite.update_many(connection, "UPDATE patch SET note = ? WHERE id = ?", zip(notes, ids, strict=True))
    reindex(connection, ids)


def set_patch_tags(connection: Connection, ids: Sequence[int], tags: Sequence[Sequence[str]]) -> None:
    """All tags of each patch, in order."""
    known = tag_ids(connection, (tag for some in tags for tag in some))
    for start in range(0, len(ids), PORTION):
        connection.execute(delete(PatchTag).where(sqlite.in_ids(PatchTag.patch_id, ids[start : start + PORTION])))
    sqlite.insert_many(connection, PatchTag,
        ("patch_id", "tag_id", "position"),
        (
            (patch, known[tag], place)
            for patch, some in zip(ids, tags, strict=True)
            for place, tag in enumerate(some)
        ),
    )  # fmt: skip
    sqlite.update_many(
        connection,
        "UPDATE patch SET tags = ? WHERE id = ?",
        (("\n".join(some), patch) for patch, some in zip(ids, tags, strict=True)),
    )
    reindex(connection, ids)


def set_patch_latest(connection: Connection, ids: Sequence[int], versions: Sequence[int]) -> None:
    """Which version is the content of the patch; what the list repeats of it follows."""
    sqlite.update_many(connection, "UPDATE patch SET latest_id = ? WHERE id = ?", zip(versions, ids, strict=True))
    sqlite.update_many(
        connection,
        "UPDATE patch SET (content_id, unknown, origin, taken) = (SELECT version.content_id, content.unknown, "
        "version.origin, version.taken FROM version JOIN content ON content.id = version.content_id "
        "WHERE version.id = patch.latest_id) WHERE id = ?",
        ((patch,) for patch in ids),
    )


def set_version_state(connection: Connection, ids: Sequence[int], states: Sequence[int]) -> None:
    """Live or withdrawn; the patch's count of versions follows."""
    sqlite.update_many(connection, "UPDATE version SET state = ? WHERE id = ?", zip(states, ids, strict=True))
    count_versions(connection, ids)


def count_versions(connection: Connection, versions: Sequence[int]) -> None:
    """Bring the count of versions of these versions' patches up to date."""
    sqlite.update_many(
        connection,
        "UPDATE patch SET versions = (SELECT count(*) FROM version WHERE version.patch_id = patch.id "
        "AND version.state = 0) WHERE id = (SELECT patch_id FROM version WHERE id = ?)",
        ((version,) for version in versions),
    )


def _setter(statement: str) -> Setter:
    def set_it(connection: Connection, ids: Sequence[int], values: Sequence[Any]) -> None:
        sqlite.update_many(connection, statement, zip(values, ids, strict=True))

    return set_it


def set_instrument(connection: Connection, ids: Sequence[int], fields: Sequence[dict[str, Any]]) -> None:
    """Any columns of an instrument, by name."""
    for instrument, some in zip(ids, fields, strict=True):
        connection.execute(update(Instrument).where(Instrument.id == instrument).values(**some))


def set_search(connection: Connection, ids: Sequence[int], fields: Sequence[dict[str, Any]]) -> None:
    """Name and text of a saved search."""
    for search, some in zip(ids, fields, strict=True):
        connection.execute(update(SavedSearch).where(SavedSearch.id == search).values(**some))


SETTERS: dict[str, Setter] = {
    "patch.state": set_patch_state,
    "patch.name": set_patch_name,
    "patch.note": set_patch_note,
    "patch.tags": set_patch_tags,
    "patch.latest": set_patch_latest,
    "version.state": set_version_state,
    "version.note": _setter(f"UPDATE {Version.__tablename__} SET note = ? WHERE id = ?"),
    "instrument.fields": set_instrument,
    "search.fields": set_search,
    "unread.state": _setter(f"UPDATE {Unread.__tablename__} SET state = ? WHERE id = ?"),
}


def apply(connection: Connection, change: int, now: int, kind: str, ids: Sequence[int], values: Sequence[Any]) -> None:
    """Set `values` (one per id) and mark the patches as changed. Ids that are gone for good are passed over."""
    SETTERS[kind](connection, ids, values)
    if kind.startswith("patch."):
        touch(connection, change, now, ids)


def touch(connection: Connection, change: int, now: int, ids: Sequence[int]) -> None:
    """Let every open window know which patches are no longer as it read them."""
    sqlite.update_many(
        connection, "UPDATE patch SET change = ?, changed = ? WHERE id = ?", ((change, now, patch) for patch in ids)
    )


# ---- tags ---------------------------------------------------------------------------------------------------------


def tag_ids(connection: Connection, names: Iterable[str]) -> dict[str, int]:
    """Name -> id of each tag in exactly this spelling; new ones are made."""
    wanted = list(dict.fromkeys(names))
    if not wanted:
        return {}
    found: dict[str, int] = dict(
        connection.execute(select(Tag.name, Tag.id).where(sqlite.in_texts(Tag.name, wanted))).all()
    )
    missing = [name for name in wanted if name not in found]
    if missing:
        first = sqlite.next_id(connection, Tag)
        rows = [(first + place, name, tag_key(name)) for place, name in enumerate(missing)]
        sqlite.insert_many(connection, Tag, ("id", "name", "key"), rows)
        found.update((name, tag) for tag, name, _ in rows)
    return found


def spellings(connection: Connection, names: Iterable[str]) -> dict[str, str]:
    """Key -> the tag as kept: as some patch has it already, whatever its capitals and accents; else as typed."""
    typed: dict[str, str] = {}
    for name in map(clean_tag, names):
        typed.setdefault(tag_key(name), name)
    worn = exists().where(PatchTag.tag_id == Tag.id, Patch.id == PatchTag.patch_id, Patch.state != WITHDRAWN)
    used = select(Tag.key, Tag.name).where(sqlite.in_texts(Tag.key, typed), worn).order_by(Tag.id.desc())
    return typed | dict(connection.execute(used).all())


# ---- words --------------------------------------------------------------------------------------------------------


def word_row(patch: int, name: str, tags: str, note: str) -> tuple[int, str, str, str]:
    """What the index holds of one patch; `tags` joined by line feeds as in the table."""
    return patch, " ".join(words(name)), tag_words(tags), " ".join(words(note)) if note else ""


@lru_cache(maxsize=4096)
def tag_words(tags: str) -> str:
    """The words of tags, with a sign between two tags over which no phrase goes."""
    return f" {sqlite.BETWEEN} ".join(" ".join(words(tag)) for tag in tags.split("\n")) if tags else ""


def reindex(connection: Connection, ids: Sequence[int]) -> None:
    """Bring the index of these patches up to date; only live ones are in it."""
    for start in range(0, len(ids), PORTION):
        some = ids[start : start + PORTION]
        sqlite.forget_words(connection, some)
        # The state is looked at here: asked for it, SQLite would go through the index of names instead of these ids.
        rows = connection.execute(
            select(Patch.id, Patch.name, Patch.tags, Patch.note, Patch.state).where(sqlite.in_ids(Patch.id, some))
        ).all()
        sqlite.index_words(
            connection, (word_row(row.id, row.name, row.tags, row.note) for row in rows if row.state == LIVE)
        )
