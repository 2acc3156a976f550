"""The kinds of change an intent can consist of, each as one function that sets rows to given values.

The same function serves doing, undoing and redoing: only the values differ. A kind that is not here cannot be
undone, so every edit goes through here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, delete, func, select, update

from . import sqlite
from .folding import clean_tag, order_key, tag_key, words
from .schema import LIVE, Instrument, Patch, PatchTag, SavedSearch, Tag, Unread, Version

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
    spelled = dict(connection.execute(select(Tag.id, Tag.name)).tuples().all())
    for start in range(0, len(ids), PORTION):
        some = ids[start : start + PORTION]
        connection.execute(delete(PatchTag).where(sqlite.in_ids(PatchTag.patch_id, some)))
    numbered = [list(dict.fromkeys(known[tag_key(clean_tag(tag))] for tag in some)) for some in tags]
    sqlite.insert_many(connection, PatchTag,
        ("patch_id", "tag_id", "position"),
        (
            (patch, tag, place)
            for patch, some in zip(ids, numbered, strict=True)
            for place, tag in enumerate(some)
        ),
    )  # fmt: skip
    sqlite.update_many(
        connection,
        "UPDATE patch SET tags = ? WHERE id = ?",
        (("\n".join(spelled[tag] for tag in some), patch) for patch, some in zip(ids, numbered, strict=True)),
    )
    reindex(connection, ids)


def set_patch_latest(connection: Connection, ids: Sequence[int], versions: Sequence[int]) -> None:
    """Which version is the content of the patch; what the list repeats of it follows."""
    sqlite.update_many(connection, "UPDATE patch SET latest_id = ? WHERE id = ?", zip(versions, ids, strict=True))
    sqlite.update_many(
        connection,
        "UPDATE patch SET (content_id, unknown, origin, taken) = (SELECT version.content_id, content.unknown, "
        "version.origin, version.taken FROM version JOIN content ON content.id = version.content_id "
        "WHERE version.id = patch.latest_id), "
        "versions = (SELECT count(*) FROM version WHERE version.patch_id = patch.id AND version.state = 0) "
        "WHERE id = ?",
        ((patch,) for patch in ids),
    )


def _setter(statement: str) -> Setter:
    def set_it(connection: Connection, ids: Sequence[int], values: Sequence[Any]) -> None:
        sqlite.update_many(connection, statement, zip(values, ids, strict=True))

    return set_it


def set_instrument(connection: Connection, ids: Sequence[int], fields: Sequence[dict[str, Any]]) -> None:
    """Any columns of an instrument, by name."""
    for instrument, some in zip(ids, fields, strict=True):
        connection.execute(update(Instrument).where(Instrument.id == instrument).values(**some))


def set_tag_name(connection: Connection, ids: Sequence[int], names: Sequence[str]) -> None:
    """Another spelling or another name for a tag, everywhere it is used."""
    for tag, name in zip(ids, names, strict=True):
        connection.execute(update(Tag).where(Tag.id == tag).values(name=name, key=tag_key(name)))
        respell(connection, select(PatchTag.patch_id).where(PatchTag.tag_id == tag))


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
    "version.state": _setter(f"UPDATE {Version.__tablename__} SET state = ? WHERE id = ?"),
    "version.note": _setter(f"UPDATE {Version.__tablename__} SET note = ? WHERE id = ?"),
    "instrument.fields": set_instrument,
    "tag.name": set_tag_name,
    "search.fields": set_search,
    "unread.state": _setter(f"UPDATE {Unread.__tablename__} SET state = ? WHERE id = ?"),
}


def apply(connection: Connection, change: int, now: int, kind: str, ids: Sequence[int], values: Sequence[Any]) -> None:
    """Set `values` (one per id) and mark the patches as changed. Ids that are gone for good are passed over."""
    SETTERS[kind](connection, ids, values)
    if kind.startswith("patch."):
        touch(connection, change, now, ids)
    elif kind == "tag.name":
        for tag in ids:
            touched = connection.execute(select(PatchTag.patch_id).where(PatchTag.tag_id == tag)).scalars().all()
            touch(connection, change, now, touched)


def touch(connection: Connection, change: int, now: int, ids: Sequence[int]) -> None:
    """Let every open window know which patches are no longer as it read them."""
    sqlite.update_many(
        connection, "UPDATE patch SET change = ?, changed = ? WHERE id = ?", ((change, now, patch) for patch in ids)
    )


# ---- tags ---------------------------------------------------------------------------------------------------------


def tag_ids(connection: Connection, names: Iterable[str]) -> dict[str, int]:
    """Key -> id of every tag among `names`; new ones are made. An existing spelling stays."""
    wanted: dict[str, str] = {}
    for name in names:
        tidy = clean_tag(name)
        wanted.setdefault(tag_key(tidy), tidy)
    if not wanted:
        return {}
    found: dict[str, int] = dict(
        connection.execute(select(Tag.key, Tag.id).where(sqlite.in_texts(Tag.key, wanted))).tuples().all()
    )
    missing = [key for key in wanted if key not in found]
    if missing:
        first = sqlite.next_id(connection, Tag)
        rows = [(first + place, wanted[key], key) for place, key in enumerate(missing)]
        sqlite.insert_many(connection, Tag, ("id", "name", "key"), rows)
        found.update((key, tag) for tag, _, key in rows)
    return found


def respell(connection: Connection, patches: Any) -> None:
    """Write `patch.tags` of these patches (a select of ids) anew from their tag rows."""
    ids: list[int] = list(connection.execute(patches).scalars())
    for start in range(0, len(ids), PORTION):
        some = ids[start : start + PORTION]
        listed: dict[int, list[str]] = {patch: [] for patch in some}
        rows = connection.execute(
            select(PatchTag.patch_id, Tag.name)
            .join(Tag, Tag.id == PatchTag.tag_id)
            .where(sqlite.in_ids(PatchTag.patch_id, some))
            .order_by(PatchTag.patch_id, PatchTag.position)
        )
        for patch, name in rows.tuples():
            listed[patch].append(name)
        sqlite.update_many(
            connection,
            "UPDATE patch SET tags = ? WHERE id = ?",
            (("\n".join(names), patch) for patch, names in listed.items()),
        )
    reindex(connection, ids)


# ---- words --------------------------------------------------------------------------------------------------------


def word_row(patch: int, name: str, tags: str, note: str) -> tuple[int, str, str, str]:
    """What the index holds of one patch; `tags` joined by line feeds as in the table."""
    return (
        patch,
        " ".join(words(name)),
        f" {sqlite.BETWEEN} ".join(" ".join(words(tag)) for tag in tags.split("\n")) if tags else "",
        " ".join(words(note)),
    )


def reindex(connection: Connection, ids: Sequence[int]) -> None:
    """Bring the index of these patches up to date; only live ones are in it."""
    for start in range(0, len(ids), PORTION):
        some = ids[start : start + PORTION]
        sqlite.forget_words(connection, some)
        rows = connection.execute(
            select(Patch.id, Patch.name, Patch.tags, Patch.note).where(
                sqlite.in_ids(Patch.id, some), Patch.state == LIVE
            )
        ).all()
        sqlite.index_words(connection, (word_row(row.id, row.name, row.tags, row.note) for row in rows))


def count_live(connection: Connection) -> int:
    """How many patches are neither in the trash nor withdrawn."""
    return int(connection.execute(select(func.count()).select_from(Patch).where(Patch.state == LIVE)).scalar_one())
