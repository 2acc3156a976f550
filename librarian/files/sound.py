"""One sound found in a file: read once, held in few bytes until it is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

import numpy as np

from librarian.chart.dump import Alike, Repeats
from librarian.collection import Layout, PackedValues, pack_many, usual_layout
from librarian.errors import BadInput
from librarian.files.targets import Hit, Target
from librarian.messages import Origin, Values, Version

_REMEMBERED = 1024


Slots = tuple[int | None, int | None]
"""The numbers of program and bank that a dump tells."""


# Not frozen: one is made for each sound of an import, and freezing takes as long again.
@dataclass(slots=True)
class Packed:
    """The content of a sound in few bytes: an import of very many holds them all between looking and keeping.

    `content`: the row of `layout` in which the library keeps the values, wherever that is possible. `received`: the
    messages that are kept with it (of a bank: its own program's). `inside`: the name in the dump.
    """

    layout: Layout | None
    content: bytes | Values
    unknown: frozenset[str]
    received: tuple[bytes, ...]
    inside: str

    @property
    def values(self) -> Values:
        """The known ones."""
        if isinstance(self.content, Values):
            return self.content
        assert self.layout is not None
        return PackedValues(self.layout, self.content)


@dataclass(slots=True)
class Sound:
    """`target`: index of the instrument or chart. `raws`: the messages it came in (of a bank: the whole bank).

    `program`: its number in a bank, else None. `named`: the name stood in the dump; else it was made up from the file.
    `file`: place of the file it came from. `others`: other targets that it may belong to just as well.
    """

    target: int
    kind: Literal["dump", "controllers"]
    name: str
    named: bool
    raws: tuple[bytes, ...]
    packed: Packed = field(repr=False, compare=False)
    program: int | None
    place: int
    where: str
    file: int = 0
    others: tuple[int, ...] = ()


class SoundReader:
    """Reads dumps and controller runs of the targets, each once."""

    def __init__(self, targets: Sequence[Target], stem: str, at: datetime | None = None, file: int = 0) -> None:
        self._targets = targets
        self._stem = stem
        self._file = file
        self._at = at or datetime.now(UTC)
        self._count = 0
        self._unknowns: dict[tuple[int, tuple[str, ...]], frozenset[str]] = {}
        self._layouts: dict[int, Layout | None] = {}

    def sounds(self, index: int, hit: Hit, raws: tuple[bytes, ...], place: int, where: str) -> Iterator[Sound]:
        """The sounds of one dump: one, or the programs of a bank. Raises DumpRefused."""
        # A dump to all devices can be read by any address; one that fits no known device is read as its own.
        codec = self._targets[index].chart.codec
        decoded = codec.decode_all(raws, hit.address)
        if not decoded.programs:
            if decoded.values or decoded.odd:
                shown = self._shown(index, decoded.slots.get("program"), decoded.slots.get("bank"))
                packed = self._pack(index, decoded.values, decoded.raws, decoded.name)
                yield self._one(index, raws, place, where, None, shown, packed)
            return
        for program in decoded.programs:
            shown = self._shown(index, program.number, decoded.slots.get("bank"))
            own = codec.extract(decoded, program.number, hit.address)
            received = decoded.raws if own is None else own[1]
            packed = self._pack(index, {**decoded.values, **program.values}, received, program.name)
            yield self._one(index, raws, place, where, program.number, shown, packed)

    def _one(
        self,
        index: int,
        raws: tuple[bytes, ...],
        place: int,
        where: str,
        program: int | None,
        shown: str,
        packed: Packed,
    ) -> Sound:
        said = packed.inside.strip()
        name = said or self._made_up(shown)
        where = f"{where}, program {shown}" if shown else where
        return Sound(index, "dump", name, bool(said), raws, packed, program, place, where, self._file)

    def controllers(self, index: int, messages: tuple[bytes, ...], place: int, where: str) -> Sound:
        """The sound that a run of controllers sets."""
        packed = self._pack(index, heard_values(self._targets[index], messages), messages, "")
        name = self._made_up("")
        return Sound(index, "controllers", name, False, messages, packed, None, place, where, self._file)

    def version(self, sound: Sound) -> Version:
        """The content of a sound that was found."""
        chart, packed = self._targets[sound.target].chart, sound.packed
        return Version(
            chart.id,
            chart.revision,
            packed.values,
            packed.unknown,
            packed.received,
            Origin("imported", sound.where),
            packed.inside,
            self._at,
        )

    def _pack(self, index: int, values: Mapping[str, int], received: tuple[bytes, ...], inside: str) -> Packed:
        chart = self._targets[index].chart
        if not values.keys() <= chart.parameters.keys():
            values = {key: value for key, value in values.items() if key in chart.parameters}
        layout = self._layout(index)
        row = None if layout is None else layout.pack(values)
        content = Values(values) if row is None else row
        return Packed(layout, content, self._unknown(index, tuple(values)), received, inside)

    def packed(
        self, index: int, alike: Alike | Repeats, dumps: Sequence[tuple[bytes, ...]]
    ) -> Iterator[tuple[int, Packed, Slots]]:
        """The contents of dumps that were decoded together: which of them, what is in it, its program and bank numbers.

        Those that are left out have to be read by themselves.
        """
        layout, ids = self._layout(index), alike.values.ids
        if layout is None or not ids:
            return
        known = alike.values.known
        rows = pack_many(layout, ids, alike.values.values, known)
        parameters = self._targets[index].chart.parameters
        every = self._unknown(index, tuple(each for each in ids if each in parameters))
        unknown = [every] * len(rows)
        for place in np.flatnonzero(~known.all(axis=1)).tolist():
            there = known[place].tolist()
            unknown[place] = self._unknown(
                index, tuple(each for each, one in zip(ids, there, strict=True) if one and each in parameters)
            )
        no_numbers = [None] * len(rows)
        programs, banks = (alike.slots.get(word, no_numbers) for word in ("program", "bank"))
        for place, row, without, name, *slots in zip(
            alike.places, rows, unknown, alike.names, programs, banks, strict=True
        ):
            if row is not None:
                yield place, Packed(layout, row, without, dumps[place], name), (slots[0], slots[1])

    def read_already(
        self, index: int, packed: Packed, slots: Slots, place: int, where: str
    ) -> Sound:
        """The sound of a dump that was decoded together with others. `slots`: its program and bank numbers."""
        return self._one(index, packed.received, place, where, None, self._shown(index, *slots), packed)

    def _layout(self, index: int) -> Layout | None:
        """How the library keeps the sounds of a target; None where it cannot: keeping the chart will say so."""
        if index not in self._layouts:
            try:
                self._layouts[index] = usual_layout(self._targets[index].chart)
            except BadInput:
                self._layouts[index] = None
        return self._layouts[index]

    def _unknown(self, index: int, known: tuple[str, ...]) -> frozenset[str]:
        """The ids that are not known, one set for all sounds alike."""
        found = self._unknowns.get((index, known))
        if found is None:
            found = self._targets[index].chart.unknown(dict.fromkeys(known, 0))
            if len(self._unknowns) < _REMEMBERED:
                self._unknowns[index, known] = found
        return found

    def images(self, target: int, raws: tuple[bytes, ...]) -> Mapping[str, bytes] | None:
        """The unpacked data of a dump, which is the same sound whatever frame carried it; None for no dump."""
        chart = self._targets[target].chart
        for raw in raws[:1]:
            hit = self._targets[target].recognise(raw)
            if hit is None:
                return None
            return chart.codec.decode_all(raws, hit.address).images
        return None

    def _shown(self, index: int, program: int | None, bank: int | None) -> str:
        memory = self._targets[index].chart.memory
        if program is None:
            return ""
        if memory is None:
            return str(program + 1)
        return memory.shown(program + memory.programs * (bank or 0))

    def _made_up(self, shown: str) -> str:
        self._count += 1
        return f"{self._stem} {shown}" if shown else f"{self._stem} {self._count}" if self._count > 1 else self._stem


def heard_values(target: Target, messages: Sequence[bytes]) -> dict[str, int]:
    """What these messages set, the last of each parameter."""
    listener = target.chart.codec.listener(target.address)
    found: dict[str, int] = {}
    for raw in messages:
        for heard in listener.feed(raw):
            found[heard.parameter] = heard.value
    for heard in listener.flush(float("inf")):
        found[heard.parameter] = heard.value
    return found
