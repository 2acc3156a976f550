"""One sound found in a file: read once, held in few bytes until it is kept."""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from librarian.files.targets import Hit, Target
from librarian.messages import Origin, Values, Version

_REMEMBERED = 1024


@dataclass(frozen=True, slots=True)
class Packed:
    """The content of a sound in few bytes: an import of very many holds them all between looking and keeping.

    `ids`: the known parameters, one tuple for all sounds alike. `codes`: their values. `received`: the messages that
    are kept with it (of a bank: its own program's). `inside`: the name in the dump.
    """

    ids: tuple[str, ...]
    codes: array[int]
    unknown: frozenset[str]
    received: tuple[bytes, ...]
    inside: str


@dataclass(frozen=True, slots=True)
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
        self._known: dict[tuple[int, tuple[str, ...]], tuple[tuple[str, ...], frozenset[str]]] = {}

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
            Values(zip(packed.ids, packed.codes, strict=True)),
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
        key = (index, tuple(values))
        known = self._known.get(key)
        if known is None:
            known = (key[1], chart.unknown(values))
            if len(self._known) < _REMEMBERED:
                self._known[key] = known
        try:
            codes = array("h", values.values())
        except OverflowError:
            codes = array("q", values.values())
        return Packed(known[0], codes, known[1], received, inside)

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
