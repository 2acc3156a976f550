"""Answers about the collection."""

from __future__ import annotations

from datetime import datetime

from librarian.cli.answers.base import Answer
from librarian.cli.answers.sounds import Comparison, Patch, Sound, Version


class Done(Answer):
    """Answer of verbs that only do something: the patches touched, and the step as undo would call it."""

    patches: list[Patch]
    did: str


class Compared(Answer):
    """Answer of `compare`: `a` and `b` say what stands on either side."""

    a: str
    b: str
    comparison: Comparison


class QueryProblem(Answer):
    """A part of the query that was not understood; the rest was answered. `start` and `end` are places in `query`."""

    sentence: str
    start: int
    end: int
    replacement: str


class FoundGroup(Answer):
    """A heading (a tag, an instrument; "" for those without) with the ids of its listed patches; `found` counts all."""

    name: str
    found: int
    patches: list[int]


class Found(Answer):
    """Answer of `find` and `trash list`. `found` of `total` patches matched; `patches` are those that are listed.

    `tags`: tag to number of patches within all that was found. `groups`: null unless asked for; by tag a patch stands
    under each of its tags.
    """

    query: str
    found: int
    total: int
    patches: list[Patch]
    tags: dict[str, int]
    problems: list[QueryProblem]
    groups: list[FoundGroup] | None = None


class Similar(Answer):
    """One sound found by likeness. `distance`: 0 equal, 1 opposite in everything."""

    patch: Patch
    distance: float
    compared: int
    of: int
    differ: int
    reason: str


class Likes(Answer):
    """Answer of `like`."""

    like: Patch
    found: list[Similar]


class Shown(Answer):
    """Answer of `show`."""

    patch: Patch
    version: Version
    sound: Sound


class Versions(Answer):
    """Answer of `versions`."""

    patch: Patch
    versions: list[Version]


class Tags(Answer):
    """Answer of `tags`: tag to number of patches."""

    tags: dict[str, int]


class Step(Answer):
    """Answer of `undo` and `redo`. `step` is null when there was nothing."""

    step: str | None
    next: str | None


class LibraryAbout(Answer):
    """Answer of `library path`."""

    path: str
    patches: int
    in_trash: int
    instruments: int


class LibraryChecked(Answer):
    """Answer of `library check`. `wrong`: one sentence for each thing that is not as it should be."""

    path: str
    whole: bool
    wrong: list[str]


class Backup(Answer):
    """One copy of the library; it is a library itself. `reason`: "start", "asked", "before-…"."""

    path: str
    taken: datetime
    reason: str
    bytes: int
    patches: int


class Backups(Answer):
    """Answer of `library backup` (the one made) and `library backups` (all, newest first)."""

    folder: str
    backups: list[Backup]


class WentBack(Answer):
    """Answer of `library go-back`. `before`: a copy of what the library held until then."""

    path: str
    patches: int
    before: str
