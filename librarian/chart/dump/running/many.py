"""Many programs at once, with numpy: for imports and for likeness, where thousands of images are read together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from librarian.chart.dump.planning.places import PlacedField
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.steps.number import Coding
from librarian.chart.dump.steps.rows import read_pieces, texts
from librarian.errors import BadInput

ODD = -(2**62)
"""Stands where a stored number is none of the parameter's values."""


@dataclass(frozen=True, slots=True)
class ManyValues:
    """`values[i, j]`: parameter `ids[j]` of image i as int64, `ODD` where its stored number means nothing."""

    ids: tuple[str, ...]
    values: npt.NDArray[np.int64]

    @property
    def known(self) -> npt.NDArray[np.bool_]:
        """Where `values` says something."""
        known: npt.NDArray[np.bool_] = self.values != ODD
        return known

    def __iter__(self) -> Iterator[dict[str, int]]:
        """The values of each image; odd ones are left out."""
        ids = self.ids
        odd = (self.values == ODD).any(axis=1).tolist()
        for row, some_odd in zip(self.values.tolist(), odd, strict=True):
            known = dict(zip(ids, row, strict=True))
            yield {identity: value for identity, value in known.items() if value != ODD} if some_odd else known


class ManyReader:
    """A layout prepared for arrays of images."""

    def __init__(self, layout: LayoutCodec) -> None:
        self._size = layout.size
        self._name = layout.name
        fields = list(layout.fields.values())
        narrow = [each for each in fields if len(each.pieces) == 1]
        self._wide = [each for each in fields if len(each.pieces) > 1]
        self.ids = tuple(each.id for each in (*narrow, *self._wide))
        self._offsets = np.array([each.pieces[0].at for each in narrow], dtype=np.intp)
        # one row of 256 values for each narrow field; looked up as table[field, byte]
        self._tables = np.array([_table_of(each) for each in narrow], dtype=np.int64).reshape(len(narrow), 256)
        self._rows = np.arange(len(narrow))

    def read(self, images: Sequence[bytes] | bytes | npt.NDArray[np.uint8]) -> ManyValues:
        """The values of images that follow each other in `images` (or stand in a list, each of the layout's size)."""
        if not isinstance(images, np.ndarray):
            joined = images if isinstance(images, bytes) else b"".join(images)
            images = np.frombuffer(joined, dtype=np.uint8)
        if images.size % max(self._size, 1):
            raise BadInput(f"{images.size} bytes are no whole number of images of {self._size} bytes.")
        array = images.reshape(-1, self._size)
        out = np.empty((len(array), len(self.ids)), dtype=np.int64)
        out[:, : len(self._offsets)] = self._tables[self._rows, array[:, self._offsets]]
        for place, each in enumerate(self._wide, len(self._offsets)):
            out[:, place] = _wide_values(each, array)
        return ManyValues(self.ids, out)

    def names(self, images: npt.NDArray[np.uint8]) -> list[str]:
        """The name in each image (a row each); '' where the layout has none."""
        if self._name is None:
            return [""] * len(images)
        codes = np.stack([read_pieces(images, pieces) for pieces in self._name.characters], axis=1)
        return texts(self._name.coding, codes)


def _table_of(each: PlacedField) -> list[int]:
    piece = each.pieces[0]
    mask = (1 << piece.width) - 1
    found = (each.coding.decode(byte >> piece.low & mask) for byte in range(256))
    return [value if value is not None and each.low <= value <= each.high else ODD for value in found]


def _wide_values(each: PlacedField, array: npt.NDArray[np.uint8]) -> npt.NDArray[np.int64]:
    values = _decoded(read_pieces(array, each.pieces), each.coding)
    values[(values < each.low) | (values > each.high)] = ODD
    return values


def _decoded(raw: npt.NDArray[np.int64], coding: Coding) -> npt.NDArray[np.int64]:
    """`Coding.decode` for arrays."""
    if coding.codes is not None:
        codes = np.array(coding.codes, dtype=np.int64)
        order = np.argsort(codes, kind="stable")  # of equal codes the first counts
        found = np.minimum(np.searchsorted(codes[order], raw), len(codes) - 1)
        return np.where(codes[order][found] == raw, coding.first + order[found], ODD).astype(np.int64)
    half, full = 1 << (coding.bits - 1), (1 << coding.bits) - 1
    if coding.inverted:
        raw = raw ^ full
    if coding.name == "offset":
        return raw - (half if coding.zero is None else coding.zero)
    if coding.name == "twos":
        return np.where(raw & half, raw - (full + 1), raw)
    if coding.name == "sign":
        return np.where(raw & half, -(raw & ~np.int64(half)), raw)
    return raw
