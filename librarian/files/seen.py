"""What an import would do, before it does anything; and what it did. Plain frozen values for window and terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from librarian.collection import Library
from librarian.files.progress import Going

Status = Literal["new", "same", "changed"]
OnChanged = Literal["version", "new", "skip"]
"""A changed sound becomes the next version of its patch, a patch of its own, or is left out."""


@dataclass(frozen=True, slots=True)
class Row:
    """One sound. `patch`: which patch has it ('same') or gets something ('changed'). `known` of `of` parameters.

    `others`: instruments that it may belong to as well; somebody has to choose. `file`: place in `Seen.files`.
    """

    status: Status
    name: str
    instrument: str
    known: int
    of: int
    patch: int | None
    where: str
    file: int
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Left:
    """Bytes that were not understood: what they are, why they are no sound; `kept_before`: the library has them."""

    source: str
    name: str
    reason: str
    messages: tuple[bytes, ...]
    kept_before: bool


@dataclass(frozen=True, slots=True)
class Wishes:
    """How to import: `tags` for what is new or got a version, and what to do with a changed sound."""

    tags: tuple[str, ...] = ()
    changed: OnChanged = "version"


@dataclass
class Outcome:
    """What one part did."""

    patches: Sequence[int] = ()
    versions: Mapping[int, int] | None = None
    words: int = 0
    unread: Sequence[int] = ()
    same: int = 0
    skipped: int = 0
    parted: int = 0
    instruments: tuple[int, ...] = ()
    searches: int = 0


class Part(Protocol):
    """Some of the files, seen together."""

    @property
    def rows(self) -> Sequence[Row]:
        """Its sounds."""
        ...

    @property
    def left(self) -> tuple[Left, ...]:
        """What was not understood."""
        ...

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about the files, with their names."""
        ...

    @property
    def added(self) -> tuple[str, ...]:
        """Instruments that it adds."""
        ...

    def keep(self, library: Library, wishes: Wishes, going: Going) -> Outcome:
        """Do it, inside a step of the library."""
        ...


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A file that cannot be imported, and nothing of it is: why, and what to do. `file`: place in `Seen.files`."""

    file: int
    sentence: str
    hint: str


@dataclass(frozen=True)
class Seen:
    """The preview of an import. `files`: names. Nothing of it is kept yet."""

    files: tuple[str, ...]
    parts: tuple[Part, ...]
    left_out: tuple[LeftOut, ...] = ()

    @property
    def taken(self) -> tuple[str, ...]:
        """Names of the files that can be imported."""
        without = {each.file for each in self.left_out}
        return tuple(name for place, name in enumerate(self.files) if place not in without)

    @property
    def rows(self) -> Sequence[Row]:
        """Every sound."""
        if len(self.parts) == 1:
            return self.parts[0].rows
        return tuple(row for part in self.parts for row in part.rows)

    @property
    def left(self) -> tuple[Left, ...]:
        """What was not understood."""
        return tuple(each for part in self.parts for each in part.left)

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about the files."""
        return tuple(note for part in self.parts for note in part.notes)

    @property
    def added(self) -> tuple[str, ...]:
        """Instruments that an import adds to the library."""
        return tuple(dict.fromkeys(name for part in self.parts for name in part.added))

    @property
    def choices(self) -> tuple[tuple[str, ...], ...]:
        """Instruments between which somebody has to choose; empty when all is clear."""
        return tuple(dict.fromkeys((row.instrument, *row.others) for row in self.rows if row.others))

    def count(self, status: str) -> int:
        """How many sounds are "new", "same" or "changed"; messages "not understood"."""
        if status == "not understood":
            return sum(len(each.messages) for each in self.left)
        return sum(row.status == status for row in self.rows)

    @property
    def sentence(self) -> str:
        """The whole preview in a sentence."""
        parts = [f"{self.count(each)} {each}" for each in ("new", "changed", "same")]
        left = self.count("not understood")
        return f"{', '.join(parts)}; {left} {'message' if left == 1 else 'messages'} not understood"


@dataclass(frozen=True, slots=True)
class Imported:
    """What was done. `versions`: patch -> its new version; `words`: patches that only got tags or a note.

    `parted`: patches that both sides had changed; their content here stayed the latest. `label`: what undo says.
    """

    patches: tuple[int, ...]
    versions: Mapping[int, int]
    words: int
    unread: tuple[int, ...]
    same: int
    skipped: int
    parted: int
    instruments: tuple[int, ...]
    searches: int
    label: str

    @property
    def anything(self) -> bool:
        """Whether the library is another one than before."""
        return bool(self.patches or self.versions or self.words or self.unread or self.searches)

    @property
    def sentence(self) -> str:
        """All of it for people."""
        parts = [f"{len(self.patches)} {'sound' if len(self.patches) == 1 else 'sounds'} kept"]
        versions = len(self.versions)
        if versions:
            parts.append(f"{versions} {'patch' if versions == 1 else 'patches'} got a new version")
        if self.parted:
            parts.append(f"{self.parted} of them had gone on here too, and keep what they were as the latest")
        if self.words:
            parts.append(f"{self.words} got tags or a note")
        if self.same:
            parts.append(f"{self.same} there already")
        if self.skipped:
            parts.append(f"{self.skipped} changed ones left out")
        if self.unread:
            parts.append(f"{len(self.unread)} kept as not understood")
        if self.searches:
            parts.append(f"{self.searches} saved {'search' if self.searches == 1 else 'searches'} kept")
        return ", ".join(parts)
