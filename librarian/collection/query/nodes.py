"""Query objects. Each makes SQL over `patch`, judges one patch from its facts, and says why it matched.

The two must agree for every patch (a property test holds them to it): SQL answers for 200,000 at once, the judge for
the one row that is about to be painted, and for what is in no index (the trash).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from sqlalchemy import and_, false, func, not_, or_, select, true
from sqlalchemy.sql.elements import ColumnElement

from librarian.collection import sqlite
from librarian.collection.layout import BIAS, Layout
from librarian.collection.records import Reason
from librarian.collection.schema import Content, Patch, PatchTag, Version

from . import wording
from .facts import Facts
from .measures import ParameterLike, Ranges

Clause = ColumnElement[bool]
Column = Literal["", "name", "tags", "note"]


class Node(Protocol):
    """One condition."""

    def sql(self) -> Clause:
        """The condition on rows of `patch`; index lookups hold live patches only."""
        ...

    def judge(self, facts: Facts) -> bool:
        """Whether this patch satisfies it."""
        ...

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        """What to show of a patch that satisfies it; nothing for a condition that is only the absence of something."""
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """Folded words that follow each other in one column ('' any); the last one may be just begun unless `whole`."""

    words: tuple[str, ...]
    column: Column = ""
    whole: bool = False

    @property
    def expression(self) -> str:
        """The same for the word index."""
        return sqlite.phrase(self.words, self.column, begun=not self.whole)

    def sql(self) -> Clause:
        return Patch.id.in_(sqlite.matching(self.expression))

    def judge(self, facts: Facts) -> bool:
        columns = (self.column,) if self.column else ("name", "tags", "note")
        return any(self._in(facts.words(column)) for column in columns)

    def _in(self, words: Sequence[str]) -> bool:
        *front, last = self.words
        size = len(self.words)
        for start in range(len(words) - size + 1):
            end = words[start + size - 1]
            if (end == last if self.whole else end.startswith(last)) and list(words[start : start + size - 1]) == front:
                return True
        return False

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        yield from wording.text_reasons(self.words, self.column, facts)


@dataclass(frozen=True, slots=True)
class Tagged:
    """Has one of these tags (`ids` and their folded `keys`, all that the typed tag stands for)."""

    ids: tuple[int, ...]
    keys: frozenset[str]

    def sql(self) -> Clause:
        return Patch.id.in_(select(PatchTag.patch_id).where(sqlite.in_ids(PatchTag.tag_id, self.ids)))

    def judge(self, facts: Facts) -> bool:
        return any(key in self.keys for key in facts.tag_keys)

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        yield from (Reason("tag", tag) for tag, key in zip(facts.tags, facts.tag_keys, strict=True) if key in self.keys)


@dataclass(frozen=True, slots=True)
class OnInstrument:
    """Belongs to one of these instruments."""

    ids: tuple[int, ...]

    def sql(self) -> Clause:
        return Patch.instrument_id.in_(self.ids) if self.ids else false()

    def judge(self, facts: Facts) -> bool:
        return facts.instrument in self.ids

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        yield Reason("instrument", facts.instrument_name)


@dataclass(frozen=True, slots=True)
class Taken:
    """Latest version taken at or after `start` and before `end` (microseconds since 1970 UTC; None: open)."""

    start: int | None
    end: int | None

    def sql(self) -> Clause:
        parts: list[Clause] = []
        if self.start is not None:
            parts.append(Patch.taken >= self.start)
        if self.end is not None:
            parts.append(Patch.taken < self.end)
        return and_(true(), *parts)

    def judge(self, facts: Facts) -> bool:
        return (self.start is None or facts.taken >= self.start) and (self.end is None or facts.taken < self.end)

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        yield Reason("time", wording.day(facts.taken))


@dataclass(frozen=True, slots=True)
class Has:
    """Has something at all: unknown parameters, a note, tags, several versions."""

    what: Literal["unknown", "note", "tags", "versions"]

    def sql(self) -> Clause:
        match self.what:
            case "unknown":
                return Patch.unknown > 0
            case "note":
                return Patch.note != ""
            case "tags":
                return Patch.tags != ""
            case "versions":
                return Patch.versions > 1

    def judge(self, facts: Facts) -> bool:
        match self.what:
            case "unknown":
                return facts.unknown > 0
            case "note":
                return facts.note != ""
            case "tags":
                return bool(facts.tags)
            case "versions":
                return facts.versions > 1

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        if self.what == "unknown":
            yield Reason("unknown", f"{facts.unknown} unknown")
        elif self.what == "versions":
            yield Reason("versions", f"{facts.versions} versions")
        elif self.what == "note":
            yield Reason("note", wording.snippet(facts.note, ()))


@dataclass(frozen=True, slots=True)
class CameFrom:
    """How the latest version came to be: one of these kinds, or a text within the detail (ASCII letters case-blind)."""

    kinds: frozenset[str]
    within: str = ""

    def sql(self) -> Clause:
        parts: list[Clause] = [Patch.origin.in_(sorted(self.kinds))] if self.kinds else []
        if self.within:
            holds = func.instr(func.lower(Version.detail), wording.ascii_lower(self.within)) > 0
            parts.append(Patch.latest_id.in_(select(Version.id).where(holds)))
        return or_(false(), *parts)

    def judge(self, facts: Facts) -> bool:
        within = bool(self.within) and wording.ascii_lower(self.within) in wording.ascii_lower(facts.detail)
        return facts.origin in self.kinds or within

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        yield Reason("origin", f"{facts.origin}: {facts.detail}" if facts.detail else facts.origin)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a parameter stands in the rows of one stored layout."""

    layout_id: int
    layout: Layout
    parameter: str


@dataclass(frozen=True, slots=True)
class Condition:
    """One parameter of one chart revision whose exact value lies in `ranges`."""

    chart: str
    revision: int
    parameter: ParameterLike
    places: tuple[Place, ...]
    ranges: Ranges

    def codes(self, place: Place) -> list[tuple[int, int]]:
        """The ranges as codes of this layout's column, both ends included; what it cannot hold is left out."""
        _, width = place.layout.column(place.parameter)
        bias = BIAS[width]
        found = [(max(low, 1 - bias), min(high, bias - 1)) for low, high in self.ranges]
        return [(low + bias, high + bias) for low, high in found if low <= high]

    def holds(self, facts: Facts) -> int | None:
        """The value, when this patch is of this chart revision and its value lies in the ranges."""
        if (facts.chart, facts.revision) != (self.chart, self.revision):
            return None
        value = facts.values.get(self.parameter.id)
        if value is None or not any(low <= value <= high for low, high in self.ranges):
            return None
        return value


@dataclass(frozen=True, slots=True)
class Valued:
    """Some parameter of that name has such a value (one condition for each chart revision that has one)."""

    conditions: tuple[Condition, ...]

    def sql(self) -> Clause:
        parts: list[Clause] = []
        for condition in self.conditions:
            for place in condition.places:
                offset, width = place.layout.column(place.parameter)
                code = func.substr(Content.row, offset + 1, width)
                inside: list[Clause] = [
                    and_(code >= low.to_bytes(width, "big"), code <= high.to_bytes(width, "big"))
                    for low, high in condition.codes(place)
                ]
                if inside:
                    parts.append(and_(Content.layout_id == place.layout_id, or_(*inside)))
        return Patch.content_id.in_(select(Content.id).where(or_(false(), *parts)))

    def judge(self, facts: Facts) -> bool:
        return any(condition.holds(facts) is not None for condition in self.conditions)

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        for condition in self.conditions:
            value = condition.holds(facts)
            if value is not None:
                yield Reason("value", f"{condition.parameter.label} {condition.parameter.display(value)}")


@dataclass(frozen=True, slots=True)
class Unheard:
    """Some parameter of that name is unknown."""

    conditions: tuple[Condition, ...]

    def sql(self) -> Clause:
        parts: list[Clause] = []
        for condition in self.conditions:
            for place in condition.places:
                offset, width = place.layout.column(place.parameter)
                nothing = func.substr(Content.row, offset + 1, width) == bytes(width)
                parts.append(and_(Content.layout_id == place.layout_id, nothing))
        return Patch.content_id.in_(select(Content.id).where(or_(false(), *parts)))

    def judge(self, facts: Facts) -> bool:
        return any(self._of(condition, facts) for condition in self.conditions)

    @staticmethod
    def _of(condition: Condition, facts: Facts) -> bool:
        same = (facts.chart, facts.revision) == (condition.chart, condition.revision)
        return same and condition.parameter.id in facts.unknown_ids

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        for condition in self.conditions:
            if self._of(condition, facts):
                yield Reason("unknown", f"{condition.parameter.label} unknown")


@dataclass(frozen=True, slots=True)
class And:
    """All of them."""

    parts: tuple[Node, ...]

    def sql(self) -> Clause:
        return and_(true(), *(part.sql() for part in self.parts))

    def judge(self, facts: Facts) -> bool:
        return all(part.judge(facts) for part in self.parts)

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        for part in self.parts:
            yield from part.reasons(facts)


@dataclass(frozen=True, slots=True)
class Or:
    """At least one of them."""

    parts: tuple[Node, ...]

    def sql(self) -> Clause:
        return or_(false(), *(part.sql() for part in self.parts))

    def judge(self, facts: Facts) -> bool:
        return any(part.judge(facts) for part in self.parts)

    def reasons(self, facts: Facts) -> Iterator[Reason]:
        for part in self.parts:
            if part.judge(facts):
                yield from part.reasons(facts)


@dataclass(frozen=True, slots=True)
class Not:
    """Not this."""

    part: Node

    def sql(self) -> Clause:
        return not_(self.part.sql())

    def judge(self, facts: Facts) -> bool:
        return not self.part.judge(facts)

    def reasons(self, facts: Facts) -> Iterator[Reason]:  # noqa: ARG002 - an absence shows nothing
        yield from ()


EVERYTHING: Node = And(())


def text_expression(node: Node) -> str | None:
    """One expression for the word index when the node is made of words only; None otherwise.

    One question with many words is answered much faster than many questions with one.
    """
    if isinstance(node, Text):
        return node.expression
    if isinstance(node, And | Or) and node.parts:
        inner: list[Any] = [text_expression(part) for part in node.parts]
        if all(part is not None for part in inner):
            return "(" + (" AND " if isinstance(node, And) else " OR ").join(inner) + ")"
    return None


def texts(node: Node) -> list[Text]:
    """The words that a patch must have, for the order by match."""
    if isinstance(node, Text):
        return [node]
    return [text for part in node.parts for text in texts(part)] if isinstance(node, And) else []
