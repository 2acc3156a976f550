"""What a chart declares lossy: controllers that set or tell a parameter only near its value (1,024 values in 7 bits).

Two values are the same to such controllers when they have the same messages for both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from librarian.messages import Values

if TYPE_CHECKING:
    from collections.abc import Iterable

    from librarian.chart import Way
    from librarian.chart.codec import Side
    from librarian.transfer.line import Line


def alike(line: Line, parameter: str, a: int, b: int, side: Side) -> bool:
    """True when controllers from this side have the same messages for both values, and have any."""
    controllers = line.chart.codec.controllers
    shown = [
        [one.messages for one in controllers(Values({parameter: each}), line.address, only=[parameter], side=side)]
        for each in (a, b)
    ]
    return bool(shown[0]) and shown[0] == shown[1]


def set_nearly(line: Line, ways: Iterable[Way]) -> frozenset[str]:
    """Ids that none of these ways into the edit buffer sets exactly, though controllers set them nearly."""
    codec = line.chart.codec
    exactly = codec.single_ids.union(*(way.carries for way in ways if way.kind == "dump"))
    return frozenset(name for name, one in codec.carried().items() if not one.exact and name not in exactly)
