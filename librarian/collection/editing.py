"""Edits of what is kept: names, tags, notes, the trash, merging. Each is undone as one step, whatever its size."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import InstrumentedAttribute

from librarian.errors import BadInput, Refused

from . import sqlite
from .changes import spellings
from .folding import MOST_TAGS, clean, clean_name, clean_note, clean_tag, few_enough, tag_key
from .journal import Pending
from .query.tokens import LONGEST_LINE
from .schema import (
    LIVE,
    TRASHED,
    WITHDRAWN,
    Content,
    Patch,
    PatchTag,
    Received,
    SavedSearch,
    Tag,
    Unread,
    Version,
)

T = TypeVar("T")


def rename(pending: Pending, names: Mapping[int, str], was: str | None) -> None:
    """New names. `was`: the name as the person saw it; if it is another by now, the edit is refused."""
    before = _column(pending, Patch.name, names)
    for patch, name in names.items():
        if was is not None and before[patch] != was:
            raise Refused(
                f"“{was}” was renamed to “{before[patch]}” by another program meanwhile.", "Look, then rename again."
            )
        if not clean_name(name):
            raise BadInput("A patch needs a name.")
    pending.make("patch.name", list(names), [before[patch] for patch in names], [clean_name(n) for n in names.values()])


def set_note(pending: Pending, patch: int, note: str, was: str | None) -> None:
    """Another note. `was`: the note as the person saw it; if it is another by now, the edit is refused."""
    before = _column(pending, Patch.note, [patch])[patch]
    if was is not None and before != was:
        raise Refused(
            "The note was changed by another program meanwhile; nothing was replaced.", "Look, then write it again."
        )
    pending.make("patch.note", [patch], [before], [clean_note(note)])


def tag(pending: Pending, patches: Iterable[int], add: Sequence[str], remove: Sequence[str]) -> None:
    """Add tags at the end, take tags away; other tags and their order stay."""
    ids = sorted(set(patches))
    before = {patch: tags.split("\n") if tags else [] for patch, tags in _column(pending, Patch.tags, ids).items()}
    gone = {tag_key(clean_tag(name)) for name in remove}
    new = spellings(pending.connection, add)
    after = {}
    for patch, tags in before.items():
        kept = [name for name in tags if tag_key(name) not in gone]
        has = {tag_key(name) for name in kept}
        added = kept + [name for key, name in new.items() if key not in has]
        after[patch] = few_enough(added, max(MOST_TAGS, len(tags)))  # what has more already can lose some
    pending.make("patch.tags", list(before), list(before.values()), [after[patch] for patch in before])


def rename_tag(pending: Pending, name: str, to: str) -> None:
    """Another name for a tag and, as tags are paths, for those below it. An existing one takes the patches over."""
    old, new = clean_tag(name), clean_tag(to)
    connection = pending.connection
    names = {
        row.name: "/".join([new, *row.name.split("/")[old.count("/") + 1 :]])
        for row in connection.execute(select(Tag.name, Tag.key))
        if row.key == tag_key(old) or row.key.startswith(tag_key(old) + "/")
    }
    # Only a change of spelling keeps the spelling asked for; another tag's patches keep theirs.
    known = spellings(connection, names.values())
    targets = {
        one: target if tag_key(target) == tag_key(one) else known[tag_key(target)] for one, target in names.items()
    }
    patches = connection.execute(
        select(PatchTag.patch_id)
        .join(Tag, Tag.id == PatchTag.tag_id)
        .join(Patch, Patch.id == PatchTag.patch_id)
        .where(sqlite.in_texts(Tag.name, names), Patch.state != WITHDRAWN)
    ).scalars()
    before = {patch: tags.split("\n") for patch, tags in _column(pending, Patch.tags, patches).items()}
    if not before:
        raise Refused(f"No patch has the tag “{old}”.")
    after = [_once(targets.get(each, each) for each in tags) for tags in before.values()]
    pending.make("patch.tags", list(before), list(before.values()), after)


def _once(tags: Iterable[str]) -> list[str]:
    """Without tags that are the same to a person; the first place and the last spelling stay."""
    kept: dict[str, str] = {}
    for name in tags:
        kept[tag_key(name)] = name
    return list(kept.values())


def move(pending: Pending, patches: Iterable[int], state: int) -> int:
    """Into the trash or out of it; returns how many moved."""
    ids = sorted(set(patches))
    before = _column(pending, Patch.state, ids)
    pending.make("patch.state", list(before), list(before.values()), [state] * len(before))
    return sum(old != state for old in before.values())


def set_version_note(pending: Pending, version: int, note: str) -> None:
    """A remark at one version."""
    before = pending.connection.execute(
        select(Version.note).where(Version.id == version, Version.state == LIVE)
    ).scalar()
    if before is None:
        raise Refused(f"There is no version number {version} in this library.")
    pending.make("version.note", [version], [before], [clean_note(note)])


def merge(pending: Pending, into: int, others: Iterable[int]) -> None:
    """One patch out of several: versions by time, all tags, the other names in the note. The others go to the trash.

    Versions are rows of a few numbers that point at contents, so copying them costs nothing and the others stay
    whole in the trash.
    """
    connection = pending.connection
    ids = [patch for patch in dict.fromkeys(others) if patch != into]
    rows = {
        row.id: row
        for row in connection.execute(
            select(Patch.id, Patch.name, Patch.tags, Patch.note, Patch.latest_id, Patch.instrument_id).where(
                sqlite.in_ids(Patch.id, [into, *ids]), Patch.state != WITHDRAWN
            )
        )
    }
    if into not in rows or len(rows) != len(ids) + 1:
        raise Refused("One of these patches is no longer in the library.")
    target = rows[into]
    if any(row.instrument_id != target.instrument_id for row in rows.values()):
        raise Refused("Only sounds of one instrument can become one patch.")
    _copy_versions(pending, into, {patch: rows[patch].name for patch in ids})
    tag(pending, [into], [name for patch in ids for name in rows[patch].tags.split("\n") if name], ())
    names = [rows[patch].name for patch in ids if rows[patch].name != target.name]
    notes = [target.note, *(rows[patch].note for patch in ids)]
    also = f"Also called: {', '.join(dict.fromkeys(names))}" if names else ""
    set_note(pending, into, "\n".join(dict.fromkeys(text for text in (*notes, also) if text)), None)
    move(pending, ids, TRASHED)


def _copy_versions(pending: Pending, into: int, names: Mapping[int, str]) -> None:
    """Append the other patches' versions, oldest first; what was the content of `into` stays its content."""
    connection = pending.connection
    columns = Version.__table__.columns.keys()
    copied = connection.execute(
        select(Version.__table__)
        .where(sqlite.in_ids(Version.patch_id, names), Version.state == LIVE)
        .order_by(Version.taken, Version.id)
    ).mappings()
    number = connection.execute(select(func.max(Version.number)).where(Version.patch_id == into)).scalar_one()
    first = sqlite.next_id(connection, Version)
    rows = []
    for place, row in enumerate(copied):
        note = "\n".join(part for part in (row["note"], f"From “{names[row['patch_id']]}”") if part)
        changed = {
            "id": first + place,
            "patch_id": into,
            "number": number + place + 1,
            "parent_id": row["id"],
            "note": note,
        }
        rows.append([changed.get(column, row[column]) for column in columns])
    latest = connection.execute(select(Patch.latest_id).where(Patch.id == into)).scalar_one()
    sqlite.insert_many(connection, Version, columns, rows)
    last = first + len(rows)
    pending.made("version.state", range(first, last), WITHDRAWN, LIVE)
    # The content stays the newest of the line: one more version equal to what it was before.
    same = connection.execute(select(Version.__table__).where(Version.id == latest)).mappings().one()
    changed = {"id": last, "number": number + len(rows) + 1, "parent_id": latest, "kept": pending.at, "note": ""}
    sqlite.insert_many(connection, Version, columns, [[changed.get(column, same[column]) for column in columns]])
    pending.made("version.state", [last], WITHDRAWN, LIVE)
    pending.make("patch.latest", [into], [latest], [last])


def save_search(pending: Pending, name: str, text: str) -> int:
    """Keep a search line under a name; the same name replaces its text. Returns its id."""
    tidy = clean_name(name)
    if not tidy:
        raise BadInput("A saved search needs a name.")
    text = clean(text)[:LONGEST_LINE]
    connection = pending.connection
    known = connection.execute(
        select(SavedSearch.id, SavedSearch.text).where(SavedSearch.name == tidy, SavedSearch.state == LIVE)
    ).first()
    if known is not None:
        pending.make("search.fields", [known.id], [{"text": known.text}], [{"text": text}])
        return int(known.id)
    made = connection.execute(insert(SavedSearch).values(name=tidy, text=text, state=LIVE)).inserted_primary_key
    assert made is not None
    pending.made("search.fields", [made[0]], {"state": WITHDRAWN}, {"state": LIVE})
    return int(made[0])


def forget_search(pending: Pending, search: int) -> None:
    """Take a saved search away."""
    pending.make("search.fields", [search], [{"state": LIVE}], [{"state": WITHDRAWN}])


def forget_unread(pending: Pending, ids: Iterable[int]) -> None:
    """These bytes are understood by now, or not wanted."""
    some = sorted(set(ids))
    pending.make("unread.state", some, [LIVE] * len(some), [WITHDRAWN] * len(some))


def empty_trash(pending: Pending) -> int:
    """Delete for good what is in the trash, and what undo withdrew. Cannot be undone; returns how many patches went.

    Contents and bytes that no version points at any more go too.
    """
    connection = pending.connection
    count = connection.execute(select(func.count()).select_from(Patch).where(Patch.state == TRASHED)).scalar_one()
    gone = select(Patch.id).where(Patch.state != LIVE)
    dead = select(Version.id).where((Version.patch_id.in_(gone)) | (Version.state == WITHDRAWN))
    connection.execute(delete(PatchTag).where(PatchTag.patch_id.in_(gone)))
    connection.execute(update(Version).where(Version.parent_id.in_(dead)).values(parent_id=None))
    connection.execute(delete(Version).where(Version.id.in_(dead)))
    connection.execute(delete(Patch).where(Patch.state != LIVE))
    connection.execute(delete(Unread).where(Unread.state == WITHDRAWN))
    connection.execute(delete(SavedSearch).where(SavedSearch.state == WITHDRAWN))
    connection.execute(delete(Content).where(Content.id.not_in(select(Version.content_id))))
    used = select(Version.received_id).where(Version.received_id.is_not(None)).union(select(Unread.received_id))
    connection.execute(delete(Received).where(Received.id.not_in(used)))
    connection.execute(delete(Tag).where(Tag.id.not_in(select(PatchTag.tag_id))))
    pending.final = True
    return int(count)


def _column(pending: Pending, column: InstrumentedAttribute[T], ids: Iterable[int]) -> dict[int, T]:
    """Id -> value of one column, ascending. Refuses when one is gone."""
    wanted = sorted(set(ids))
    rows = pending.connection.execute(
        select(Patch.id, column)
        .where(sqlite.in_ids(Patch.id, wanted), Patch.state != WITHDRAWN)
        .order_by(Patch.id)
    )  # fmt: skip
    found: dict[int, T] = dict(rows.all())
    if len(found) != len(wanted):
        missing = len(wanted) - len(found)
        raise Refused(
            f"{missing} of these patches {'is' if missing == 1 else 'are'} no longer in the library."
            if len(wanted) > 1
            else "That patch is no longer in the library."
        )
    return found
