"""Runs of dumps of one form, read together: recognised by their beginning, decoded as one matrix.

The result is what reading them one by one gives; whatever is not certain to be so is left to that road.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from librarian.files.owners import Owners, Settled
from librarian.files.pieces import Piece
from librarian.files.sound import Packed, Slots, SoundReader
from librarian.files.targets import Target
from librarian.messages import Address

MOST_PIECES = 2000
MOST_BYTES = 1 << 20
"""Of one portion: large enough for speed, small enough for bounded memory."""

FEWEST = 16
"""Below this many alike the matrix costs more than it saves (measured with `tests.bench.bulk`)."""


# Not frozen: one is made for each sound of an import, and freezing takes as long again.
@dataclass(slots=True)
class Ready:
    """A dump of one sound that was read already. `before`: the last owner for which that holds.

    `slots`: its program and bank numbers.
    """

    settled: Settled
    before: int
    packed: Packed
    slots: Slots


def portions(pieces: Iterable[Piece]) -> Iterator[list[Piece]]:
    """The pieces in order, as many together as may be held at once."""
    portion: list[Piece] = []
    size = 0
    for piece in pieces:
        portion.append(piece)
        size += piece.size
        if len(portion) >= MOST_PIECES or size >= MOST_BYTES:
            yield portion
            portion, size = [], 0
    if portion:
        yield portion


class Batches:
    """Looks through portions of a file before they are gone through."""

    def __init__(self, targets: Sequence[Target], reader: SoundReader, owners: Owners, fewest: int = FEWEST) -> None:
        self._targets = targets
        self._reader = reader
        self._owners = owners
        self._fewest = fewest

    def look(self, portion: Sequence[Piece], last: int) -> list[Ready | None]:
        """For each piece the sound in it, None where it has to be looked at for itself. `last`: see `Owners`."""
        found: list[Ready | None] = [None] * len(portion)
        if len(portion) < self._fewest:
            return found
        alike: dict[tuple[int, Address, int], list[int]] = {}
        judged: list[tuple[Settled, int] | None] = [None] * len(portion)
        for place, piece in enumerate(portion):
            settled = self._owners.settled(piece.raw, last) if piece.kind == "sysex" else None
            if settled is None:
                continue
            judged[place] = (settled, last)
            owner = settled.owner
            last = owner.index if owner.own else last
            if self._holds_one_sound(settled):
                alike.setdefault((owner.index, owner.hit.address, len(piece.raw)), []).append(place)
        for (index, address, _), places in alike.items():
            if len(places) >= self._fewest:
                self._read(index, address, portion, places, judged, found)
        return found

    def _holds_one_sound(self, settled: Settled) -> bool:
        """One message that is a whole dump, and for which nothing else has to be asked."""
        recognised = settled.owner.hit.recognised
        info = self._targets[settled.owner.index].chart.codec.messages[recognised.message]
        whole = not info.part_of and (info.messages == 1 or bool(info.each))
        plain = info.kind in ("edit buffer", "program") and not info.single_parameter
        return plain and whole and recognised.form != "request"

    def _read(
        self,
        index: int,
        address: Address,
        portion: Sequence[Piece],
        places: Sequence[int],
        judged: Sequence[tuple[Settled, int] | None],
        found: list[Ready | None],
    ) -> None:
        raws = [portion[place].raw for place in places]
        for alike in self._targets[index].chart.codec.decode_alike(raws, address):
            for inside, packed, slots in self._reader.packed(index, alike, [(raw,) for raw in raws]):
                place = places[inside]
                known = judged[place]
                if known is not None:
                    found[place] = Ready(known[0], known[1], packed, slots)
