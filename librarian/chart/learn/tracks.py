"""Movements of controllers put together: 14-bit pairs, NRPN data of 7 or 14 bits, several messages for one control."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from librarian.chart.learn.events import Event, Source

TOGETHER_S = 0.015
_MOSTLY = 0.8
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

    @property
    def first(self) -> int:
        """Number of its first message."""
        return self.indexes[0]


def tracks(events: Iterable[Event]) -> list[Track]:
    """The tracks of a stream of events, in the order in which they first moved."""
    of: dict[Source, list[Event]] = {}
    for event in events:
        of.setdefault(event.source, []).append(event)
    found = [_data(source, some) for source, some in of.items() if source.kind != "cc"]
    controllers = {source: some for source, some in of.items() if source.kind == "cc"}
    for msb, lsb in _pairs(controllers):
        found.append(_pair(controllers.pop(msb), controllers.pop(lsb)))
    found += [_seven(source, some) for source, some in controllers.items()]
    return sorted(found, key=lambda one: one.first)


def grouped(found: Sequence[Track]) -> list[tuple[Track, ...]]:
    """Tracks that always move together belong to one control."""
    groups: list[list[Track]] = []
    for track in found:
        home = next((group for group in groups if _moves_with(group[0], track)), None)
        if home is None:
            groups.append([track])
        else:
            home.append(track)
    return [tuple(group) for group in groups]


def _moves_with(one: Track, other: Track) -> bool:
    return min(len(one.times), len(other.times)) >= _LEAST_PAIR and (
        _near(one.times, other.times) >= _MOSTLY and _near(other.times, one.times) >= _MOSTLY
    )


def _near(these: Sequence[float], those: Sequence[float]) -> float:
    """The share of `these` moments that have one of `those` within `TOGETHER_S`."""
    hit, place = 0, 0
    for moment in these:
        while place + 1 < len(those) and abs(those[place + 1] - moment) <= abs(those[place] - moment):
            place += 1
        hit += abs(those[place] - moment) <= TOGETHER_S
    return hit / len(these)


def _pairs(of: Mapping[Source, Sequence[Event]]) -> list[tuple[Source, Source]]:
    """(MSB, LSB) controllers: those of the standard, and others that always come by turns."""
    found: list[tuple[Source, Source]] = []
    used: set[Source] = set()
    for msb in of:
        lsb = Source("cc", msb.channel, msb.number + 32)
        if msb.number < 32 and lsb in of and _near(_times(of[msb]), _times(of[lsb])) >= _MOSTLY:
            found.append((msb, lsb))
            used |= {msb, lsb}
    free = [source for source in of if source not in used and len(of[source]) >= _LEAST_PAIR]
    for place, one in enumerate(free):
        for other in free[place + 1 :]:
            if one.channel != other.channel or one in used or other in used or not _by_turns(of[one], of[other]):
                continue
            rough, fine = sorted((one, other), key=lambda source: _travel(of[source]))
            if _travel(of[fine]) > 2 * _travel(of[rough]):  # the LSB wraps round while the MSB creeps
                found.append((rough, fine))
                used |= {one, other}
    return found


def _by_turns(one: Sequence[Event], other: Sequence[Event]) -> bool:
    if len(one) != len(other) or _near(_times(one), _times(other)) < _MOSTLY:
        return False
    both = sorted([*one, *other], key=lambda event: event.index)
    return all(before.source != after.source for before, after in itertools.pairwise(both))


def _travel(events: Sequence[Event]) -> int:
    return sum(abs(after.value - before.value) for before, after in itertools.pairwise(events))


def _times(events: Sequence[Event]) -> list[float]:
    return [event.at for event in events]


def _track(binding: Mapping[str, Any], text: str, most: int, steps: Sequence[tuple[Event, int]]) -> Track:
    return Track(
        binding,
        text,
        steps[0][0].source.channel,
        most,
        tuple(value for _, value in steps),
        tuple(event.index for event, _ in steps),
        tuple(event.at for event, _ in steps),
    )


def _seven(source: Source, events: Sequence[Event]) -> Track:
    return _track({"cc": source.number}, f"CC {source.number}", 127, [(event, event.value) for event in events])


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


def _pair(rough: Sequence[Event], fine: Sequence[Event]) -> Track:
    msb, lsb = rough[0].source.number, fine[0].source.number
    both = sorted([*rough, *fine], key=lambda event: event.index)
    lsb_first = _fine_first(both, msb)
    standard = lsb == msb + 32
    binding: dict[str, Any] = {"cc14": msb if standard else [msb, lsb]}
    if lsb_first:
        binding["order"] = "lsb_first"
    steps = _joined(both, lambda event: event.source.number == msb, lsb_first)
    return _track(binding, f"CC {msb} and {lsb}", 16383, steps)


def _fine_first(both: Sequence[Event], msb: int) -> bool:
    """Whether the LSB opens a pair: by the shorter of the two pauses, and by the very first message if they equal."""
    after_msb = [b.at - a.at for a, b in itertools.pairwise(both) if a.source.number == msb != b.source.number]
    after_lsb = [b.at - a.at for a, b in itertools.pairwise(both) if a.source.number != msb == b.source.number]
    if after_msb and after_lsb:
        rough, fine = sorted(after_msb)[len(after_msb) // 2], sorted(after_lsb)[len(after_lsb) // 2]
        if abs(rough - fine) > 0.2 * max(rough, fine):
            return fine < rough
    return both[0].source.number != msb


def _data(source: Source, events: Sequence[Event]) -> Track:
    halves = {event.half for event in events}
    name = f"{source.kind.upper()} {source.number}"
    if len(halves) == 2:
        first_lsb = events[0].half == "lsb" and events[1].half == "msb"
        steps = _joined(events, lambda event: event.half == "msb", first_lsb)
        return _track({source.kind: source.number}, name, 16383, steps)
    binding: dict[str, Any] = {source.kind: source.number, "bits": 7}
    if halves == {"lsb"}:
        binding["half"] = "lsb"
    return _track(binding, f"{name}, 7 bits", 127, [(event, event.value) for event in events])
