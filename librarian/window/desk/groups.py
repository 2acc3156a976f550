"""A result in groups, by tag or by instrument: each group found by the same line, so that counts agree. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from librarian.collection import Found, Ids, Library
from librarian.window.words import figures


@dataclass(frozen=True)
class Group:
    """Some of a result under one heading; a patch with several tags stands in several groups."""

    title: str
    ids: Ids

    @property
    def heading(self) -> str:
        """Title and how many: "storm  14"."""
        return f"{self.title}  {figures(len(self.ids))}"


def grouped(
    library: Library, by: str, line: str, tags: Sequence[str], found: Found, counts: Sequence[tuple[str, int]]
) -> tuple[Group, ...]:
    """The groups of a result. `by`: "tag" or "instrument"; `counts`: the tags in it with their numbers."""
    if by == "instrument":
        rows = library.instruments(removed=True)
        groups = [Group(row.name, library.find(line, tags=tags, instrument=row.id).ids) for row in rows]
    else:
        names = sorted((tag for tag, _count in counts), key=str.casefold)
        groups = [Group(tag, library.find(line, tags=(*tags, tag)).ids) for tag in names]
    groups = [group for group in groups if len(group.ids)]
    inside = np.concatenate([group.ids.array for group in groups]) if groups else np.empty(0, np.int64)
    rest = found.ids.array[~np.isin(found.ids.array, inside)]
    if len(rest):
        groups.append(Group("without a tag" if by == "tag" else "of no instrument", Ids(rest)))
    return tuple(groups)


def with_headings(ids: Ids, groups: Sequence[Group]) -> tuple[Ids, tuple[str, ...]]:
    """One list with -1, -2, … where the headings stand; the plain list without groups."""
    if not groups:
        return ids, ()
    parts = []
    for place, group in enumerate(groups):
        parts += [np.array([-place - 1], np.int64), group.ids.array]
    return Ids(np.concatenate(parts)), tuple(group.heading for group in groups)
