"""What the collection area shows, as plain data, and the source from which the list reads its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from librarian.window.parts.spec import ButtonSpec

Span = tuple[int, int]
"""Start and length of a hit, in characters."""


@dataclass(frozen=True)
class Reason:
    """Why a patch was found when neither its name nor a tag shows it: a note, a value, likeness.

    `text` stands after the instrument ("note: “before the storm breaks”"); `hits` are bold and underlined in it;
    `whole` underlines all of it.
    """

    text: str
    hits: tuple[Span, ...] = ()
    whole: bool = False


@dataclass(frozen=True)
class PatchLine:
    """One row of the list. `tag_hits`: the tags that matched; `unknown`: how many parameters are unknown."""

    id: int
    name: str
    instrument: str
    tags: tuple[str, ...] = ()
    unknown: int = 0
    name_hits: tuple[Span, ...] = ()
    tag_hits: frozenset[str] = frozenset()
    reason: Reason | None = None
    heading: bool = False


class PatchSource(Protocol):
    """Where rows come from. Called when rows are painted, one page at a time; may raise LibrarianError."""

    def lines(self, ids: Sequence[int]) -> Sequence[PatchLine]:
        """Rows for these patch ids in any order; ids that are gone are left out."""
        ...


@dataclass(frozen=True)
class RowMarks:
    """Which patch is A, which is B, and which have changed controls in their instrument (id -> how many)."""

    a: int | None = None
    b: int | None = None
    changed: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class TagCount:
    """A tag with its count within the present result."""

    tag: str
    count: int


@dataclass(frozen=True)
class SearchProblem:
    """A word of the query that cannot be read. `start`, `length`: where; `sentence`: what is wrong and what the list
    still shows; `suggestion`: the nearest right word and `query` the whole text with it, both empty without one."""

    start: int
    length: int
    sentence: str
    suggestion: str = ""
    query: str = ""


@dataclass(frozen=True)
class Completion:
    """What the query would become. `kind`: name, tag, value, note, likeness; `count`: how many it would find."""

    text: str
    kind: str
    count: int
    query: str


@dataclass(frozen=True)
class Nothing:
    """What stands in the place of an empty list: a sentence, perhaps with a button."""

    sentence: str
    button: ButtonSpec | None = None


@dataclass(frozen=True)
class Found:
    """The present result. `ids` may be of any length; `total`: patches in the collection.

    `order`: the id of the order in force, `orders`: (id, label) of those on offer. `nothing`: shown when ids is empty.
    `headings`: an id of -1, -2, … in `ids` is no patch but the heading with this place (0, 1, …), and `count` is then
    how many patches there are; a patch may stand under several headings.
    """

    ids: Sequence[int] = ()
    total: int = 0
    order: str = "name"
    orders: tuple[tuple[str, str], ...] = (("name", "by name"),)
    tags: tuple[TagCount, ...] = ()
    chosen_tags: frozenset[str] = frozenset()
    tag_total: int = 0
    problem: SearchProblem | None = None
    nothing: Nothing = Nothing("The sounds you keep will be listed here, with their tags above.")
    headings: tuple[str, ...] = ()
    count: int | None = None


RowHeight = Literal["two lines", "one line"]
