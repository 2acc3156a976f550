"""One sound found in a file: enough to read it again when it is kept, without holding all values meanwhile."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from librarian.chart import Decoded
from librarian.files.targets import Hit, Target
from librarian.messages import Address, Origin, Values, Version


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
    address: Address
    program: int | None
    place: int
    where: str
    file: int = 0
    others: tuple[int, ...] = ()


class SoundReader:
    """Reads dumps and controller runs of the targets; remembers the last bank, whose programs come one by one."""

    def __init__(self, targets: Sequence[Target], stem: str, at: datetime | None = None, file: int = 0) -> None:
        self._targets = targets
        self._stem = stem
        self._file = file
        self._at = at or datetime.now(UTC)
        self._bank: tuple[tuple[bytes, ...], Decoded] | None = None
        self._count = 0

    def sounds(
        self, index: int, hit: Hit, raws: tuple[bytes, ...], place: int, where: str
    ) -> Iterator[tuple[Sound, Version]]:
        """The sounds of one dump: one, or the programs of a bank. Raises DumpRefused."""
        decoded = self._decode(index, hit.address, raws)
        if not decoded.programs:
            if decoded.values or decoded.odd:
                shown = self._shown(index, decoded.slots.get("program"), decoded.slots.get("bank"))
                yield self._one(index, hit.address, raws, place, where, None, decoded.name, shown)
            return
        for program in decoded.programs:
            shown = self._shown(index, program.number, decoded.slots.get("bank"))
            yield self._one(index, hit.address, raws, place, where, program.number, program.name, shown)

    def _one(
        self,
        index: int,
        address: Address,
        raws: tuple[bytes, ...],
        place: int,
        where: str,
        program: int | None,
        inside: str,
        shown: str,
    ) -> tuple[Sound, Version]:
        said = inside.strip()
        name = said or self._made_up(shown)
        where = f"{where}, program {shown}" if shown else where
        sound = Sound(index, "dump", name, bool(said), raws, address, program, place, where, self._file)
        return sound, self.version(sound)

    def controllers(self, index: int, messages: tuple[bytes, ...], place: int, where: str) -> tuple[Sound, Version]:
        """The sound that a run of controllers sets."""
        target = self._targets[index]
        name = self._made_up("")
        sound = Sound(index, "controllers", name, False, messages, target.address, None, place, where, self._file)
        return sound, self.version(sound)

    def version(self, sound: Sound) -> Version:
        """The content of a sound that was found. Raises DumpRefused (never for one that was read before)."""
        chart = self._targets[sound.target].chart
        name = ""
        if sound.kind == "controllers":
            values: Mapping[str, int] = heard_values(self._targets[sound.target], sound.raws)
            received = sound.raws
        else:
            decoded = self._decode(sound.target, sound.address, sound.raws)
            received = decoded.raws
            values, name = decoded.values, decoded.name
            if sound.program is not None:
                program = next(each for each in decoded.programs if each.number == sound.program)
                values = Values({**decoded.values, **program.values})
                name = program.name
                own = chart.codec.extract(decoded, program.number, sound.address)
                received = decoded.raws if own is None else own[1]
        known = Values({key: value for key, value in values.items() if key in chart.parameters})
        return Version(
            chart.id,
            chart.revision,
            known,
            chart.unknown(known),
            received,
            Origin("imported", sound.where),
            name,
            self._at,
        )

    def images(self, target: int, raws: tuple[bytes, ...]) -> Mapping[str, bytes] | None:
        """The unpacked data of a dump, which is the same sound whatever frame carried it; None for no dump."""
        chart = self._targets[target].chart
        for raw in raws[:1]:
            hit = self._targets[target].recognise(raw)
            if hit is None:
                return None
            return chart.codec.decode_all(raws, hit.address).images
        return None

    def _decode(self, index: int, address: Address, raws: tuple[bytes, ...]) -> Decoded:
        if self._bank is not None and self._bank[0] is raws:
            return self._bank[1]
        # A dump to all devices can be read by any address; one that fits no known device is read as its own.
        decoded = self._targets[index].chart.codec.decode_all(raws, address)
        self._bank = (raws, decoded)
        return decoded

    def _shown(self, index: int, program: int | None, bank: int | None) -> str:
        memory = self._targets[index].chart.memory
        if program is None:
            return ""
        if memory is None:
            return str(program + 1)
        return memory.shown(program + memory.programs * max((bank or 0) - memory.first_bank, 0))

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
