"""The frozen types that cross the borders between rooms.

Numbers are what travels on the wire: channels 0-15 (shown as 1-16), device IDs 0-126 (127 is all call),
values are exact integers in the instrument's own units. Text for people is derived elsewhere.
"""

from __future__ import annotations

from collections.abc import ItemsView, Iterable, Iterator, KeysView, Mapping, ValuesView
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Literal

ALL_CALL = 0x7F


@dataclass(frozen=True, slots=True)
class Message:
    """One whole MIDI message as it crossed the cable, status byte included.

    A SysEx message has its F0 and F7, and realtime bytes that stood inside it are removed (they are messages
    of their own). Running status is resolved. `at`: seconds on the receiving clock; not part of equality.
    """

    raw: bytes
    at: float = field(default=0.0, compare=False)

    @property
    def is_sysex(self) -> bool:
        """True for F0 ... F7."""
        return self.raw[:1] == b"\xf0"


@dataclass(frozen=True, slots=True)
class Damaged:
    """Bytes that came but are no whole message: kept, with the reason as one sentence, never dropped in silence.

    `kind`: 'unterminated' (SysEx ended by another status, time-out, cap or end of input), 'incomplete' (a short
    message cut off), 'ignored' (data bytes without status, undefined or lone status bytes).
    """

    raw: bytes
    kind: Literal["unterminated", "incomplete", "ignored"]
    reason: str
    at: float = field(default=0.0, compare=False)


Arrival = Message | Damaged


@dataclass(frozen=True, slots=True)
class Address:
    """Where an instrument listens: channel 0-15, device ID 0-126, or `ALL_CALL` where it is not known."""

    channel: int = 0
    device: int = ALL_CALL

    def __post_init__(self) -> None:
        if not 0 <= self.channel <= 15:
            raise ValueError(f"channel {self.channel} on the wire; it is 0 to 15")
        if not 0 <= self.device <= 127:
            raise ValueError(f"device ID {self.device}; it is 0 to 127")


class Values(Mapping[str, int]):
    """Parameter id -> exact integer in the instrument's own units. An id that is absent is **unknown**.

    Immutable, hashable, equal by content whatever the order.
    """

    __slots__ = ("_known",)

    def __init__(self, known: Mapping[str, int] | Iterable[tuple[str, int]] = ()) -> None:
        self._known: dict[str, int] = dict(known)

    def __getitem__(self, parameter: str) -> int:
        return self._known[parameter]

    def __iter__(self) -> Iterator[str]:
        return iter(self._known)

    def __len__(self) -> int:
        return len(self._known)

    def __hash__(self) -> int:
        return hash(frozenset(self._known.items()))

    def __eq__(self, other: object) -> bool:
        return self._known == other._known if isinstance(other, Values) else NotImplemented

    # Mapping's own answers go through __getitem__ one by one; very many sounds are read.
    def __contains__(self, parameter: object) -> bool:
        return parameter in self._known

    def keys(self) -> KeysView[str]:
        """The known ids."""
        return self._known.keys()

    def items(self) -> ItemsView[str, int]:
        """The known ids with their values."""
        return self._known.items()

    def values(self) -> ValuesView[int]:
        """The known values."""
        return self._known.values()

    def __repr__(self) -> str:
        return f"Values({self._known!r})"

    @property
    def known(self) -> Mapping[str, int]:
        """The same as a read-only view of a plain dict: much faster where very many sounds are read."""
        return MappingProxyType(self._known)

    def with_values(self, more: Mapping[str, int]) -> Values:
        """A new set in which `more` replaces or adds."""
        return Values({**self._known, **more})

    def only(self, parameters: Iterable[str]) -> Values:
        """A new set reduced to these ids (those that are known)."""
        wanted = set(parameters)
        return Values({name: value for name, value in self._known.items() if name in wanted})

    def without(self, parameters: Iterable[str]) -> Values:
        """A new set in which these ids are unknown."""
        gone = set(parameters)
        return Values({name: value for name, value in self._known.items() if name not in gone})


OriginKind = Literal["captured", "by hand", "imported", "edited", "carried", "blended", "varied", "restored", "safety"]


@dataclass(frozen=True, slots=True)
class Origin:
    """How a version came to be. `detail` is plain text: the way and ports, file and offset, revision, sources."""

    kind: OriginKind
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Version:
    """Immutable content of a patch at one moment.

    `unknown`: ids of the chart revision whose value was never received. `received`: the exact bytes of the dumps
    or controller messages that it came from, in order of arrival (empty when it was edited). `name`: the name
    inside the dump, if the instrument keeps one. `taken`: UTC, aware.
    """

    chart: str
    revision: int
    values: Values
    unknown: frozenset[str] = frozenset()
    received: tuple[bytes, ...] = ()
    origin: Origin = Origin("captured")
    name: str = ""
    taken: datetime = field(default_factory=lambda: datetime.now(UTC))

    def __post_init__(self) -> None:
        both = [name for name in self.unknown if name in self.values]
        if both:
            raise ValueError(f"known and unknown at once: {', '.join(sorted(both))}")

    @property
    def known(self) -> int:
        """How many parameters of the chart revision are known; what another revision left aside is none of them."""
        return sum("@" not in name for name in self.values)

    @property
    def complete(self) -> bool:
        """True when every parameter of the chart revision is known."""
        return not self.unknown


State = Literal["equal", "different", "unknown"]


@dataclass(frozen=True, slots=True)
class Difference:
    """One parameter of a comparison. `share`: |B - A| as share of the range, 0 to 1 (a stepped one: 1 if different).

    `a`, `b`: raw values, None when unknown. Texts are in display units; `text_difference` is signed, '' when equal
    or not comparable, 'differs' for stepped parameters and switches.
    """

    parameter: str
    section: str
    state: State
    a: int | None
    b: int | None
    text_a: str
    text_b: str
    text_difference: str
    share: float
    sound: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sets of values laid side by side, in panel order. Setup parameters are rows too but count only if asked."""

    rows: tuple[Difference, ...]
    with_setup: bool = False

    @property
    def counted(self) -> tuple[Difference, ...]:
        """The rows that the summary counts: sound parameters, and setup ones when asked for."""
        return tuple(row for row in self.rows if row.sound or self.with_setup)

    def count(self, state: State) -> int:
        """How many counted rows are in this state."""
        return sum(row.state == state for row in self.counted)

    @property
    def different(self) -> tuple[Difference, ...]:
        """Counted rows that differ, in panel order."""
        return tuple(row for row in self.counted if row.state == "different")

    def by_size(self) -> tuple[Difference, ...]:
        """Different rows first, largest share of the range first (equal shares in panel order); unknown ones last."""
        rank = {"different": 0, "equal": 1, "unknown": 2}
        return tuple(sorted(self.counted, key=lambda row: (rank[row.state], -row.share)))
