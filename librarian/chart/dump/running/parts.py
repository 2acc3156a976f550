"""The data parts of a message, compiled: which layout explains which part, for how many programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from librarian.chart.dump.planning.places import Places
from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import Cell
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.many import ManyReader, ManyValues
from librarian.chart.dump.running.spread import Collected, SpreadForm
from librarian.chart.dump.steps.number import Piece
from librarian.chart.dump.steps.rows import Bytes


class DataParts:
    """Layout and number of programs of every part. `count`: programs of the message, 1 if it is no bank.

    `several`: parts of a bank that can have any number of programs, also one.
    """

    def __init__(self, parts: Mapping[str, tuple[LayoutCodec, int]], several: frozenset[str] = frozenset()) -> None:
        self.layouts = {part: layout for part, (layout, _times) in parts.items()}
        self.times = {part: times for part, (_layout, times) in parts.items()}
        self.labels = {part: layout.label for part, layout in self.layouts.items()}
        self.count = max(self.times.values(), default=1)
        self.once = tuple(part for part, times in self.times.items() if times == 1 and part not in several)
        self.repeated = tuple(part for part, times in self.times.items() if times > 1 or part in several)
        self._joined: dict[tuple[str, ...], LayoutCodec] = {}
        self._many: dict[tuple[str, ...], ManyReader] = {}

    @classmethod
    def of_bank(cls, one: DataParts, count: int) -> DataParts:
        """The parts of `count` messages like `one` together, every part once for each of them."""
        made = cls({part: (layout, count) for part, layout in one.layouts.items()})
        made.once, made.repeated = (), tuple(one.layouts)
        return made

    def read_bank(self, programs: Sequence[Mapping[str, bytes]]) -> list[tuple[dict[str, int], str, tuple[str, ...]]]:
        """The same of many programs with the same parts: all values at once."""
        if not programs:
            return []
        parts = tuple(programs[0])
        layout = self._layout_of(parts)
        images = [b"".join(each.values()) for each in programs]
        many = self._reader_of(parts).read(images)
        return [
            (values, layout.read_name(image), tuple(each for each in many.ids if each not in values))
            for image, values in zip(images, many, strict=True)
        ]

    def read_many(self, images: Mapping[str, Bytes]) -> tuple[ManyValues, list[str]]:
        """Values and names of many programs at once. `images`: part -> one row a program."""
        parts = tuple(images)
        rows = np.ascontiguousarray(np.hstack([images[part] for part in parts]))
        reader = self._reader_of(parts)
        return reader.read(rows), reader.names(rows)

    def read(self, images: Mapping[str, bytes]) -> tuple[dict[str, int], str, tuple[str, ...]]:
        """Values, name and odd parameters of several images together: of one program, spread over several parts."""
        if not images:
            return {}, "", ()
        layout = self._layout_of(tuple(images))
        image = b"".join(images.values())
        values, odd = layout.read(image)
        return values, layout.read_name(image), odd

    def _reader_of(self, parts: tuple[str, ...]) -> ManyReader:
        if parts not in self._many:
            self._many[parts] = ManyReader(self._layout_of(parts))
        return self._many[parts]

    def _layout_of(self, parts: tuple[str, ...]) -> LayoutCodec:
        if parts not in self._joined:
            self._joined[parts] = _joined([self.layouts[part] for part in parts])
        return self._joined[parts]


def _joined(layouts: Sequence[LayoutCodec]) -> LayoutCodec:
    """One layout for the images of several, one after another: read in one go."""
    if len(layouts) == 1:
        return layouts[0]
    places, offset = Places(), 0
    for layout in layouts:
        for each in layout.places.fields:
            places.fields.append(replace(each, pieces=_moved(each.pieces, offset)))
        if layout.name is not None and places.name is None:
            characters = tuple(_moved(pieces, offset) for pieces in layout.name.characters)
            places.name = replace(layout.name, characters=characters)
        offset += layout.size
    places.size = offset
    return LayoutCodec(" + ".join(layout.label for layout in layouts), places)


def _moved(pieces: Sequence[Piece], by: int) -> tuple[Piece, ...]:
    return tuple(replace(piece, at=piece.at + by) for piece in pieces)


@dataclass(slots=True)
class Held:
    """A dump taken apart into images, its values not read yet.

    `numbers`: of the programs, where they are not simply 0, 1, 2, ...; `singly`: their own messages. `collected`: and
    `spread`: of a dump in several messages. `extra`: values that no image holds (of single-parameter messages).
    `members`: of a sequence, what each of its messages holds.
    """

    message: str
    form: Form
    slots: dict[str, int]
    parts: DataParts
    images: Mapping[Cell, bytes]
    raws: tuple[bytes, ...]
    numbers: tuple[int, ...] = ()
    singly: tuple[bytes, ...] = ()
    collected: Collected | None = None
    spread: SpreadForm | None = None
    members: Mapping[str, Held] = field(default_factory=dict)
    extra: Mapping[str, int] = field(default_factory=dict)

    def once(self) -> dict[str, bytes]:
        """Images of the parts that stand once in the message."""
        return {part: self.images[(part, 0)] for part in self.parts.once}

    def program(self, index: int) -> dict[str, bytes]:
        """Images of one program of a bank."""
        return {part: self.images[(part, index)] for part in self.parts.repeated}
