"""New patches and new versions: what comes in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import islice

from sqlalchemy import Connection, func, select

from librarian.errors import BadInput, Refused
from librarian.messages import Origin
from librarian.messages import Version as VersionContent

from . import reading, sqlite
from .changes import spellings, tag_ids, tag_words
from .content import Contents, Stored
from .folding import clean, clean_name, clean_note, clean_tag, clean_tags, order_of, tag_key, words
from .journal import Pending
from .records import NewPatch, microseconds
from .schema import LIVE, WITHDRAWN, Instrument, Patch, PatchTag, Unread, Version

#: Sounds per round of a bulk keep: large enough for speed, small enough for bounded memory.
PORTION = 10000

#: What a sound is called that came without a name.
NAMELESS = "Unnamed"

_PATCH_COLUMNS = (
    "id", "instrument_id", "name", "name_order", "tags", "note", "state", "latest_id", "content_id", "origin",
    "unknown", "versions", "taken", "changed", "change",
)  # fmt: skip
_VERSION_COLUMNS = (
    "id", "patch_id", "number", "content_id", "received_id", "parent_id", "origin", "detail", "dump_name", "note",
    "taken", "kept", "state",
)  # fmt: skip

Progress = Callable[[int], None]


def keep_many(pending: Pending, sounds: Iterable[NewPatch], progress: Progress | None = None) -> range:
    """New patches with one version each; returns their ids, which follow each other.

    `progress` is told how many are kept so far and may raise `Cancelled`: then nothing at all is kept.
    """
    connection = pending.connection
    first = sqlite.next_id(connection, Patch)
    contents, tags = Contents(connection), _Tags(connection)
    source = iter(sounds)
    instruments = set(connection.execute(select(Instrument.id).where(Instrument.state != WITHDRAWN)).scalars())
    done = 0
    while portion := list(islice(source, PORTION)):
        for sound in portion:
            if sound.instrument not in instruments:
                raise Refused(f"There is no instrument number {sound.instrument} in this library.")
        _insert(pending, portion, first + done, contents, tags)
        done += len(portion)
        if progress is not None:
            progress(done)
    made = range(first, first + done)
    if done:
        pending.made("patch.state", made, WITHDRAWN, LIVE)
    return made


def _insert(pending: Pending, portion: Sequence[NewPatch], first: int, contents: Contents, tags: _Tags) -> None:
    connection = pending.connection
    stored = contents.store([sound.version for sound in portion])
    first_version = sqlite.next_id(connection, Version)
    patches: list[tuple[object, ...]] = []
    versions: list[tuple[object, ...]] = []
    indexed: list[tuple[int, str, str, str]] = []
    tagged: list[tuple[int, int, int]] = []
    tags.learn(name for sound in portion for name in sound.tags)
    for place, (sound, content) in enumerate(zip(portion, stored, strict=True)):
        patch, version = first + place, first_version + place
        name, note = clean_name(sound.name, cut=True) or NAMELESS, clean_note(sound.note)
        tag_list = tags.of(sound.tags)
        tag_text = "\n".join(name for _, name in tag_list)
        folded = words(name)
        taken = microseconds(sound.version.taken)
        patches.append(
            (patch, sound.instrument, name, order_of(folded), tag_text, note, LIVE, version, content.content,
             sound.version.origin.kind, content.unknown, 1, taken, pending.at, pending.change)
        )  # fmt: skip
        versions.append(_version_row(version, patch, 1, content, None, sound.version, "", taken, pending.at))
        indexed.append((patch, " ".join(folded), tag_words(tag_text), " ".join(words(note)) if note else ""))
        tagged.extend((patch, tag, order) for order, (tag, _) in enumerate(tag_list))
    sqlite.insert_many(connection, Patch, _PATCH_COLUMNS, patches)
    sqlite.insert_many(connection, Version, _VERSION_COLUMNS, versions)
    sqlite.insert_many(connection, PatchTag, ("patch_id", "tag_id", "position"), tagged)
    sqlite.index_words(connection, indexed)


def _version_row(
    version: int,
    patch: int,
    number: int,
    content: Stored,
    parent: int | None,
    given: VersionContent,
    note: str,
    taken: int,
    kept: int,
) -> tuple[object, ...]:
    origin, detail = given.origin.kind, _text(given.origin.detail)
    return (version, patch, number, content.content, content.received, parent, origin, detail, _text(given.name), note,
            taken, kept, LIVE)  # fmt: skip


def _text(text: str) -> str:
    """Text from outside as it came, if SQLite can keep it so; dump names may end in spaces that mean something."""
    return text if text.isprintable() else clean(text)


class _Tags:
    """Tag ids by spelling within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._known: dict[str, tuple[int, str]] = {}
        self._lists: dict[tuple[str, ...], list[tuple[int, str]]] = {}

    def of(self, names: Sequence[str]) -> list[tuple[int, str]]:
        """(id, name as kept) of each tag, all learnt before, without repeats."""
        key = tuple(names)
        found = self._lists.get(key)
        if found is None:
            found = list(dict.fromkeys(self._known[tag_key(name)] for name in clean_tags(key)))
            if len(self._lists) < 10000:
                self._lists[key] = found
        return found

    def learn(self, names: Iterable[str]) -> None:
        """Find or make these, all at once: a table may bring another tag in every row."""
        new = [name for name in dict.fromkeys(names) if tag_key(clean_tag(name)) not in self._known]
        spelled = spellings(self._connection, new)
        ids = tag_ids(self._connection, spelled.values())
        self._known.update((key, (ids[name], name)) for key, name in spelled.items())


def add_version(pending: Pending, patch: int, version: VersionContent, note: str, parent: int | None) -> int:
    """A newer version of a patch, which becomes its content; returns the version's id.

    `parent`: the version it came from; without it, the one that was the latest.
    """
    connection = pending.connection
    row = connection.execute(select(Patch.latest_id, Patch.state).where(Patch.id == patch)).first()
    if row is None or row.state == WITHDRAWN:
        raise Refused("That patch is no longer in the library.")
    if parent is not None:
        known = connection.execute(select(Version.id).where(Version.id == parent)).scalar()
        if known is None:
            raise BadInput(f"There is no version number {parent} in this library.")
    content = Contents(connection).store([version])[0]
    # Withdrawn versions keep their number: redo may bring them back.
    last = connection.execute(select(func.max(Version.number)).where(Version.patch_id == patch)).scalar_one()
    made = sqlite.next_id(connection, Version)
    sqlite.insert_many(connection, Version,
        _VERSION_COLUMNS,
        [
            _version_row(made, patch, last + 1, content, parent or row.latest_id, version, clean_note(note),
                         microseconds(version.taken), pending.at)
        ],
    )  # fmt: skip
    pending.made("version.state", [made], WITHDRAWN, LIVE)
    pending.make("patch.latest", [patch], [row.latest_id], [made])
    return made


def revert(pending: Pending, patch: int, version: int) -> int:
    """A new version with the values and bytes of an earlier one of the same patch; returns its id."""
    connection = pending.connection
    number = connection.execute(
        select(Version.number).where(Version.id == version, Version.patch_id == patch, Version.state == LIVE)
    ).scalar()
    if number is None:
        raise Refused("That version is not one of this patch.", "Choose one of the patch's own versions.")
    content = reading.version(connection, version)
    again = replace(content, origin=Origin("restored", f"version {number}"), taken=datetime.now(UTC))
    return add_version(pending, patch, again, "", version)


def keep_unread(pending: Pending, finds: Iterable[tuple[tuple[bytes, ...], str, str]]) -> range:
    """Bytes that were not understood: (messages, source, reason) each. Returns their ids."""
    rows: Iterator[tuple[tuple[bytes, ...], str, str]] = iter(finds)
    connection = pending.connection
    contents = Contents(connection)
    first = sqlite.next_id(connection, Unread)
    done = 0
    while portion := list(islice(rows, PORTION)):
        received = contents.keep_bytes([messages for messages, _, _ in portion])
        sqlite.insert_many(
            connection,
            Unread,
            ("id", "received_id", "source", "reason", "kept", "state"),
            [
                (first + done + place, number, clean(source), clean(reason), pending.at, LIVE)
                for place, (number, (_, source, reason)) in enumerate(zip(received, portion, strict=True))
            ],
        )
        done += len(portion)
    made = range(first, first + done)
    if done:
        pending.made("unread.state", made, WITHDRAWN, LIVE)
    return made
