"""Whole sounds on their way in: what a table or a bundle says of them, before the library is asked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

from librarian.chart import Chart
from librarian.messages import Address, Version


@dataclass(frozen=True, slots=True)
class Dated:
    """A version with its remark. `parent`: place of the one it came from, among the versions of the same sound.

    `foreign`: the digest of a parent that belongs to another sound, else empty.
    """

    version: Version
    note: str = ""
    parent: int | None = None
    foreign: bytes = b""


@dataclass(frozen=True, slots=True)
class Incoming:
    """One sound. `where` in words; `owner`: which of the file's instruments; `versions` oldest first, at least one."""

    where: str
    owner: int
    name: str
    tags: tuple[str, ...]
    note: str
    versions: tuple[Dated, ...]
    trash: bool = False

    @property
    def latest(self) -> Version:
        """Its content."""
        return self.versions[-1].version


@dataclass(frozen=True)
class Landing:
    """An instrument of a file, and the one of the library that takes its sounds (None: an import adds it)."""

    name: str
    chart: Chart
    address: Address
    instrument: int | None
    called: str
    firmware: str = ""
    removed: bool = False


class Stream(Protocol):
    """A file of whole sounds that was opened: read as often as wanted, always the same."""

    @property
    def name(self) -> str:
        """The name of the file."""
        ...

    @property
    def size(self) -> int:
        """Its extent, in what `progress` counts."""
        ...

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing of it, known after it was read once."""
        ...

    @property
    def landings(self) -> tuple[Landing, ...]:
        """Its instruments."""
        ...

    @property
    def exact(self) -> bool:
        """True where versions are known by all that they are (a bundle), False where by name and values (a table)."""
        ...

    def sounds(self) -> Iterator[tuple[int, Incoming]]:
        """(how far, sound) one after another. Raises BadInput, OutsideProblem."""
        ...
