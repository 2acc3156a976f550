"""Sounds from files into the library: a preview first, then one step that can be undone, or nothing.

The preview is a frozen value: what is new, what the library holds already, what would become the next version of a
patch, and what was not understood. `apply` does it in one transaction. An import that was cancelled or broken off kept
nothing; started again after it was done, it finds everything there already.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import PurePath
from typing import Literal

from librarian.collection import Library, NewPatch
from librarian.errors import BadInput
from librarian.files.collecting import patiently
from librarian.files.pieces import Source
from librarian.files.planning import Planned, SoundKey, plan, settle
from librarian.files.progress import CancelToken, Going, OnStep
from librarian.files.recognising import NO_MESSAGE, NotUnderstood, Recogniser
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Target
from librarian.messages import Version

OnChanged = Literal["version", "new", "skip"]
"""A changed sound becomes the next version of the patch with its name, a patch of its own, or is left out."""


@dataclass(frozen=True, slots=True)
class Left:
    """What was not understood in one place of a file; `kept_before`: the library has exactly this already."""

    source: str
    found: NotUnderstood
    kept_before: bool


@dataclass(frozen=True)
class Preview:
    """What an import would do. `notes`: sentences about the files. `stamp`: of the library it was compared with.

    `refused`: why one of `files` is none of MIDI messages, by its place; nothing of it is in the rest.
    """

    files: tuple[str, ...]
    sounds: tuple[Planned, ...]
    left: tuple[Left, ...]
    notes: tuple[str, ...]
    targets: tuple[Target, ...] = field(repr=False)
    stamp: int
    at: datetime
    refused: Mapping[int, BadInput] = field(default_factory=dict)

    def count(self, status: str) -> int:
        """How many sounds are "new", "same" or "changed"; messages "not understood"."""
        if status == "not understood":
            return sum(len(each.found.messages) for each in self.left)
        return sum(each.status == status for each in self.sounds)

    @property
    def added(self) -> tuple[Target, ...]:
        """Charts that get an instrument, because sounds of theirs are new and the library has none."""
        used = {each.sound.target for each in self.sounds if each.status != "same"}
        return tuple(each for index, each in enumerate(self.targets) if each.instrument is None and index in used)

    @property
    def sentence(self) -> str:
        """The whole preview in a sentence."""
        parts = [f"{self.count(each)} {each}" for each in ("new", "changed", "same")]
        left = self.count("not understood")
        messages = "message" if left == 1 else "messages"
        return f"{', '.join(parts)}; {left} {messages} not understood"


@dataclass(frozen=True, slots=True)
class Imported:
    """What was done. `patches`: the new ones; `versions`: patch -> its new version; `unread`: kept, not understood."""

    patches: range
    versions: dict[int, int]
    unread: range
    same: int
    skipped: int
    instruments: tuple[int, ...]
    sentence: str


def preview(
    library: Library,
    sources: Sequence[Source],
    targets: Sequence[Target],
    *,
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Preview:
    """Look what is in the files and compare it with the library. Nothing is kept.

    Raises Cancelled; BadInput where none of the files holds a message.
    """
    with patiently():
        return _preview(library, sources, targets, cancel, progress)


def _preview(
    library: Library,
    sources: Sequence[Source],
    targets: Sequence[Target],
    cancel: CancelToken | None,
    progress: OnStep | None,
) -> Preview:
    stamp, at = library.stamp(), datetime.now(UTC)
    going = Going(cancel, progress)
    sounds: list[Planned] = []
    left: list[Left] = []
    notes: list[str] = []
    refused: dict[int, BadInput] = {}
    known = {_digest(row.messages) for row in library.unread()}
    seen: set[SoundKey] = set()
    for place, source in enumerate(sources):
        reader = SoundReader(targets, PurePath(source.name).stem, at, place)
        here: list[NotUnderstood] = []
        found = _understood(source, Recogniser(targets, reader), here, going)
        before = len(sounds)
        sounds.extend(plan(library, found, targets, reader, seen))
        if len(sounds) == before and all(each.reason == NO_MESSAGE for each in here):
            refused[place] = BadInput(
                f"{source.name} holds no MIDI message.", "Choose a file of SysEx or controller messages."
            )
            continue
        notes.extend(f"{source.name}: {note}" for note in source.notes)
        for each in here:
            key = _digest(each.messages)
            left.append(Left(f"{source.name} at {source.where(each.place)}: {each.name}", each, key in known))
            known.add(key)
    if refused and len(refused) == len(sources):
        raise next(iter(refused.values()))
    seen.clear()  # of very many sounds it is large, and no longer needed
    return Preview(
        tuple(source.name for source in sources),
        tuple(settle(library, sounds, targets)),
        tuple(left),
        tuple(notes),
        tuple(targets),
        stamp,
        at,
        refused,
    )


def apply(
    library: Library,
    seen: Preview,
    *,
    tags: Sequence[str] = (),
    changed: OnChanged = "version",
    cancel: CancelToken | None = None,
    progress: OnStep | None = None,
) -> Imported:
    """Do what the preview said, as one step of undo. What the library holds already is not kept twice.

    When the library has changed since the preview, the sounds are compared again first. Raises Cancelled: nothing
    was kept.
    """
    reader = SoundReader(seen.targets, "", seen.at)
    with patiently(), library.together(f"Import {_listed(seen.files)}"):
        if library.stamp() != seen.stamp + 1:  # this very step counts as one change
            again = (each.sound for each in seen.sounds)
            planned = settle(library, list(plan(library, again, seen.targets, reader, set())), seen.targets)
        else:
            planned = list(seen.sounds)
        going = Going(cancel, progress)
        fresh = [each for each in planned if each.status == "new" or (each.status == "changed" and changed == "new")]
        newer = [each for each in planned if each.status == "changed" and changed == "version"]
        owners, made = _owners(library, seen.targets, [*fresh, *newer])
        total = len(fresh) + len(newer)
        patches = library.keep_many(_new(fresh, owners, reader, tags, going, total))
        versions = {}
        for count, each in enumerate(newer):
            going.tell(len(fresh) + count, total, "sounds")
            if each.patch is not None:
                versions[each.patch] = library.add_version(each.patch, reader.version(each.sound))
        if versions and tags:
            library.tag(versions, add=tags)
        rest = [each for each in seen.left if not each.kept_before]
        unread = library.keep_unread((each.found.messages, each.source, each.found.reason) for each in rest)
        if cancel is not None:
            cancel.check("Nothing was kept; the library is as it was.")
    same = sum(each.status == "same" for each in planned)
    skipped = len(planned) - same - len(fresh) - len(newer)
    return Imported(
        patches, versions, unread, same, skipped, made, _said(len(patches), len(versions), len(unread), same, skipped)
    )


def _understood(source: Source, recogniser: Recogniser, rest: list[NotUnderstood], going: Going) -> Iterator[Sound]:
    for found in recogniser.findings(source):
        if isinstance(found, Sound):
            going.tell(found.place, source.size, "bytes")
            yield found
        else:
            going.tell(found.place, source.size, "bytes")
            rest.append(found)


def _owners(
    library: Library, targets: Sequence[Target], kept: Iterable[Planned]
) -> tuple[dict[int, int], tuple[int, ...]]:
    """Target -> instrument; a chart that has none yet gets one."""
    used = sorted({each.sound.target for each in kept})
    owners, made = {}, []
    for index in used:
        target = targets[index]
        instrument = target.instrument
        if instrument is None:
            instrument = library.add_instrument(target.chart, target.name, target.address)
            made.append(instrument)
        owners[index] = instrument
    return owners, tuple(made)


def _new(
    fresh: Sequence[Planned],
    owners: dict[int, int],
    reader: SoundReader,
    tags: Sequence[str],
    going: Going,
    total: int,
) -> Iterator[NewPatch]:
    for count, each in enumerate(fresh):
        going.tell(count, total, "sounds")
        version: Version = reader.version(each.sound)
        yield NewPatch(owners[each.sound.target], each.name, version, tuple(tags))


def _digest(messages: tuple[bytes, ...]) -> bytes:
    state = blake2b(digest_size=16)
    for raw in messages:
        state.update(len(raw).to_bytes(8, "big") + raw)
    return state.digest()


def _listed(names: Sequence[str]) -> str:
    return f"“{names[0]}”" if len(names) == 1 else f"{len(names)} files"


def _said(patches: int, versions: int, unread: int, same: int, skipped: int) -> str:
    parts = [f"{patches} {'sound' if patches == 1 else 'sounds'} kept"]
    if versions:
        parts.append(f"{versions} {'patch' if versions == 1 else 'patches'} got a new version")
    if same:
        parts.append(f"{same} there already")
    if skipped:
        parts.append(f"{skipped} changed ones left out")
    if unread:
        parts.append(f"{unread} kept as not understood")
    return ", ".join(parts)
