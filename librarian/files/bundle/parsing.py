"""Lines of a bundle to what they mean; everything is checked, as anybody may have written them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, get_args

from librarian.collection.folding import MOST_TAGS, clean, clean_tags
from librarian.errors import BadInput
from librarian.files.incoming import Dated, Incoming
from librarian.messages import Origin, OriginKind, Values, Version

_KINDS = frozenset(get_args(OriginKind))
_LARGEST = 1 << 62
_MOST_VALUES = 20_000
_MOST_VERSIONS = 100_000
_HINT = "Nothing was taken from it. Export the bundle again, or correct the line."


@dataclass(frozen=True, slots=True)
class InstrumentLine:
    """An instrument as the bundle says it. `channel` 0-15."""

    name: str
    chart: str
    revision: int
    chart_file: str
    channel: int
    device: int
    firmware: str
    removed: bool


class Said:
    """One object of a line, asked key by key. Raises BadInput that names the place."""

    def __init__(self, found: Mapping[str, Any], where: str) -> None:
        self._found = found
        self.where = where

    def wrong(self, what: str) -> BadInput:
        """The error to raise."""
        return BadInput(f"{self.where}: {what}.", _HINT)

    def text(self, key: str, default: str | None = None, longest: int = 1_000_000) -> str:
        """A text."""
        found = self._found.get(key, default)
        if not isinstance(found, str) or len(found) > longest:
            raise self.wrong(f"“{key}” has to be a text of at most {longest:,} signs")
        return found

    def number(self, key: str, low: int, high: int) -> int:
        """A whole number."""
        return self._number(self._found.get(key), key, low, high)

    def _number(self, found: object, key: str, low: int, high: int) -> int:
        if isinstance(found, bool) or not isinstance(found, int) or not low <= found <= high:
            raise self.wrong(f"“{key[:60]}” has to be a whole number from {low} to {high}")
        return found

    def perhaps(self, key: str, low: int, high: int) -> int | None:
        """A whole number, or null."""
        return None if self._found.get(key) is None else self.number(key, low, high)

    def flag(self, key: str) -> bool:
        """True or false; false when it is not there."""
        found = self._found.get(key, False)
        if not isinstance(found, bool):
            raise self.wrong(f"“{key}” has to be true or false")
        return found

    def many(self, key: str, most: int) -> list[Any]:
        """A list."""
        found = self._found.get(key, [])
        if not isinstance(found, list) or len(found) > most:
            raise self.wrong(f"“{key}” has to be a list of at most {most:,}")
        return found

    def texts(self, key: str, most: int, longest: int = 1_000) -> tuple[str, ...]:
        """A list of texts."""
        found = self.many(key, most)
        if not all(isinstance(each, str) and len(each) <= longest for each in found):
            raise self.wrong(f"“{key}” has to be a list of texts")
        return tuple(found)

    def messages(self, key: str) -> tuple[bytes, ...]:
        """A list of messages in hexadecimal."""
        found = self.many(key, 1_000_000)
        try:
            messages = tuple(bytes.fromhex(each) for each in found)
        except (TypeError, ValueError):
            messages = (b"",)
        if not all(messages):
            raise self.wrong(f"“{key}” has to be a list of messages in hexadecimal")
        return messages

    def values(self, key: str) -> dict[str, int]:
        """Parameter ids with whole numbers."""
        found = self._found.get(key)
        if not isinstance(found, dict) or len(found) > _MOST_VALUES:
            raise self.wrong(f"“{key}” has to be an object of parameters with whole numbers")
        return {name: self._number(value, name, -_LARGEST, _LARGEST) for name, value in found.items()}

    def whole(self, key: str) -> Mapping[str, Any]:
        """An object as it is."""
        found = self._found.get(key)
        if not isinstance(found, dict):
            raise self.wrong(f"“{key}” has to be an object")
        return found

    def inside(self, key: str, number: int, found: object) -> Said:
        """One object of a list."""
        if not isinstance(found, dict):
            raise self.wrong(f"“{key}” has to be a list of objects")
        return Said(found, f"{self.where}, {key.removesuffix('s')} {number}")


def said(line: bytes, where: str) -> Said:
    """The object of a line. Raises BadInput for anything else."""
    try:
        found = json.loads(line.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise BadInput(f"{where}: it is not UTF-8.", _HINT) from None
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{where}: it is no JSON ({str(error)[:120]}).", _HINT) from None
    if not isinstance(found, dict):
        raise BadInput(f"{where}: it has to be one JSON object.", _HINT)
    return Said(found, where)


def instrument(told: Said) -> InstrumentLine:
    """A line of instruments.jsonl."""
    return InstrumentLine(
        told.text("name", longest=10_000),
        told.text("chart", longest=1_000),
        told.number("revision", 0, _LARGEST),
        told.text("chart_file", longest=1_000),
        told.number("channel", 1, 16) - 1,
        told.number("device", 0, 127),
        told.text("firmware", "", 1_000),
        told.flag("removed"),
    )


def sound(told: Said, instruments: int, where: str) -> Incoming:
    """A line of sounds."""
    found = told.many("versions", _MOST_VERSIONS)
    if not found:
        raise told.wrong("“versions” is missing")
    return Incoming(
        where=where,
        owner=told.number("instrument", 1, instruments) - 1,
        name=told.text("name", longest=100_000),
        tags=_tags(told),
        note=told.text("note", ""),
        versions=tuple(_version(told.inside("versions", n, each), n) for n, each in enumerate(found, 1)),
        trash=told.flag("trash"),
    )


def _tags(told: Said) -> tuple[str, ...]:
    names = told.texts("tags", MOST_TAGS)
    try:
        return tuple(clean_tags(names))
    except BadInput as fault:
        raise told.wrong(f"“tags”: {str(fault).removesuffix('.')}") from None


def _version(told: Said, number: int) -> Dated:
    values = told.values("values")
    unknown = frozenset(told.texts("unknown", _MOST_VALUES))
    if not unknown.isdisjoint(values):
        raise told.wrong("a parameter is known and unknown at once")
    chart = told.text("chart", longest=1_000)
    if not "".join((chart, *values, *unknown)).isprintable():
        raise told.wrong("its chart or a parameter has an id that cannot be printed")
    kind = told.text("origin", longest=40)
    if kind not in _KINDS:
        raise told.wrong(f"“{kind}” is no origin; there are {', '.join(sorted(_KINDS))}")
    parent = told.perhaps("parent", 1, max(number - 1, 1))
    elsewhere = told.text("parent_elsewhere", "", 64)
    try:
        foreign = bytes.fromhex(elsewhere)
    except ValueError:
        raise told.wrong("“parent_elsewhere” has to be hexadecimal") from None
    version = Version(
        chart=chart,
        revision=told.number("revision", 0, _LARGEST),
        values=Values(values),
        unknown=unknown,
        received=told.messages("received"),
        origin=Origin(kind, _as_kept(told.text("detail", ""))),  # type: ignore[arg-type]
        name=_as_kept(told.text("name_inside", "", 100_000)),
        taken=_moment(told),
    )
    return Dated(version, told.text("note", ""), None if parent is None else parent - 1, foreign)


def _as_kept(text: str) -> str:
    """As a library keeps it: what is no printable text is cleaned, so that the digest is that of what is kept."""
    return text if text.isprintable() else clean(text)


def _moment(told: Said) -> datetime:
    text = told.text("taken", longest=60)
    try:
        moment = datetime.fromisoformat(text)
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        raise told.wrong(f"“{text}” is no time such as 2026-03-12T20:04:00Z") from None
    return moment
