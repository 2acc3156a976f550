"""What an import of sounds would do: for each of them whether it is new, there already, or a change of one that is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal

from librarian.chart import DumpRefused
from librarian.collection import Held, Library, clean_name
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Target
from librarian.messages import Version

Status = Literal["new", "same", "changed"]
SoundKey = tuple[int, str, tuple[bytes, ...], int | None]
PORTION = 2000
_LOOKED_AT = 8


# Not frozen: one is made for each sound of an import, and freezing takes as long again.
@dataclass(slots=True)
class Planned:
    """One sound of a file. `patch`: which patch holds it already ('same') or gets it as a version ('changed')."""

    status: Status
    sound: Sound
    name: str
    instrument: str
    known: int
    of: int
    patch: int | None = None


def plan(
    library: Library,
    found: Iterable[Sound],
    targets: Sequence[Target],
    reader: SoundReader,
    seen: set[SoundKey],
) -> Iterator[Planned]:
    """Each sound compared with the library, portion by portion; memory does not grow with their number.

    'same': a patch holds the same values, and either the same bytes or the same name with the same unpacked data.
    A sound without values in common but with the name of exactly one patch of its instrument is 'changed': that is
    settled by `settle`, because it needs all names of the import. `seen`: sounds of files before this one.
    """
    source = iter(found)
    anything = library.total() > 0
    while portion := list(islice(source, PORTION)):
        same_as = _held(library, portion, reader) if anything else [None] * len(portion)
        for sound, same in zip(portion, same_as, strict=True):
            key = (sound.target, sound.name, sound.raws, sound.program)
            status: Status = "same" if same is not None or key in seen else "new"
            seen.add(key)
            target = targets[sound.target]
            of = len(target.chart.parameters)
            known = of - len(sound.packed.unknown)
            yield Planned(status, sound, clean_name(sound.name, cut=True), target.name, known, of, same)


def _held(library: Library, portion: Sequence[Sound], reader: SoundReader) -> list[int | None]:
    """For each sound the patch that holds it already."""
    versions = [reader.version(each) for each in portion]
    held = [_likely(sound, there) for sound, there in zip(portion, library.holders(versions), strict=True)]
    stored = library.version_contents(list({one.version for there in held for one in there}))
    return [
        next((one.patch for one in there if _same(sound, version, one, stored.get(one.version), reader)), None)
        for sound, version, there in zip(portion, versions, held, strict=True)
    ]


def settle(library: Library, planned: Sequence[Planned], targets: Sequence[Target]) -> list[Planned]:
    """New sounds whose name belongs to exactly one patch, and to one sound of the import, become its next version."""
    wanted: dict[int, set[str]] = {}
    for each in planned:
        if each.status == "new" and each.sound.named and targets[each.sound.target].instrument is not None:
            wanted.setdefault(each.sound.target, set()).add(each.name)
    there: dict[int, dict[str, tuple[int, ...]]] = {}
    for index, names in wanted.items():
        instrument = targets[index].instrument
        if instrument is not None:
            there[index] = library.called(instrument, names)
    if not any(there.values()):
        return list(planned)
    often = Counter(
        (each.sound.target, each.name)
        for each in planned
        if each.status == "new" and each.sound.named and each.name in there.get(each.sound.target, ())
    )
    settled = []
    for each in planned:
        patches = there.get(each.sound.target, {}).get(each.name, ())
        single = len(patches) == 1 and often[each.sound.target, each.name] == 1
        newer = single and each.status == "new" and each.sound.named
        settled.append(replace(each, status="changed", patch=patches[0]) if newer else each)
    return settled


def _likely(sound: Sound, there: Sequence[Held]) -> list[Held]:
    """Those worth reading: of very many patches with equal values, the ones with this name first, then the latest."""
    if len(there) <= _LOOKED_AT:
        return list(there)
    name = clean_name(sound.name, cut=True)
    return sorted(there, key=lambda one: (one.name != name, -one.version))[:_LOOKED_AT]


def _same(sound: Sound, version: Version, held: Held, stored: Version | None, reader: SoundReader) -> bool:
    if stored is None:
        return False
    if stored.received == version.received:
        return True
    if held.name != clean_name(sound.name, cut=True) and stored.name.strip() != version.name.strip():
        return False
    if not stored.received or not version.received:
        return not version.received or sound.kind == "controllers"
    try:
        ours = reader.images(sound.target, version.received)
        theirs = reader.images(sound.target, stored.received)
    except DumpRefused:
        return False
    if sound.kind == "controllers":
        return True
    return ours is not None and ours == theirs
