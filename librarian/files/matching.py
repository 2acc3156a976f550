"""Which sound of the library an incoming one is: by all that its versions are, or by name and values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from librarian.collection import Held, Library, PatchRow, clean_name
from librarian.files.identity import identity
from librarian.files.incoming import Incoming

_LOOKED_AT = 256


@dataclass(frozen=True, slots=True)
class Match:
    """`row`: the library's patch, None when there is none. `fresh`: places of the versions that it lacks.

    `parted`: its content is none of the incoming versions, so both sides went on from a common past.
    """

    row: PatchRow | None
    fresh: tuple[int, ...]
    parted: bool = False
    known: Mapping[int, int] = field(default_factory=dict)
    """Place of an incoming version -> version of the library that is the same."""


class Matcher:
    """Goes through an import portion by portion; no patch of the library is taken for two incoming sounds.

    `owners`: place of an instrument in the file -> instrument of the library, None for a new one. `often`: digests of
    first versions that the file has more than once; those must agree in their names too.
    """

    def __init__(
        self, library: Library, owners: Sequence[int | None], *, exact: bool, often: frozenset[bytes] = frozenset()
    ) -> None:
        self._library = library
        self._owners = owners
        self._exact = exact
        self._often = often
        self._taken: set[int] = set()
        self._seen: set[tuple[int, str, int]] = set()

    def claim(self, patches: Iterable[int]) -> None:
        """These were made by this very import: nothing else of it is meant to go into them."""
        self._taken.update(patches)

    def match(self, portion: Sequence[Incoming]) -> list[Match]:
        """One answer for each."""
        firsts = [each.versions[0 if self._exact else -1].version for each in portion]
        held = [
            [one for one in there if one.instrument == self._owners[each.owner]]
            for each, there in zip(portion, self._library.holders(firsts, trash=self._exact), strict=True)
        ]
        held = [self._likely(each, there) for each, there in zip(portion, held, strict=True)]
        rows = {row.id: row for row in self._library.rows(sorted({one.patch for there in held for one in there}))}
        return self._by_identity(portion, held, rows) if self._exact else self._by_name(portion, held, rows)

    def _likely(self, sound: Incoming, there: list[Held]) -> list[Held]:
        name = clean_name(sound.name, cut=True)
        return sorted(there, key=lambda one: (one.name != name, one.version))[:_LOOKED_AT]

    # --- a table: name and values

    def _by_name(
        self, portion: Sequence[Incoming], held: Sequence[list[Held]], rows: Mapping[int, PatchRow]
    ) -> list[Match]:
        called: dict[int, Mapping[str, tuple[int, ...]]] = {}
        for owner, instrument in enumerate(self._owners):
            names = {each.name for each in portion if each.owner == owner}
            if instrument is not None and names:
                called[owner] = self._library.called(instrument, names)
        later = {row.id: row for row in self._library.rows(sorted(_patches(called)))}
        found = []
        for sound, there in zip(portion, held, strict=True):
            name = clean_name(sound.name, cut=True)
            same = next((rows[one.patch] for one in there if one.name == name and one.patch in rows), None)
            key = (sound.owner, name, hash(sound.latest.values))
            if same is not None or key in self._seen:
                found.append(Match(same, ()))
                continue
            self._seen.add(key)
            patches = called.get(sound.owner, {}).get(name, ())
            single = len(patches) == 1 and patches[0] in later and patches[0] not in self._taken
            self._taken.update(patches if single else ())
            found.append(Match(later[patches[0]] if single else None, (len(sound.versions) - 1,)))
        return found

    # --- a bundle: all that versions are

    def _by_identity(
        self, portion: Sequence[Incoming], held: Sequence[list[Held]], rows: Mapping[int, PatchRow]
    ) -> list[Match]:
        stored = self._library.version_contents(sorted({one.version for there in held for one in there}))
        names = {version: identity(content) for version, content in stored.items()}
        found: list[Match | None] = [None] * len(portion)
        digests = [[identity(one.version) for one in each.versions] for each in portion]
        for same_name in (True, False):  # a sound that kept its name is found before one that was renamed
            for place, (sound, there) in enumerate(zip(portion, held, strict=True)):
                if found[place] is not None:
                    continue
                first = digests[place][0]
                for one in there:
                    row = rows.get(one.patch)
                    if row is None or names.get(one.version) != first or row.id in self._taken:
                        continue
                    if (row.name == clean_name(sound.name, cut=True)) != same_name:
                        continue
                    if (not same_name and first in self._often) or (sound.trash < (row.place == "trash")):
                        continue
                    self._taken.add(row.id)
                    found[place] = self._compared(row, one, digests[place])
                    break
        everything = [tuple(range(len(each.versions))) for each in portion]
        return [each or Match(None, all_of) for each, all_of in zip(found, everything, strict=True)]

    def _compared(self, row: PatchRow, first: Held, wanted: Sequence[bytes]) -> Match:
        there: dict[bytes, int] = {}
        if row.versions == 1:
            there[wanted[0]] = first.version
        else:
            ids = [each.id for each in self._library.versions(row.id)]
            contents = self._library.version_contents(ids)
            for version in reversed(ids):
                there[identity(contents[version])] = version
        fresh = tuple(place for place, key in enumerate(wanted) if key not in there)
        known = {place: there[key] for place, key in enumerate(wanted) if key in there}
        parted = bool(fresh) and row.latest not in {there[key] for key in wanted if key in there}
        return Match(row, fresh, parted, known)


def _patches(called: Mapping[int, Mapping[str, tuple[int, ...]]]) -> set[int]:
    return {ids[0] for names in called.values() for ids in names.values() if len(ids) == 1}
