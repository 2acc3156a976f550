"""A result in groups, as one list with headings in it. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from librarian.collection import Found, Ids, Library
from librarian.window.words import figures

_NAMELESS = {"tag": "without a tag", "instrument": "of no instrument"}


@dataclass(frozen=True)
class Group:
    """Some of a result under one heading; a patch with several tags stands in several groups."""

    title: str
    ids: Ids

    @property
    def heading(self) -> str:
        """Title and how many: "storm  14"."""
        return f"{self.title}  {figures(len(self.ids))}"


def grouped(library: Library, by: str, found: Found) -> tuple[Group, ...]:
    """The groups of a result. `by`: "tag" or "instrument"."""
    groups = library.groups(found, "instrument" if by == "instrument" else "tag")
    return tuple(Group(group.name or _NAMELESS[by], group.ids) for group in groups)


def with_headings(ids: Ids, groups: Sequence[Group]) -> tuple[Ids, tuple[str, ...]]:
    """One list with -1, -2, … where the headings stand; the plain list without groups."""
    if not groups:
        return ids, ()
    parts = []
    for place, group in enumerate(groups):
        parts += [np.array([-place - 1], np.int64), group.ids.array]
    return Ids(np.concatenate(parts)), tuple(group.heading for group in groups)
