"""Answers about what was done, what is there twice, and what is kept aside."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from librarian.cli.answers.base import Answer
from librarian.cli.answers.sounds import Patch, Version


class HistoryStep(Answer):
    """One thing that was done. `patches`: how many it touched; "dropped": undone, then something else was done."""

    id: int
    at: datetime
    label: str
    state: Literal["done", "undone", "dropped"]
    patches: int


class History(Answer):
    """Answer of `history`, newest first. `patch`: whose history, null for that of the whole library."""

    patch: Patch | None
    since: datetime | None
    until: datetime | None
    steps: list[HistoryStep]


class Reverted(Answer):
    """Answer of `revert`: the new version, equal to the one asked for."""

    patch: Patch
    version: Version


class CarriedPatch(Answer):
    """One patch of `carry`. `aside`: a sentence for each value that the revision cannot express; it is kept aside."""

    patch: Patch
    from_revision: int
    to_revision: int
    aside: list[str]


class CarriedOver(Answer):
    """Answer of `carry`. `there`: patches that needed nothing; `kept`: false when it was only a preview."""

    patches: list[CarriedPatch]
    there: int
    kept: bool


class Twin(Answer):
    """Patches with equal values (`distance` 0), or nearly equal ones. They belong together; nothing was changed."""

    distance: float
    patches: list[Patch]


class Duplicates(Answer):
    """Answer of `duplicates`: groups, equal ones first, then the nearest. `merged`: how many patches became others."""

    groups: list[Twin]
    merged: int


class SavedSearch(Answer):
    """A search with its name."""

    name: str
    query: str


class SavedSearches(Answer):
    """Answer of `search list`, `search save` and `search forget`: all that are kept now."""

    searches: list[SavedSearch]


class Emptied(Answer):
    """Answer of `trash empty`. `gone`: patches deleted for good; `copy`: the library as it was before."""

    gone: int
    copy_before: str | None


class TagRenamed(Answer):
    """Answer of `rename-tag`: how many patches have the tag under its new name now."""

    tag: str
    patches: int


class Repaired(Answer):
    """Answer of `library repair`: rows saved by table, and a sentence for each thing that was not."""

    into: str
    saved: dict[str, int]
    lost: list[str]


class Rebuilt(Answer):
    """Answer of `library rebuild`: patches in the new index."""

    path: str
    indexed: int


class BackupRule(Answer):
    """Answer of `library keep-backups`: where copies go, and how many stay."""

    folder: str
    number: int
