"""The words with a colon: what each takes, and the query object it makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import get_args

from librarian.collection.folding import fold, words
from librarian.collection.records import microseconds
from librarian.messages import OriginKind

from .dates import span
from .nodes import CameFrom, Has, Node, OnInstrument, Tagged, Taken, Text
from .vocabulary import Vocabulary

KINDS: tuple[str, ...] = get_args(OriginKind)
#: Plain words for kinds of origin, beside the kinds' own names.
SOURCES: dict[str, frozenset[str]] = {
    **{kind: frozenset({kind}) for kind in KINDS},
    "file": frozenset({"imported"}),
    "import": frozenset({"imported"}),
    "instrument": frozenset({"captured", "by hand", "safety"}),
    "capture": frozenset({"captured", "by hand"}),
    "hand": frozenset({"by hand"}),
    "edit": frozenset({"edited"}),
    "blend": frozenset({"blended"}),
}
HAS = ("unknown", "note", "tags", "versions")
_HAS_WORDS = {
    **{what: what for what in HAS},
    "unknowns": "unknown",
    "notes": "note",
    "tag": "tags",
    "version": "versions",
}


@dataclass(frozen=True, slots=True)
class Given:
    """What stands after the colon. `exact`: it was quoted."""

    text: str
    exact: bool
    vocabulary: Vocabulary
    now: datetime


class NotUnderstoodError(Exception):
    """The text after a colon means nothing; `near` is what may have been meant."""

    def __init__(self, sentence: str, near: str = "") -> None:
        super().__init__(sentence)
        self.near = near


def _tag(given: Given) -> Node:
    key = "/".join(fold(part).strip() for part in given.text.split("/"))
    if not key.strip("/"):
        raise NotUnderstoodError("Say which tag.")
    some = [
        (number, known)
        for number, _, known in given.vocabulary.tags
        if _is_tag(known, key, begun=not given.exact)
    ]  # fmt: skip
    if not some:
        # A tag is a path: what is spelled like one of its parts is meant too.
        spelled: dict[str, str] = {}
        for _, name, known in given.vocabulary.tags:
            for part in (known, *known.split("/")):
                spelled.setdefault(part, name)
        near = get_close_matches(key, spelled, 1, 0.6)
        raise NotUnderstoodError(f"No tag begins with “{given.text}”.", spelled[near[0]] if near else "")
    return Tagged(tuple(number for number, _ in some), frozenset(known for _, known in some))


def _is_tag(known: str, key: str, *, begun: bool) -> bool:
    """A tag answers to its path, to a part of it, and to what lies above it; `begun`: to the beginning of these."""
    whole = f"/{known}/"
    return f"/{key}" in whole if begun else f"/{key}/" in whole


def tagged_exactly(vocabulary: Vocabulary, name: str) -> Node:
    """The tag of that name with all that lie below it, as chosen from the list of tags."""
    key = fold(name)
    some = [(number, known) for number, _, known in vocabulary.tags if known == key or known.startswith(key + "/")]
    return Tagged(tuple(number for number, _ in some), frozenset(known for _, known in some))


def _instrument(given: Given) -> Node:
    wanted = words(given.text)
    names = given.vocabulary.instruments
    some = tuple(number for number, name in names if _begins(words(name), wanted))
    if not wanted or not some:
        near = get_close_matches(given.text.casefold(), [name.casefold() for _, name in names], 1, 0.5)
        spelled = next((name for _, name in names if near and name.casefold() == near[0]), "")
        raise NotUnderstoodError(f"No instrument is called “{given.text}”.", spelled)
    return OnInstrument(some)


def _begins(found: list[str], wanted: list[str]) -> bool:
    return all(any(word.startswith(one) for word in found) for one in wanted)


def _column(column: str) -> Callable[[Given], Node]:
    def make(given: Given) -> Node:
        wanted = tuple(words(given.text))
        if not wanted:
            raise NotUnderstoodError(f"Say which word the {column} has.")
        return Text(wanted, "note" if column == "note" else "name", whole=given.exact)

    return make


def _time(side: str) -> Callable[[Given], Node]:
    def make(given: Given) -> Node:
        found = span(given.text, given.now)
        if found is None:
            raise NotUnderstoodError(
                f"“{given.text}” is no date. Write for example 2026-03-12, march, yesterday or last week.", ""
            )
        start, end = microseconds(found.start), microseconds(found.end)
        if side == "before":
            return Taken(None, start)
        # After a day means from the next one on; after a span of the kind "3 days ago" means since then.
        if side == "after":
            return Taken(start if found.end == given.now else end, None)
        return Taken(start, end)

    return make


def _since(given: Given) -> Node:
    found = span(given.text, given.now)
    if found is None:
        raise NotUnderstoodError(f"“{given.text}” is no date. Write for example 2026-03-12, march or last week.", "")
    return Taken(microseconds(found.start), None)


def _has(given: Given) -> Node:
    what = _HAS_WORDS.get(given.text.casefold())
    if what is None:
        near = get_close_matches(given.text.casefold(), HAS, 1, 0.5)
        raise NotUnderstoodError(f"A patch can have {', '.join(HAS[:-1])} or {HAS[-1]}, not “{given.text}”.",
                            near[0] if near else "")  # fmt: skip
    return Has(what)  # type: ignore[arg-type]


def _from(given: Given) -> Node:
    typed = " ".join(given.text.casefold().split())
    if not typed:
        raise NotUnderstoodError("Say where it came from: file, instrument, hand, or a part of a file’s name.")
    return CameFrom(SOURCES.get(typed, frozenset()), "" if typed in SOURCES else given.text)


KEYS: dict[str, Callable[[Given], Node]] = {
    "tag": _tag,
    "instrument": _instrument,
    "name": _column("name"),
    "note": _column("note"),
    "before": _time("before"),
    "after": _time("after"),
    "on": _time("on"),
    "since": _since,
    "has": _has,
    "from": _from,
}
#: Keys whose value may be several words without quotes ("last week").
OF_TIME = frozenset({"before", "after", "on", "since"})
