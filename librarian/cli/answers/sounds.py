"""Patches, versions, sounds, comparisons: the parts that answers share."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from librarian.cli.answers.base import Answer


class Patch(Answer):
    """One patch as a list shows it."""

    id: int
    name: str
    instrument: str
    tags: list[str]
    note: str
    versions: int
    unknown: int
    origin: str
    taken: datetime
    changed: datetime
    place: Literal["live", "trash"]


class Version(Answer):
    """One version of a patch. `number` counts from 1; `unknown`: how many parameters were never received."""

    id: int
    number: int
    taken: datetime
    origin: str
    detail: str
    note: str
    unknown: int


class Value(Answer):
    """One parameter. `value` and `text` are null and "unknown" when it was never received."""

    id: str
    section: str
    label: str
    value: int | None
    text: str
    binding: str
    sound: bool


class Sound(Answer):
    """The content of a version."""

    chart: str
    revision: int
    name: str
    taken: datetime
    origin: str
    detail: str
    known: int
    of: int
    values: list[Value]
    received: list[str]


class Difference(Answer):
    """One parameter on both sides. `share`: of the range, 0 to 1."""

    id: str
    section: str
    label: str
    state: Literal["equal", "different", "unknown"]
    a: int | None
    b: int | None
    text_a: str
    text_b: str
    difference: str
    share: float
    sound: bool


class Comparison(Answer):
    """`counted` rows are sound parameters (and setup ones when asked): equal + different + unknown = counted."""

    counted: int
    equal: int
    different: int
    unknown: int
    rows: list[Difference]
