"""Movements of controllers put together: 14-bit pairs, NRPN data of 7 or 14 bits, several messages for one control."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from librarian.chart.learn.events import Event, Source

TOGETHER_S = 0.015
_SAME_HAND_S = 0.008
"""Several messages for one move leave one after another: four of them take 4 ms on a cable."""
_MOSTLY = 0.8
_ALWAYS = 0.9
_LEAST_PAIR = 3


@dataclass(frozen=True, slots=True)
class Track:
    """One way in which a control travels. `binding`: as the chart language writes it. `values`: in their order."""

    binding: Mapping[str, Any]
    text: str
    channel: int
    most: int
    values: tuple[int, ...]
    indexes: tuple[int, ...]
    times: tuple[float, ...]
    sources: tuple[Source, ...] = ()
    opened: int = 0

    @property
    def first(self) -> int:
        """Number of its first message, be it only a half: it stays the same when halves turn out to be a pair."""
        return self.opened


class Tracker:
    """Collects events; what a source's new events do not touch is not worked out again."""

    def __init__(self) -> None:
        self._of: dict[Source, list[Event]] = {}
        self._made: dict[tuple[Source, ...], tuple[tuple[int, ...], Any]] = {}

    def add(self, event: Event) -> None:
        """One step of a movement."""
        self._of.setdefault(event.source, []).append(event)

    def forget(self, sources: Sequence[Source]) -> None:
        """Forget all that came from these."""
        for source in sources:
            self._of.pop(source, None)

    def tracks(self) -> list[Track]:
        """The tracks so far, in the order in which they first moved."""
        controllers = {source: some for source, some in self._of.items() if source.kind == "cc"}
        found = [
            self._once("data", (source,), partial(_data, source, self._of[source]))
            for source in self._of
            if source.kind != "cc"
        ]
        for msb, lsb in self._pairs(controllers):
            rough, fine = controllers.pop(msb), controllers.pop(lsb)
            track = self._once("pair", (msb, lsb), partial(_pair, rough, fine))
            found.append(track)
        found += [
            self._once("seven", (source,), partial(_seven, source, some))
            for source, some in controllers.items()
        ]
        return sorted((one for one in found if one is not None), key=lambda one: one.first)

    def groups(self) -> list[tuple[Track, ...]]:
        """The tracks of each control: those that always move together belong to one."""
        groups: list[list[Track]] = []
        for track in self.tracks():
            home = next((group for group in groups if self._same_hand(group[0], track)), None)
            if home is None:
                groups.append([track])
            else:
                home.append(track)
        return [tuple(group) for group in groups]

    def _once(self, what: str, sources: tuple[Source, ...], make: Callable[[], Any]) -> Any:
        """What was made of these sources, made anew when one of them has moved since."""
        counts = tuple(len(self._of.get(source, ())) for source in sources)
        key = (Source("cc", 0, hash(what)), *sources)
        kept = self._made.get(key)
        if kept is None or kept[0] != counts:
            kept = self._made[key] = (counts, make())
        return kept[1]

    def _same_hand(self, one: Track, other: Track) -> bool:
        return bool(self._once("same", (*one.sources, *other.sources), partial(_moves_with, one, other)))

    def _pairs(self, of: Mapping[Source, Sequence[Event]]) -> list[tuple[Source, Source]]:
        """(MSB, LSB) controllers: those of the standard, and others that always come by turns."""
        found: list[tuple[Source, Source]] = []
        used: set[Source] = set()
        for msb in of:
            lsb = Source("cc", msb.channel, msb.number + 32)
            if msb.number < 32 and lsb in of and self._once("halves", (msb, lsb), partial(_halves, of, msb, lsb)):
                found.append((msb, lsb))
                used |= {msb, lsb}
        free = [source for source in of if source not in used and len(of[source]) >= _LEAST_PAIR]
        for place, one in enumerate(free):
            for other in free[place + 1 :]:
                if one.channel != other.channel or one in used or other in used:
                    continue
                pair = self._once("turns", (one, other), partial(_turns, of, one, other))
                if pair:
                    found.append(pair)
                    used |= {one, other}
        return found


def _halves(of: Mapping[Source, Sequence[Event]], msb: Source, lsb: Source) -> bool:
    """An MSB alone is a whole value, and an LSB alone may follow it (MIDI 1.0 Detailed Specification 4.2.1 p.12)."""
    rough, fine = _times(of[msb]), _times(of[lsb])
    return _overlap(rough, fine) and max(_near(rough, fine), _near(fine, rough)) >= _MOSTLY


def _turns(of: Mapping[Source, Sequence[Event]], one: Source, other: Source) -> tuple[Source, Source] | None:
    these, those = of[one], of[other]
    if len(these) != len(those) or these[-1].at < those[0].at or those[-1].at < these[0].at:
        return None
    if not _by_turns(these, those):
        return None
    rough, fine = sorted((one, other), key=lambda source: _travel(of[source]))
    return (rough, fine) if _travel(of[fine]) > 2 * _travel(of[rough]) else None  # the LSB wraps round


def _moves_with(one: Track, other: Track) -> bool:
    """One control sends both: always the same one first, close behind each other, both up or both down.

    Two hands that turn two pots at once send just as densely, but in no fixed order.
    """
    if min(len(one.times), len(other.times)) < _LEAST_PAIR or not _overlap(one.times, other.times):
        return False
    if _near(one.times, other.times, _SAME_HAND_S) < _MOSTLY or _near(other.times, one.times, _SAME_HAND_S) < _MOSTLY:
        return False
    matches = _matches(one.times, other.times)
    gaps = [other.times[place] - at for at, place in matches]
    behind = sum(gap > 0 for gap in gaps)
    if max(behind, len(gaps) - behind) < _ALWAYS * len(gaps):
        return False
    pairs = [(one.values[number], other.values[place]) for number, (_, place) in enumerate(matches)]
    steps = [(b[0] - a[0]) * (b[1] - a[1]) for a, b in itertools.pairwise(pairs)]
    same, against = sum(step > 0 for step in steps), sum(step < 0 for step in steps)
    return max(same, against) >= _ALWAYS * (same + against)


def _overlap(these: Sequence[float], those: Sequence[float]) -> bool:
    """Quickly: the middle of each lies within the other."""
    return (
        those[0] - TOGETHER_S <= these[len(these) // 2] <= those[-1] + TOGETHER_S
        and these[0] - TOGETHER_S <= those[len(those) // 2] <= these[-1] + TOGETHER_S
    )


def _matches(these: Sequence[float], those: Sequence[float]) -> list[tuple[float, int]]:
    """(moment, place of the nearest of `those`) for each of `these`."""
    found, place = [], 0
    for moment in these:
        while place + 1 < len(those) and abs(those[place + 1] - moment) <= abs(those[place] - moment):
            place += 1
        found.append((moment, place))
    return found


def _near(these: Sequence[float], those: Sequence[float], within_s: float = TOGETHER_S) -> float:
    """The share of `these` moments that have one of `those` so near."""
    return sum(abs(those[place] - moment) <= within_s for moment, place in _matches(these, those)) / len(these)


def _by_turns(one: Sequence[Event], other: Sequence[Event]) -> bool:
    if len(one) != len(other) or _near(_times(one), _times(other)) < _MOSTLY:
        return False
    both = sorted([*one, *other], key=lambda event: event.index)
    return all(before.source != after.source for before, after in itertools.pairwise(both))


def _travel(events: Sequence[Event]) -> int:
    return sum(abs(after.value - before.value) for before, after in itertools.pairwise(events))


def _times(events: Sequence[Event]) -> list[float]:
    return [event.at for event in events]


def _track(
    binding: Mapping[str, Any], text: str, most: int, steps: Sequence[tuple[Event, int]], opened: int, *sources: Source
) -> Track | None:
    """None while only halves came."""
    if not steps:
        return None
    return Track(
        binding,
        text,
        steps[0][0].source.channel,
        most,
        tuple(value for _, value in steps),
        tuple(event.index for event, _ in steps),
        tuple(event.at for event, _ in steps),
        sources,
        opened,
    )


def _seven(source: Source, events: Sequence[Event]) -> Track | None:
    return _track({"cc": source.number}, f"CC {source.number}", 127, [(event, event.value) for event in events],
                  events[0].index, source)  # fmt: skip


def _joined(events: Sequence[Event], is_msb: Any, lsb_first: bool) -> list[tuple[Event, int]]:
    """A value each time the half that ends a pair comes; before both halves were seen the value is unknown."""
    msb: int | None = None
    lsb: int | None = None
    found = []
    for event in events:
        if is_msb(event):
            msb = event.value
        else:
            lsb = event.value
        if msb is not None and lsb is not None and is_msb(event) == lsb_first:
            found.append((event, msb << 7 | lsb))
    return found


def _pair(rough: Sequence[Event], fine: Sequence[Event]) -> Track | None:
    msb, lsb = rough[0].source.number, fine[0].source.number
    both = sorted([*rough, *fine], key=lambda event: event.index)
    lsb_first = _fine_first(both, msb)
    standard = lsb == msb + 32
    binding: dict[str, Any] = {"cc14": msb if standard else [msb, lsb]}
    if lsb_first:
        binding["order"] = "lsb_first"
    steps = _joined(both, lambda event: event.source.number == msb, lsb_first)
    return _track(binding, f"CC {msb} and {lsb}", 16383, steps, both[0].index, rough[0].source, fine[0].source)


def _fine_first(both: Sequence[Event], msb: int) -> bool:
    """Whether the LSB opens a pair: by the shorter of the two pauses, and by the very first message if they equal."""
    after_msb = [b.at - a.at for a, b in itertools.pairwise(both) if a.source.number == msb != b.source.number]
    after_lsb = [b.at - a.at for a, b in itertools.pairwise(both) if a.source.number != msb == b.source.number]
    if after_msb and after_lsb:
        rough, fine = sorted(after_msb)[len(after_msb) // 2], sorted(after_lsb)[len(after_lsb) // 2]
        if abs(rough - fine) > 0.2 * max(rough, fine):
            return fine < rough
    return both[0].source.number != msb


def _data(source: Source, events: Sequence[Event]) -> Track | None:
    halves = {event.half for event in events}
    name = f"{source.kind.upper()} {source.number}"
    if len(halves) == 2:
        first_lsb = events[0].half == "lsb" and events[1].half == "msb"
        steps = _joined(events, lambda event: event.half == "msb", first_lsb)
        return _track({source.kind: source.number}, name, 16383, steps, events[0].index, source)
    binding: dict[str, Any] = {source.kind: source.number, "bits": 7}
    if halves == {"lsb"}:
        binding["half"] = "lsb"
    return _track(binding, f"{name}, 7 bits", 127, [(event, event.value) for event in events],
                  events[0].index, source)  # fmt: skip
