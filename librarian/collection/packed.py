"""Values that lie packed in a row of the library from the beginning: very many sounds are read at once, kept, and
never looked at one by one in between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from librarian.messages import Values

from .layout import BIAS, Layout, width_for
from .records import ChartLike


class PackedValues(Values):
    """`row` of `layout`; equal to `Values` of the same content. The values are unpacked when somebody asks."""

    __slots__ = ("layout", "row")

    def __init__(self, layout: Layout, row: bytes) -> None:
        # Not the base's: `_known` stays unset until it is asked for, and then `__getattr__` is.
        self.layout = layout
        self.row = row

    def __getattr__(self, name: str) -> Any:
        if name != "_known":
            raise AttributeError(name)
        self._known = dict(self.layout.unpack(self.row)[0].known)
        return self._known

    def __contains__(self, parameter: object) -> bool:
        return self.layout.has(self.row, parameter)


def usual_layout(chart: ChartLike) -> Layout:
    """Every parameter of a chart, as wide as its range needs: how its sounds are kept. Raises BadInput: too wide."""
    parameters: Mapping[str, Any] = chart.parameters  # type: ignore[assignment]
    widths = tuple(width_for(one.low, one.high) for one in parameters.values())
    return Layout(chart.id, chart.revision, tuple(parameters), widths)


def pack_many(
    layout: Layout, ids: Sequence[str], values: NDArray[np.int64], known: NDArray[np.bool_]
) -> list[bytes | None]:
    """The row of each line of `values` (a column for each of `ids`); None where the layout cannot hold it.

    `known`: which of the values are there at all. Ids that are not the layout's own are left out.
    """
    out = np.zeros(len(values), layout.dtype)
    fits = np.ones(len(values), np.bool_)
    widths = dict(zip(layout.parameters, layout.widths, strict=True))
    for column, name in enumerate(ids):
        width = widths.get(name)
        if width is None:
            continue
        there = known[:, column]
        numbers = values[:, column]
        bias = BIAS[width]
        # 0 is the code of an unknown value; a code of eight bytes does not fit numpy's signed numbers
        inside = (numbers > -bias) & (numbers < bias) if width < 8 else np.zeros(len(values), np.bool_)
        fits &= inside | ~there
        out[layout.field(name)] = np.where(there & inside, numbers + (bias if width < 8 else 0), 0)
    joined, size = out.tobytes(), layout.size
    rows = [joined[at : at + size] for at in range(0, len(joined), size)]
    return [row if fine else None for row, fine in zip(rows, fits.tolist(), strict=True)]
