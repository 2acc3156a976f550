"""A form whose data varies in length, compiled: the frame for a message at hand, and for what is to be written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from functools import lru_cache

from librarian.chart.dump.planning.varying import Varying, VaryingFrame
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.errors import BadInput

Sizes = tuple[tuple[str, int], ...]


class VaryingForm:
    """One version of a form. `build`: a frame laid out -> compiled."""

    def __init__(self, plan: VaryingFrame, layouts: Mapping[str, LayoutCodec], image_sizes: Mapping[str, int]) -> None:
        self.version = plan.longest.version
        self.parts = plan.parts
        self._plan = plan
        self._layouts = layouts
        self._image_sizes = image_sizes
        self._compiled: Callable[[Sizes], FrameCodec] = lru_cache(maxsize=128)(self._compile)

    def _compile(self, sizes: Sizes) -> FrameCodec:
        frame = self._plan.frame(dict(sizes))
        if frame is None:
            raise BadInput("The dump cannot have this length.", "Compare the chart with the instrument.")
        return FrameCodec(frame, self._image_sizes)

    def frame(self, sizes: Mapping[str, int]) -> FrameCodec:
        """The frame with parts of these lengths."""
        return self._compiled(tuple(sizes.items()))

    def fitting(self, raw: bytes) -> FrameCodec | None:
        """The frame for a message, None where its length does not come out."""
        sizes = self._plan.sizes_in(raw)
        try:
            return None if sizes is None else self.frame(sizes)
        except BadInput:
            return None

    def sizes_in(self, raw: bytes) -> dict[str, int] | None:
        """How long each part is in a message."""
        return self._plan.sizes_in(raw)

    def sizes_for(
        self, known: Collection[str], name: str | None, programs: int | None, base: Mapping[str, int] | None
    ) -> dict[str, int]:
        """How long each part has to be: for the parameters that are known, a name, so many programs.

        `base`: how long they are in the dump that came, which stays unless something does not fit into it.
        """
        return {
            part.name: self._size_for(part, known, name, programs, None if base is None else base.get(part.name))
            for part in self._plan.parts
        }

    def _size_for(
        self, part: Varying, known: Collection[str], name: str | None, programs: int | None, base: int | None
    ) -> int:
        if part.is_group or part.area.count > 1:
            one = 1 if part.is_group else part.area.raw_size // part.area.count
            wanted = (programs or 0) * one or (part.most if base is None else base)
            return max(part.least, min(part.most, max(wanted, base or 0)))
        layout = self._layouts[part.area.layout]
        if layout.name is not None and not layout.ids:
            if name is None:
                return part.least if base is None else base
            begins = [min(piece.at for piece in pieces) for pieces in layout.name.characters]
            ends = [max(piece.at for piece in pieces) + 1 for pieces in layout.name.characters]
            letters = len(name.rstrip(" "))
            wanted = ends[min(letters, len(ends)) - 1] if letters else min(begins)
            return self._possible(part, wanted)
        if base is not None:
            return base
        # what is not known must not be there: a field is, once its last byte is
        unknown = [each for each in layout.fields.values() if each.id not in known]
        limit = min((max(piece.at for piece in each.pieces) for each in unknown), default=part.most)
        steps = max(0, -(-(part.most - limit) // part.step))
        return max(part.least, part.most - steps * part.step)

    @staticmethod
    def _possible(part: Varying, wanted: int) -> int:
        steps = max(0, -(-(wanted - part.least) // part.step))
        return min(part.most, part.least + steps * part.step)
