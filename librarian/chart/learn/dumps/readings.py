"""Ways of reading the data of the dumps: which packing, beginning and ending where."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from librarian.chart.dump.steps.packing import PACKING_NAMES, PACKINGS, NotPacked, PackingName
from librarian.chart.learn.dumps.evidence import Bytes

_ALIGNED = {"plain": 1, "nibbles_high": 2, "nibbles_low": 2, "split_high": 2, "split_low": 2}
_MOST_TRAILER = 3


@dataclass(frozen=True, slots=True)
class Reading:
    """Bytes `start` to before `end` of every message are data with this packing; `images`: unpacked, one a row."""

    packing: PackingName
    start: int
    end: int
    images: Bytes

    @property
    def digits(self) -> tuple[int, ...]:
        """How many bits a byte may carry, the usual number first."""
        return (8, 7, 4) if self.packing != "plain" else (7, 4)

    @property
    def trouble(self) -> float:
        """How unusual it is; counts only where two explain the controls equally well."""
        return 0.01 * PACKING_NAMES.index(self.packing)


def readings(table: Bytes, lowest: int, highest: int, end: int) -> Iterator[Reading]:
    """All that are possible when data begins at `lowest` to `highest` and ends before `end` or a little earlier."""
    for name in PACKING_NAMES:
        step = _ALIGNED.get(name, 8)
        for start in range(highest, max(highest - step, lowest - 1), -1):
            for last in range(end, max(end - _MOST_TRAILER, start), -1):
                if last < end and (len(np.unique(table[:, last])) > 1 or name == "plain"):
                    break
                images = _unpacked(table, name, start, last)
                if images is not None:
                    yield Reading(name, start, last, images)
                    if not name.endswith("_after"):
                        break


def _unpacked(table: Bytes, name: PackingName, start: int, end: int) -> Bytes | None:
    packing = PACKINGS[name]
    size = packing.raw_size(end - start)
    if not size:
        return None
    try:
        rows = [packing.unpack(row[start:end].tobytes()) for row in table]
        # what a packing cannot have produced (fill bits that are set) would not come back either
        if any(packing.pack(raw) != row[start:end].tobytes() for raw, row in zip(rows, table, strict=True)):
            return None
    except NotPacked:
        return None
    return np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(len(table), -1)
