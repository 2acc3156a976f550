"""The latest values of all patches of one chart as one table of numbers: for likeness and other arithmetic on many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .layout import BIAS
from .shelf import Flags, Matrix, Shelf, Whole


@dataclass(frozen=True, slots=True)
class ValueTable:
    """`ids`: live patches, ascending, (n,). `raw`: exact integers, 0 where unknown; `known`; both (n, parameters)."""

    ids: Whole
    parameters: tuple[str, ...]
    raw: NDArray[Any]
    known: Flags


def value_table(shelf: Shelf, chart: str, revision: int | None = None) -> ValueTable:
    """All live patches whose latest version is of this chart (of any revision without one).

    A parameter that one revision has and another has not is unknown where it is missing. Integers are as narrow as the
    values allow (16 bits for MIDI's own ranges), as a million sounds are many.
    """
    matrices = [
        matrix
        for matrix in shelf.matrices.values()
        if matrix.layout.chart == chart and revision in {None, matrix.layout.revision}
    ]
    parameters = tuple(dict.fromkeys(name for matrix in matrices for name in matrix.layout.parameters))
    widest = max((width for matrix in matrices for width in matrix.layout.widths), default=1)
    kind = np.int16 if widest <= 2 else np.int32 if widest <= 4 else np.int64
    parts = [_part(shelf, matrix, parameters, np.dtype(kind)) for matrix in matrices]
    if not parts:
        return ValueTable(np.empty(0, np.int64), (), np.empty((0, 0), kind), np.empty((0, 0), np.bool_))
    ids, raw, known = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    order = np.argsort(ids, kind="stable")
    return ValueTable(ids[order], parameters, raw[order], known[order])


def _part(
    shelf: Shelf, matrix: Matrix, parameters: tuple[str, ...], kind: np.dtype[Any]
) -> tuple[Whole, NDArray[Any], Flags]:
    """The patches of one layout."""
    place = np.full(shelf.last_content + 1, -1, np.int64)
    place[matrix.contents] = np.arange(len(matrix.contents))
    rows = place[shelf.content]
    ids = np.flatnonzero(shelf.live & (rows >= 0))
    codes = matrix.rows[rows[ids]]
    raw = np.zeros((len(ids), len(parameters)), kind)
    known = np.zeros(raw.shape, np.bool_)
    for column, name in enumerate(parameters):
        if name not in matrix.layout:
            continue
        some = codes[matrix.layout.field(name)]
        _, width = matrix.layout.column(name)
        known[:, column] = some > 0
        # In 64 bits without sign the difference may wrap, and wraps back when it is read with sign.
        raw[:, column] = np.where(some > 0, (some.astype(np.uint64) - np.uint64(BIAS[width])).astype(np.int64), 0)
    return ids, raw, known
