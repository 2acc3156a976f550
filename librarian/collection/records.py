"""What the collection hands out: frozen rows, plain types."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Literal, Protocol, overload

import numpy as np
from numpy.typing import NDArray

from librarian.messages import Address, Origin, Version

Place = Literal["live", "trash"]


class ChartLike(Protocol):
    """What a library needs of a chart to keep sounds by it. `parameters`: id -> something with `low` and `high`."""

    @property
    def id(self) -> str: ...
    @property
    def revision(self) -> int: ...
    @property
    def name(self) -> str: ...
    @property
    def text(self) -> str: ...
    @property
    def parameters(self) -> object: ...


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """One instrument. `output`, `input`: port fingerprints, '' when not chosen. `pace`: JSON, '' when unchanged."""

    id: int
    name: str
    chart: str
    revision: int
    chart_name: str
    address: Address
    output: str = ""
    input: str = ""
    firmware: str = ""
    pace: str = ""
    removed: bool = False


@dataclass(frozen=True, slots=True)
class PatchRow:
    """One patch as a list shows it; content is its latest version. Times are UTC, aware."""

    id: int
    name: str
    instrument: int
    instrument_name: str
    tags: tuple[str, ...]
    note: str
    latest: int
    versions: int
    unknown: int
    origin: str
    taken: datetime
    changed: datetime
    place: Place = "live"


@dataclass(frozen=True, slots=True)
class VersionRow:
    """One version as the history line shows it. `number` counts from 1 within the patch."""

    id: int
    number: int
    taken: datetime
    kept: datetime
    origin: Origin
    note: str
    unknown: int
    parent: int | None
    content: int


@dataclass(frozen=True, slots=True)
class NewPatch:
    """One sound to keep, for many at once."""

    instrument: int
    name: str
    version: Version
    tags: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class SavedSearchRow:
    """A search line with its name."""

    id: int
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class UnreadRow:
    """Bytes that no chart understood yet, where they came from and why they were not understood."""

    id: int
    messages: tuple[bytes, ...]
    source: str
    reason: str
    kept: datetime


@dataclass(frozen=True, slots=True)
class StepRow:
    """One thing the person did, with the number of `patches` it touched; an 'undone' one can be redone."""

    id: int
    at: datetime
    label: str
    state: Literal["done", "undone", "dropped"]
    patches: int


class Ids(Sequence[int]):
    """Patch ids in the order of the list: 8 bytes each, whatever their number. Equal by content."""

    __slots__ = ("_array",)

    def __init__(self, ids: Iterable[int] | NDArray[np.int64] = ()) -> None:
        self._array: NDArray[np.int64] = (
            ids if isinstance(ids, np.ndarray) else np.fromiter(ids, np.int64)
        )  # fmt: skip
        self._array.setflags(write=False)

    @property
    def array(self) -> NDArray[np.int64]:
        """The ids as a read-only numpy array, shape (n,)."""
        return self._array

    def __len__(self) -> int:
        return len(self._array)

    @overload
    def __getitem__(self, place: int) -> int: ...
    @overload
    def __getitem__(self, place: slice) -> Ids: ...
    def __getitem__(self, place: int | slice) -> int | Ids:
        return Ids(self._array[place]) if isinstance(place, slice) else int(self._array[place])

    def __iter__(self) -> Iterator[int]:
        return iter(self._array.tolist())

    def __contains__(self, patch: object) -> bool:
        return isinstance(patch, int) and bool((self._array == patch).any())

    def place(self, patch: int) -> int | None:
        """Where in the list this patch stands, or None."""
        found = np.flatnonzero(self._array == patch)
        return int(found[0]) if len(found) else None

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Ids):
            return bool(np.array_equal(self._array, other._array))
        return list(self) == list(other) if isinstance(other, Sequence) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._array.tobytes())

    def __repr__(self) -> str:
        return f"Ids({list(self[:8])}{' …' if len(self) > 8 else ''}, {len(self)} in all)"


_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)


def moment(microseconds: int) -> datetime:
    """A stored time as UTC."""
    return _BEGIN + timedelta(microseconds=microseconds)


def microseconds(when: datetime) -> int:
    """A time as stored: microseconds since 1970 UTC. A naive one is taken as UTC."""
    aware = when if when.tzinfo else when.replace(tzinfo=UTC)
    delta = aware - _BEGIN
    return (delta.days * 86400 + delta.seconds) * 1_000_000 + delta.microseconds


Order = Literal["name", "time", "instrument", "match"]
GroupBy = Literal["tag", "instrument"]


@dataclass(frozen=True, slots=True)
class Group:
    """A part of what was found under one heading; '' is the heading of those that have none."""

    name: str
    ids: Ids


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a patch was found. `kind`: 'name', 'tag', 'note', 'value', 'unknown', 'time', 'origin', 'instrument'.

    `text` is what a list row shows: the tag, a piece of the note, "Cutoff 2.7 kHz". For 'name', `spans` are the
    (start, end) places in the name to underline.
    """

    kind: str
    text: str
    spans: tuple[tuple[int, int], ...] = field(default=())
