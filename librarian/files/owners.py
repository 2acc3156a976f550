"""Whose a message is: the instrument with this device ID and channel, else any instrument of the chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from librarian.chart import Chart
from librarian.files.targets import Hit, Target

_REMEMBERED = 1 << 14


@dataclass(frozen=True, slots=True)
class Owner:
    """`index`: of the target. `own`: it is this very instrument's, by device ID and channel."""

    index: int
    hit: Hit
    own: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """The owner of every message that begins so and is so long; `others`: see `Owners.others`."""

    owner: Owner
    others: tuple[int, ...]


class Owners:
    """Asks the targets. Files hold runs of one instrument's messages: the `last` that owned one is asked first."""

    def __init__(self, targets: Sequence[Target]) -> None:
        self._targets = targets
        self._peers = [
            [
                other
                for other, target in enumerate(targets)
                if other != index and (target.instrument is None) == (mine.instrument is None)
            ]
            for index, mine in enumerate(targets)
        ]
        self._reaches: dict[int, int] = {}
        self._settled: dict[tuple[bytes, int, int], Settled | None] = {}

    def _order(self, last: int) -> list[int]:
        return sorted(range(len(self._targets)), key=lambda index: index != last)

    def whose(self, raw: bytes, last: int) -> Owner | None:
        """The first that knows the message."""
        order = self._order(last)
        for index in order:
            hit = self._targets[index].own(raw)
            if hit is not None:
                return Owner(index, hit, own=True)
        for index in order:
            hit = self._targets[index].recognise(raw)
            if hit is not None:
                return Owner(index, hit, own=False)
        return None

    def others(self, index: int, raw: bytes) -> tuple[int, ...]:
        """Targets that the message fits as well as this one: of its device and channel, or only of its chart."""
        peers = self._peers[index]
        if not peers:
            return ()
        mine = self._targets[index].own(raw) is not None
        targets = self._targets
        return tuple(
            other for other in peers if (targets[other].own(raw) if mine else targets[other].recognise(raw)) is not None
        )

    def settled(self, raw: bytes, last: int) -> Settled | None:
        """What `whose` and `others` say of every message with this beginning and length; None where they may differ."""
        reach = self._reach(len(raw))
        key = (raw[:reach], len(raw), last)
        if key not in self._settled:
            if len(self._settled) >= _REMEMBERED:
                self._settled.clear()
            owner = self.whose(raw, last) if self.is_decided(raw, last, reach) else None
            found = None if owner is None else Settled(owner, self.others(owner.index, raw))
            self._settled[key] = found
        return self._settled[key]

    def _reach(self, size: int) -> int:
        """The longest beginning that decides among messages of a length."""
        if size not in self._reaches:
            self._reaches[size] = max((target.chart.codec.reach(size) for target in self._targets), default=0)
        return self._reaches[size]

    def is_decided(self, raw: bytes, last: int, reach: int, chart: Chart | None = None, besides: str = "") -> bool:
        """No target that is asked looks further than the first `reach` bytes of the message.

        `besides`: a message of `chart` of which that is known.
        """
        targets = self._targets

        def own(index: int) -> bool:
            return targets[index].own_is_decided(raw, reach, besides if targets[index].chart is chart else "")

        for index in self._order(last):
            if not own(index):
                return False
            if targets[index].own(raw) is not None:
                return all(own(other) for other in self._peers[index])
        return all(each.is_decided(raw, reach, besides if each.chart is chart else "") for each in targets)
