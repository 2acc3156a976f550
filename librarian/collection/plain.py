"""A version as plain JSON values and back, for places that keep whole sounds outside of patches."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, get_args

from librarian.errors import BadInput
from librarian.messages import Origin, OriginKind, Values, Version


def as_plain(version: Version) -> dict[str, Any]:
    """Everything of a version under readable keys; received bytes in hexadecimal, the time in ISO 8601."""
    return {
        "chart": version.chart,
        "revision": version.revision,
        "name": version.name,
        "taken": version.taken.isoformat(),
        "origin": {"kind": version.origin.kind, "detail": version.origin.detail},
        "values": dict(version.values),
        "unknown": sorted(version.unknown),
        "received": [raw.hex(" ") for raw in version.received],
    }


def of_plain(content: object) -> Version:
    """The version that `as_plain` wrote. Raises BadInput saying what is missing or of the wrong kind."""
    try:
        return _version(content)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadInput(f"This is no sound as it was kept: {error!r} is missing or of the wrong kind.") from error


def _version(content: object) -> Version:
    if not isinstance(content, Mapping):
        raise TypeError(type(content).__name__)
    kind: OriginKind = content["origin"]["kind"]
    if kind not in get_args(OriginKind):
        raise ValueError(kind)
    taken = datetime.fromisoformat(content["taken"])
    if taken.tzinfo is None:
        raise ValueError(content["taken"])
    return Version(
        chart=_text(content["chart"]),
        revision=_whole(content["revision"]),
        values=Values({_text(name): _whole(value) for name, value in content["values"].items()}),
        unknown=frozenset(_text(name) for name in content["unknown"]),
        received=tuple(bytes.fromhex(raw) for raw in content["received"]),
        origin=Origin(kind, _text(content["origin"]["detail"])),
        name=_text(content["name"]),
        taken=taken,
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return value


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(value)
    return value
