"""RPN and NRPN one after the other: what is selected already is not selected again, and null comes once, at the end.

A receiver keeps what was selected until something else is (MIDI 1.0 Detailed Specification 4.2.1, p. 17); controllers
between do not touch it, but for data entry, increment and decrement. A chart whose instrument wants every parameter
selected anew says so by null = "after_each".

Running status is left to the port: what a MIDI system is handed are whole messages (JACK forbids others, ALSA makes
events of them and drops repeated status bytes itself on the way to a 5-pin cable).
"""

from __future__ import annotations

from collections.abc import Sequence

_SELECTORS = {99: (99, 98), 98: (99, 98), 101: (101, 100), 100: (101, 100)}
_DATA = frozenset({6, 38, 96, 97})
_NULL = 0x7F

Group = tuple[bytes, ...]
Selection = tuple[int, int, int]
"""99 for NRPN or 101 for RPN, high half, low half."""


def grouped(groups: Sequence[Group]) -> tuple[Group, ...]:
    """The same messages, group by group (one for each parameter), without what changes nothing in the receiver."""
    selected: dict[int, Selection] = {}
    return tuple(_selected_once(group, selected) for group in _null_at_the_end(groups))


def _controller(raw: bytes) -> tuple[int, int, int] | None:
    """(channel, number, value) of a control change, else None."""
    return (raw[0] & 0x0F, raw[1], raw[2]) if raw[0] & 0xF0 == 0xB0 else None


def _selected_once(group: Group, selected: dict[int, Selection]) -> Group:
    """Without selections, or their high half, that the receiver has. `selected`: by channel, brought up to date."""
    kept: list[bytes] = []
    place = 0
    while place < len(group):
        found = _selection(group[place : place + 2])
        if found is None:
            kept.append(group[place])
            place += 1
            continue
        channel, wanted = found
        held = selected.get(channel)
        if held is None or held[:2] != wanted[:2]:
            kept += group[place : place + 2]
        elif held != wanted:
            kept.append(group[place + 1])
        if wanted[1:] == (_NULL, _NULL):
            selected.pop(channel, None)
        else:
            selected[channel] = wanted
        place += 2
    return tuple(kept)


def _selection(pair: Group) -> tuple[int, Selection] | None:
    """(channel, what is selected) of two messages that select a parameter, high half first, or None."""
    said = [_controller(raw) for raw in pair]
    if len(said) != 2 or said[0] is None or said[1] is None or said[0][0] != said[1][0]:
        return None
    high, low = said[0], said[1]
    if _SELECTORS.get(high[1]) != (high[1], low[1]):
        return None
    return high[0], (high[1], high[2], low[2])


def _null_at_the_end(groups: Sequence[Group]) -> list[Group]:
    """Null is needed only before data entry means something else, and after the last of its kind on a channel."""
    out: list[Group] = []
    for place, group in enumerate(groups):
        null = _null_of(group)
        out.append(group[:-2] if null is not None and _goes_on(groups[place + 1 :], null) else group)
    return out


def _null_of(group: Group) -> tuple[int, int] | None:
    """(channel, high selector) of the null that ends this group."""
    found = _selection(group[-2:])
    if found is None or found[1][1:] != (_NULL, _NULL):
        return None
    return found[0], found[1][0]


def _goes_on(later: Sequence[Group], null: tuple[int, int]) -> bool:
    """True when the next message to this receiver that data entry matters for selects the same kind again."""
    channel, high = null
    for group in later:
        for raw in group:
            said = _controller(raw)
            if said is None or said[0] != channel:
                continue
            if said[1] in _SELECTORS:
                return _SELECTORS[said[1]][0] == high
            if said[1] in _DATA:
                return False
    return False
