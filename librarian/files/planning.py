"""What an import of sounds would do: for each of them whether it is new, there already, or a change of one that is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal

from librarian.chart import DumpRefused
from librarian.collection import Held, Library, clean_name
from librarian.files.recognising import Understood
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Target
from librarian.messages import Version

Status = Literal["new", "same", "changed"]
SoundKey = tuple[int, str, tuple[bytes, ...], int | None]
PORTION = 2000
_LOOKED_AT = 8


@dataclass(frozen=True, slots=True)
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
    found: Iterable[Understood],
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
    while portion := list(islice(source, PORTION)):
        all_held = library.holders([each.version for each in portion])
        held = [_likely(each.sound, there) for each, there in zip(portion, all_held, strict=True)]
        stored = library.version_contents(list({one.version for there in held for one in there}))
        for each, there in zip(portion, held, strict=True):
            sound = each.sound
            target = targets[sound.target]
            same = next((one.patch for one in there if _same(each, one, stored.get(one.version), reader)), None)
            key = (sound.target, sound.name, sound.raws, sound.program)
            status: Status = "same" if same is not None or key in seen else "new"
            seen.add(key)
            yield Planned(
                status,
                sound,
                clean_name(sound.name, cut=True),
                target.name,
                len(each.version.values),
                len(target.chart.parameters),
                same,
            )


def settle(library: Library, planned: Sequence[Planned], targets: Sequence[Target]) -> list[Planned]:
    """New sounds whose name belongs to exactly one patch, and to one sound of the import, become its next version."""
    fresh = [each for each in planned if each.status == "new" and each.sound.named]
    often = Counter((each.sound.target, each.name) for each in fresh)
    there: dict[int, dict[str, tuple[int, ...]]] = {}
    for index, target in enumerate(targets):
        names = {each.name for each in fresh if each.sound.target == index}
        if target.instrument is not None and names:
            there[index] = library.called(target.instrument, names)
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


def _same(each: Understood, held: Held, stored: Version | None, reader: SoundReader) -> bool:
    if stored is None:
        return False
    if stored.received == each.version.received:
        return True
    if held.name != clean_name(each.sound.name, cut=True) and stored.name.strip() != each.version.name.strip():
        return False
    if not stored.received or not each.version.received:
        return not each.version.received or each.sound.kind == "controllers"
    try:
        ours = reader.images(each.sound.target, each.version.received)
        theirs = reader.images(each.sound.target, stored.received)
    except DumpRefused:
        return False
    if each.sound.kind == "controllers":
        return True
    return ours is not None and ours == theirs
