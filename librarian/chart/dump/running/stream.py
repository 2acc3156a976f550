"""A dump that travels in several messages, put together: one stream of bytes, and the images in it."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.model import DataPart
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.running.frame import Cell
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.steps.packing import PACKINGS, NotPacked


class Stream:
    """The bytes that are cut: all images one after another, packed as a whole or (packed by packet) unpacked."""

    def __init__(self, part_name: str, part: DataPart, layout: LayoutCodec) -> None:
        self.part_name = part_name
        self.layout = layout
        self.times = part.times
        self._packing = PACKINGS[part.packing]
        self._whole = part.split_view == "wire"
        raw = layout.size * part.times
        self.size = self._packing.packed_size(raw) if self._whole else raw

    def images(self, stream: bytes) -> dict[Cell, bytes]:
        """The images in a complete stream."""
        raw = self._unpack(stream)
        size = self.layout.size
        return {(self.part_name, index): raw[index * size : (index + 1) * size] for index in range(self.times)}

    def _unpack(self, stream: bytes) -> bytes:
        if not self._whole:
            return stream
        try:
            return self._packing.unpack(stream)
        except NotPacked as bad:
            raise DumpRefused("packing", f"In the {self.part_name} part: {bad}", bad.hint) from None

    def join(self, images: Mapping[Cell, bytes], base: bytes | None) -> bytes:
        """The stream of these images; bits that carry no data are taken from the stream `base`."""
        raw = b"".join(images[(self.part_name, index)] for index in range(self.times))
        if not self._whole:
            return raw
        packed = self._packing.pack(raw)
        if base is None:
            return packed
        unused = int.from_bytes(base, "big") ^ int.from_bytes(self._packing.pack(self._unpack(base)), "big")
        return (int.from_bytes(packed, "big") ^ unused).to_bytes(len(packed), "big")
