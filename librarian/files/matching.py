"""Which sound of the library an incoming one is: by all that its versions are, or by name and values."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import TypeVar

from librarian.collection import Held, Library, PatchRow, clean_name
from librarian.collection.folding import clean_note, clean_tag, tag_key
from librarian.collection.records import microseconds
from librarian.files.identity import identity
from librarian.files.incoming import Incoming

#: Patches of one name and content that a row of a table may mean.
_LOOKED_AT = 256
#: Versions of one content, time and name; a portion of sounds takes no more.
_EQUALS = 4000

_Key = TypeVar("_Key")


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
        self._named: dict[int, bytes] = {}

    def claim(self, patches: Iterable[int]) -> None:
        """These were made by this very import: nothing else of it is meant to go into them."""
        self._taken.update(patches)

    def match(self, portion: Sequence[Incoming]) -> list[Match]:
        """One answer for each."""
        firsts = [each.versions[0 if self._exact else -1].version for each in portion]
        held = self._library.holders(firsts, trash=self._exact)
        return self._by_identity(portion, held) if self._exact else self._by_name(portion, held)

    # --- a table: name and values

    def _by_name(self, portion: Sequence[Incoming], held: Sequence[Sequence[Held]]) -> list[Match]:
        namesakes = [self._namesakes(sound, there) for sound, there in zip(portion, held, strict=True)]
        rows = {row.id: row for row in self._library.rows(sorted({one for some in namesakes for one in some}))}
        called: dict[int, Mapping[str, tuple[int, ...]]] = {}
        for owner, instrument in enumerate(self._owners):
            names = {each.name for each in portion if each.owner == owner}
            if instrument is not None and names:
                called[owner] = self._library.called(instrument, names)
        later = {row.id: row for row in self._library.rows(sorted(_patches(called)))}
        found = []
        for sound, some in zip(portion, namesakes, strict=True):
            name = clean_name(sound.name, cut=True)
            there = [rows[patch] for patch in some if patch in rows]
            # Of equal sounds of one name the one that has its tags and note is meant.
            same = next((row for row in there if not any(lacking(sound, row))), there[0] if there else None)
            key = (sound.owner, name, hash((sound.latest.values, sound.tags, sound.note)))
            if same is not None or key in self._seen:
                found.append(Match(same, ()))
                continue
            self._seen.add(key)
            patches = called.get(sound.owner, {}).get(name, ())
            single = len(patches) == 1 and patches[0] in later and patches[0] not in self._taken
            self._taken.update(patches if single else ())
            found.append(Match(later[patches[0]] if single else None, (len(sound.versions) - 1,)))
        return found

    def _namesakes(self, sound: Incoming, there: Sequence[Held]) -> list[int]:
        name, owner = clean_name(sound.name, cut=True), self._owners[sound.owner]
        return list(islice((one.patch for one in there if (one.instrument, one.name) == (owner, name)), _LOOKED_AT))

    # --- a bundle: all that versions are

    def _by_identity(self, portion: Sequence[Incoming], held: Sequence[tuple[Held, ...]]) -> list[Match]:
        digests = [[identity(one.version) for one in each.versions] for each in portion]
        twins = _Twins(self._taken, held)
        likely = [
            twins.likely(each, there, self._owners[each.owner], others=names[0] not in self._often)
            for each, there, names in zip(portion, held, digests, strict=True)
        ]
        some = {id(few): few for pair in likely for few in pair}.values()  # equal sounds share one list
        rows = {row.id: row for row in self._library.rows(sorted({one.patch for few in some for one in few}))}
        self._name({one.version for few in some for one in few})
        found: list[Match | None] = [None] * len(portion)
        for side in (0, 1):  # a sound that kept its name is found before one that was renamed
            for place, (sound, few) in enumerate(zip(portion, likely, strict=True)):
                if found[place] is None:
                    one = self._first(sound, digests[place][0], few[side], rows)
                    found[place] = None if one is None else self._compared(rows[one.patch], one, digests[place])
        everything = [tuple(range(len(each.versions))) for each in portion]
        return [each or Match(None, all_of) for each, all_of in zip(found, everything, strict=True)]

    def _name(self, versions: set[int]) -> None:
        """Learn the digests of these versions; those of an earlier portion are known."""
        stored = self._library.version_contents(sorted(versions - self._named.keys()))
        self._named |= {version: identity(content) for version, content in stored.items()}

    def _first(self, sound: Incoming, digest: bytes, few: deque[Held], rows: Mapping[int, PatchRow]) -> Held | None:
        """The first that is this sound, which is taken. What another sound took before is not looked at again."""
        while few and few[0].patch in self._taken:
            few.popleft()
        for one in few:
            row = rows.get(one.patch)
            if row is None or row.id in self._taken or sound.trash < (row.place == "trash"):
                continue
            if self._named.get(one.version) == digest:
                self._taken.add(row.id)
                return one
        return None

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


class _Twins:
    """Which of the versions that hold an incoming content may be the incoming one: of the same time, not taken yet.

    Very many sounds may be equal; what they have in common is gone through once for all of them.
    """

    def __init__(self, taken: set[int], held: Sequence[tuple[Held, ...]]) -> None:
        self._by_name: dict[int, dict[tuple[int, int, str], deque[Held]]] = {}
        self._by_time: dict[int, dict[tuple[int, int], deque[Held]]] = {}
        for there in {id(each): each for each in held}.values():
            names = self._by_name.setdefault(id(there), {})
            times = self._by_time.setdefault(id(there), {})
            for one in there:
                if one.patch not in taken:
                    _few(names, (one.instrument, one.taken, one.name), one)
                    _few(times, (one.instrument, one.taken), one)

    def likely(
        self, sound: Incoming, there: tuple[Held, ...], owner: int | None, *, others: bool
    ) -> tuple[deque[Held], deque[Held]]:
        """Those called like this sound and, if `others` are wanted, those of any name; oldest first."""
        if owner is None:
            return deque(), deque()
        taken, name = microseconds(sound.versions[0].version.taken), clean_name(sound.name, cut=True)
        called = self._by_name[id(there)].get((owner, taken, name), deque())
        return called, self._by_time[id(there)].get((owner, taken), deque()) if others else deque()


def _few(into: dict[_Key, deque[Held]], key: _Key, one: Held) -> None:
    few = into.setdefault(key, deque())
    if len(few) < _EQUALS:
        few.append(one)


def lacking(sound: Incoming, row: PatchRow) -> tuple[tuple[str, ...], str]:
    """Tags and the note of an incoming sound that its patch does not have yet."""
    has = {tag_key(name) for name in row.tags}
    tags = tuple(name for name in sound.tags if tag_key(clean_tag(name)) not in has)
    note = clean_note(sound.note)
    return tags, "" if not note or note in row.note else note


def _patches(called: Mapping[int, Mapping[str, tuple[int, ...]]]) -> set[int]:
    return {ids[0] for names in called.values() for ids in names.values() if len(ids) == 1}
