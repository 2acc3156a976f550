"""Dumps in several messages that follow each other in a file, read together after one of them was read by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from librarian.chart import DumpRefused
from librarian.chart.dump import Repeater
from librarian.files.batches import FEWEST
from librarian.files.owners import Owners
from librarian.files.pieces import Piece
from librarian.files.sound import Packed, Slots, SoundReader
from librarian.files.targets import Hit, Target


@dataclass(frozen=True, slots=True)
class Again:
    """A dump like the one before. `slots`: its program and bank numbers."""

    packed: Packed
    slots: Slots


@dataclass(frozen=True, slots=True)
class Run:
    """Dumps one after another, of `count` messages each; None where one has to be looked at message by message.

    `index`, `others`: whose they are. `last`: the last owner for which that holds.
    """

    dumps: Sequence[Again | None]
    count: int
    index: int
    others: tuple[int, ...]
    last: int


@dataclass(slots=True)
class _Pattern:
    index: int
    hit: Hit
    raws: tuple[bytes, ...]
    repeater: Repeater | None = None
    others: tuple[int, ...] = ()
    last: int | None = None


class Repeating:
    """Remembers the dump in several messages that was read last, and looks for more of its kind."""

    def __init__(self, targets: Sequence[Target], reader: SoundReader, owners: Owners, fewest: int = FEWEST) -> None:
        self._targets = targets
        self._reader = reader
        self._owners = owners
        self._fewest = fewest
        self._pattern: _Pattern | None = None

    def complete(self, index: int, hit: Hit, raws: tuple[bytes, ...]) -> None:
        """These messages were a dump, complete with the last of them."""
        info = self._targets[index].chart.codec.messages[hit.recognised.message]
        plain = not info.part_of and not info.single_parameter and info.kind in ("edit buffer", "program")
        self._pattern = _Pattern(index, hit, raws) if plain and len(raws) > 1 else None

    def run(self, portion: Sequence[Piece], at: int, last: int) -> Run | None:
        """The dumps like it from piece `at` on, where there are enough of them. `last`: see `Owners`."""
        pattern = self._pattern
        if pattern is None:
            return None
        count = len(pattern.raws)
        dumps = self._alike(pattern, portion, at)
        if len(dumps) * count < max(self._fewest, count):
            return None
        if pattern.last != last and not self._learn(pattern, last):
            self._pattern = None
            return None
        assert pattern.repeater is not None
        read = pattern.repeater.read(dumps)
        found: list[Again | None] = [None] * len(dumps)
        for place, packed, slots in self._reader.packed(pattern.index, read, dumps):
            found[place] = Again(packed, slots)
        return Run(found, count, pattern.index, pattern.others, last)

    @staticmethod
    def _alike(pattern: _Pattern, portion: Sequence[Piece], at: int) -> list[tuple[bytes, ...]]:
        """The messages from here on, as many together as the dump has, as far as their lengths are its own."""
        lengths = [len(raw) for raw in pattern.raws]
        dumps = []
        while at + len(lengths) <= len(portion):
            pieces = portion[at : at + len(lengths)]
            if any(piece.kind != "sysex" for piece in pieces) or [len(piece.raw) for piece in pieces] != lengths:
                break
            dumps.append(tuple(piece.raw for piece in pieces))
            at += len(lengths)
        return dumps

    def _learn(self, pattern: _Pattern, last: int) -> bool:
        """Whether another dump that begins like this one would go the same way, and how it is read then."""
        chart = self._targets[pattern.index].chart
        raw, address = pattern.raws[0], pattern.hit.address
        try:
            repeater = chart.codec.repeater(pattern.raws, address)
        except DumpRefused:  # it was reported when it was read; others may be whole, but this one is no pattern
            return False
        if repeater is None or not self._owners.is_decided(raw, last, repeater.reach, chart, repeater.message):
            return False
        owner = self._owners.whose(raw, last)
        if owner is None or (owner.index, owner.hit.address) != (pattern.index, address):
            return False
        if owner.own and owner.index != last:
            return False
        pattern.repeater, pattern.last = repeater, last
        pattern.others = self._owners.others(owner.index, raw)
        return True
