"""Whole sounds into the library: never over anything, always told, one step of undo.

What is there already stays as it is. A sound that is there gets the versions it lacks, tags it has not, and a note that
it does not hold is written below its own; its name stays. When both sides went on from a common past, the library's
own content stays the latest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Literal

from librarian.collection import Library, NewPatch, PatchRow, clean_name
from librarian.collection.folding import LONGEST_NAME
from librarian.files.identity import identity
from librarian.files.incoming import Dated, Incoming, Stream
from librarian.files.matching import Match, Matcher, lacking
from librarian.files.progress import Going
from librarian.messages import Version

PORTION = 1000
_SHOWN = 40
Status = Literal["new", "same", "changed"]
OnChanged = Literal["version", "new", "skip"]


@dataclass(frozen=True, slots=True)
class Plan:
    """What becomes of one incoming sound. `tags`, `note`: what its patch does not have yet."""

    sound: Incoming
    match: Match
    tags: tuple[str, ...] = ()
    note: str = ""

    @property
    def status(self) -> Status:
        """New, there already, or there and lacking something."""
        if self.match.fresh:
            return "new" if self.match.row is None else "changed"
        return "changed" if self.tags or self.note else "same"


@dataclass
class Tally:
    """What was done. `patches`: new; `versions`: patch -> its newest one; `words`: patches with new tags or notes."""

    patches: list[int] = field(default_factory=list)
    versions: dict[int, int] = field(default_factory=dict)
    words: set[int] = field(default_factory=set)
    same: int = 0
    skipped: int = 0
    parted: int = 0


def plans(stream: Stream, matcher: Matcher, going: Going) -> Iterator[list[Plan]]:
    """Portion by portion; memory does not grow with the file."""
    source = stream.sounds()
    while True:
        portion = []
        for done, sound in islice(source, PORTION):
            going.tell(done, stream.size, "bytes")
            portion.append(sound)
        if not portion:
            return
        yield [_plan(sound, match) for sound, match in zip(portion, matcher.match(portion), strict=True)]


def repeated(stream: Stream) -> frozenset[bytes]:
    """Digests of first versions that the file has more than once, for which it is read through."""
    often: set[bytes] = set()
    if stream.exact:
        seen: set[bytes] = set()
        for _, sound in stream.sounds():
            key = identity(sound.versions[0].version)
            (often if key in seen else seen).add(key)
    return frozenset(often)


def _plan(sound: Incoming, match: Match) -> Plan:
    row = match.row
    if row is None:
        return Plan(sound, match)
    return Plan(sound, match, *lacking(sound, row))


class Keeper:
    """Does what the plans say, inside a step of the library."""

    def __init__(
        self,
        library: Library,
        owners: Sequence[int],
        matcher: Matcher,
        *,
        tags: Sequence[str] = (),
        changed: OnChanged = "version",
        wanted: frozenset[bytes] = frozenset(),
    ) -> None:
        """`tags`: added to every sound that is new or gets a version. `wanted`: digests that are parents elsewhere."""
        self._library = library
        self._owners = owners
        self._matcher = matcher
        self._tags = tuple(tags)
        self._changed = changed
        self._wanted = wanted
        self._found: dict[bytes, int] = {}
        self._waiting: list[tuple[int, Sequence[tuple[int, Dated]], dict[int, int]]] = []
        self.tally = Tally()

    def keep(self, portion: Sequence[Plan]) -> None:
        """One portion."""
        fresh = [each for each in portion if each.status == "new" or self._apart(each)]
        self._keep_new([each.sound for each in fresh])
        for plan in portion:
            row = plan.match.row
            if plan.status == "same":
                self.tally.same += 1
            elif row is not None and plan.status == "changed" and not self._apart(plan):
                self._join(plan, row)

    def _apart(self, plan: Plan) -> bool:
        return plan.status == "changed" and bool(plan.match.fresh) and self._changed == "new"

    def _keep_new(self, sounds: Sequence[Incoming]) -> None:
        ids = self._library.keep_many(
            NewPatch(
                self._owners[each.owner],
                clean_name(each.name, cut=True),
                each.versions[0].version,
                (*each.tags, *self._tags),
                each.note,
            )
            for each in sounds
        )
        self._matcher.claim(ids)
        self.tally.patches.extend(ids)
        binned = [patch for patch, each in zip(ids, sounds, strict=True) if each.trash]
        if any(len(each.versions) > 1 or each.versions[0].note for each in sounds) or self._wanted:
            for row, each in zip(self._library.rows(ids), sounds, strict=True):
                if each.versions[0].note:
                    self._library.set_version_note(row.latest, each.versions[0].note)
                self._know(each.versions[0].version, row.latest)
                self._add(row.id, list(enumerate(each.versions))[1:], {0: row.latest})
        if binned:
            self._library.delete(binned)

    def _join(self, plan: Plan, row: PatchRow) -> None:
        fresh = plan.match.fresh
        if fresh and self._changed == "skip":
            self.tally.skipped += 1
            return
        if fresh:
            missing = [(place, plan.sound.versions[place]) for place in fresh]
            made = self._add(row.id, missing, dict(plan.match.known), wait=False)
            if plan.match.parted:
                self.tally.parted += 1
                made = self._library.add_version(row.id, self._library.version(row.latest), parent=row.latest)
            if made is not None:
                self.tally.versions[row.id] = made
        if plan.tags or (fresh and self._tags):
            self._library.tag([row.id], add=(*plan.tags, *(self._tags if fresh else ())))
        if plan.note:
            self._library.set_note(row.id, f"{row.note}\n{plan.note}" if row.note else plan.note)
        if not fresh:
            self.tally.words.add(row.id)

    def _add(
        self, patch: int, versions: Sequence[tuple[int, Dated]], known: dict[int, int], *, wait: bool = True
    ) -> int | None:
        """Add versions in their order; returns the last one. Those behind a parent that is yet to come have to wait."""
        made = None
        for count, (place, each) in enumerate(versions):
            parent = None if each.parent is None else known.get(each.parent)
            if parent is None and each.foreign:
                parent = self._found.get(each.foreign)
                if parent is None and wait and each.foreign in self._wanted:
                    self._waiting.append((patch, versions[count:], known))
                    return made
            made = self._library.add_version(patch, each.version, each.note, parent)
            known[place] = made
            self._know(each.version, made)
        return made

    def finish(self) -> Tally:
        """What had to wait; call it once at the end."""
        for patch, versions, known in self._waiting:
            self._add(patch, versions, known, wait=False)
        return self.tally

    def _know(self, version: Version, number: int) -> None:
        if self._wanted:
            key = identity(version)
            if key in self._wanted:
                self._found.setdefault(key, number)


def otherwise_called(plan: Plan) -> str:
    """What is worth saying about a sound that is, or will be, called otherwise here; '' for nothing."""
    row = plan.match.row
    name = clean_name(plan.sound.name, cut=True)
    if row is None and len(plan.sound.name) > LONGEST_NAME:
        return f"“{name[:_SHOWN]}…” has {len(plan.sound.name):,} signs; the name is cut after {LONGEST_NAME:,}"
    return f"“{name}” is called “{row.name}” here and stays so" if row is not None and row.name != name else ""
