"""The sounds in the pieces of a file, and everything else with the reason why it is none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from librarian.chart import DumpRefused
from librarian.chart.dump import Gather
from librarian.files.batches import FEWEST, Batches, Ready, portions
from librarian.files.controllers import ControllerRun
from librarian.files.moments import Before
from librarian.files.naming import MIXED, name_message
from librarian.files.owners import Owners
from librarian.files.pieces import Piece, Source
from librarian.files.repeating import Repeating, Run
from librarian.files.sound import Sound, SoundReader
from librarian.files.targets import Hit, Target

NO_MESSAGE = "These bytes are no message."
_LONGEST_GROUP = 4096
_MOST_NAMED = 2000
"""Entries of one file; what else no chart knows in it is joined, whatever it is. Nobody reads a list of a million."""
_MIXED = (MIXED, "No chart here finds a sound in them; they are too many to name each.")


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """Bytes that hold no sound that a chart knows. `name`: what they are; `reason`: why they were not used."""

    place: int
    messages: tuple[bytes, ...]
    name: str
    reason: str


Finding = Sound | NotUnderstood


class Recogniser:
    """Goes through one file. The charts may be given by instruments of a library or alone.

    `fewest`: how many dumps of one form in a portion of the file are read together.
    """

    def __init__(self, targets: Sequence[Target], reader: SoundReader, *, fewest: int = FEWEST) -> None:
        self._targets = targets
        self._reader = reader
        self._last = 0  # see Owners
        self._gather: tuple[Gather, int, Hit, Piece, list[bytes]] | None = None
        self._source: Source | None = None
        self._owners = Owners(targets)
        self._repeating = Repeating(targets, reader, self._owners, fewest)
        self._batches = Batches(targets, reader, self._owners, fewest)
        self._run = ControllerRun(targets)
        self._groups = 0

    def findings(self, source: Source) -> Iterator[Finding]:
        """Sounds and the rest in the order of the file; what was not understood is joined to groups of one kind."""
        group: list[NotUnderstood] = []
        for found in self._all(source):
            if group and not (isinstance(found, NotUnderstood) and _belongs(found, group)):
                self._groups += 1
                yield _joined(group)
                group = []
            if isinstance(found, NotUnderstood):
                group.append(found)
            else:
                yield found
        if group:
            yield _joined(group)

    def _all(self, source: Source) -> Iterator[Finding]:
        if isinstance(source, Before):
            yield from source.sounds(self._targets, self._reader)
            return
        for portion in portions(source.pieces()):
            at, found = 0, self._batches.look(portion, self._last)
            while at < len(portion):
                run = self._repeating.run(portion, at, self._last) if self._gather is None else None
                if run is not None:
                    yield from self._again(source, portion, at, run)
                    at += len(run.dumps) * run.count
                    continue
                piece, ready = portion[at], found[at]
                if ready is not None and self._gather is None and self._last == ready.before:
                    yield from self._at_once(source, piece, ready)
                elif piece.kind != "padding":
                    yield from self._one(source, piece)
                at += 1
        yield from self._close_dump("the file ended before it was complete")
        yield from self._close_run(source)

    def _one(self, source: Source, piece: Piece) -> Iterator[Finding]:
        if piece.kind == "channel":
            yield from self._close_dump("a channel message came before it was complete")
            yield from self._controllers(source, piece)
        elif piece.kind == "sysex":
            yield from self._sysex(source, piece)
        else:
            yield from self._close_dump("other bytes came before it was complete")
            yield from self._close_run(source)
            yield self._stranger(piece.place, (piece.raw,), _WHY_NOT.get(piece.kind, ""))

    # --- dumps

    def _at_once(self, source: Source, piece: Piece, ready: Ready) -> Iterator[Finding]:
        """A dump that was read with others: what `_sysex` does when the same dump is whole and of one message."""
        yield from self._close_run(source)
        owner = ready.settled.owner
        self._last = owner.index if owner.own else self._last
        where = f"{source.name} at {source.where(piece.place)}"
        sound = self._reader.read_already(owner.index, ready.packed, ready.slots, piece.place, where)
        others = ready.settled.others
        yield replace(sound, others=others) if others else sound

    def _again(self, source: Source, portion: Sequence[Piece], at: int, run: Run) -> Iterator[Finding]:
        """Dumps in several messages like the one before."""
        for dump in run.dumps:
            if dump is None or self._gather is not None or self._last != run.last:
                for piece in portion[at : at + run.count]:
                    yield from self._one(source, piece)
            else:
                yield from self._close_run(source)
                first = portion[at]
                where = f"{source.name} at {source.where(first.place)}"
                sound = self._reader.read_already(run.index, dump.packed, dump.slots, first.place, where)
                yield replace(sound, others=run.others) if run.others else sound
            at += run.count

    def _sysex(self, source: Source, piece: Piece) -> Iterator[Finding]:
        raw = piece.raw
        if self._gather is not None:
            gather, index, hit, first, raws = self._gather
            try:
                took = gather.feed(raw)
            except DumpRefused as refused:
                self._gather = None
                yield self._left(first.place, (*raws, raw), str(refused))
                return
            if took:
                raws.append(raw)
                if gather.complete:
                    self._gather = None
                    self._repeating.complete(index, hit, tuple(raws))
                    yield from self._dump(source, first, index, hit, tuple(raws))
                return
            yield from self._close_dump("another message came before it was complete")
        owner = self._owners.whose(raw, self._last)
        if owner is None:
            yield from self._close_run(source)
            yield self._stranger(piece.place, (raw,), "No chart here knows it.")
            return
        index, hit = owner.index, owner.hit
        self._last = index if owner.own else self._last
        codec = self._targets[index].chart.codec
        info = codec.messages[hit.recognised.message]
        if info.kind == "parameter" or (info.single_parameter and codec.heard(raw, hit.address)):
            yield from self._heard(source, piece.place, raw, index)
            return
        yield from self._close_run(source)
        if hit.recognised.form == "request":
            yield self._left(piece.place, (raw,), "It asks for a dump and holds no sound itself.")
        elif info.kind not in ("edit buffer", "program", "bank"):
            yield self._left(piece.place, (raw,), f"A {info.kind} message holds no sound.")
        elif info.part_of:
            yield from self._begin(source, piece, index, hit, info.part_of)
        elif info.messages > 1 and not info.each:
            yield from self._begin(source, piece, index, hit, info.name)
        else:
            yield from self._dump(source, piece, index, hit, (raw,))

    def _begin(self, source: Source, piece: Piece, index: int, hit: Hit, message: str) -> Iterator[Finding]:
        """The first message of a dump `message` that comes as several."""
        codec = self._targets[index].chart.codec
        wanted = {word: value for word, value in hit.recognised.slots.items() if word in codec.messages[message].slots}
        gather = codec.gather(message, hit.address, **wanted)
        self._source = source
        try:
            took = gather.feed(piece.raw)
        except DumpRefused as refused:
            yield self._left(piece.place, (piece.raw,), str(refused))
            return
        if not took:
            yield self._left(piece.place, (piece.raw,), "It is no part of a dump that can be put together.")
        elif gather.complete:
            yield from self._dump(source, piece, index, hit, (piece.raw,))
        else:
            self._gather = (gather, index, hit, piece, [piece.raw])

    def _close_dump(self, why: str) -> Iterator[Finding]:
        if self._gather is not None:
            gather, index, hit, first, raws = self._gather
            self._gather = None
            if self._source is not None and self._targets[index].chart.codec.messages[hit.recognised.message].part_of:
                # a part of a sound alone: what it holds is known, the rest is not
                yield from self._dump(self._source, first, index, hit, tuple(raws))
                return
            missing = ", ".join(gather.missing[:4])
            label = f"The {hit.recognised.message} dump of {self._targets[index].chart.name} is not complete"
            yield self._left(first.place, tuple(raws), f"{label}: {why}; {missing} missing.")

    def _dump(self, source: Source, piece: Piece, index: int, hit: Hit, raws: tuple[bytes, ...]) -> Iterator[Finding]:
        where = f"{source.name} at {source.where(piece.place)}"
        try:
            found = list(self._reader.sounds(index, hit, raws, piece.place, where))
        except DumpRefused as refused:
            yield self._left(piece.place, raws, str(refused))
            return
        if not found:
            yield self._left(piece.place, raws, "It holds no parameter of a sound.")
        others = self._owners.others(index, raws[0])
        for sound in found:
            yield replace(sound, others=others) if others else sound

    # --- controllers and single parameters

    def _controllers(self, source: Source, piece: Piece) -> Iterator[Finding]:
        for raw in piece.messages():
            yield from self._heard(source, piece.place, raw, None)
        if piece.surplus:
            yield self._stranger(piece.place, (piece.surplus,), "Data bytes at its end are too few.")

    def _heard(self, source: Source, place: int, raw: bytes, index: int | None) -> Iterator[Finding]:
        for run in self._run.feed(place, raw, index):
            yield from self._of_run(source, *run)

    def _close_run(self, source: Source) -> Iterator[Finding]:
        for run in self._run.finish():
            yield from self._of_run(source, *run)

    def _of_run(
        self,
        source: Source,
        place: int,
        index: int | None,
        messages: tuple[bytes, ...],
        reason: str,
        others: tuple[int, ...],
    ) -> Iterator[Finding]:
        if index is None:
            yield self._stranger(place, messages, reason)
            return
        where = f"{source.name} at {source.where(place)}"
        sound = self._reader.controllers(index, messages, place, where)
        yield replace(sound, others=others) if others else sound

    def _stranger(self, place: int, messages: tuple[bytes, ...], reason: str) -> NotUnderstood:
        """What no chart calls its own. Chance makes any number of different ones out of bytes that are no MIDI."""
        if self._groups >= _MOST_NAMED:
            return NotUnderstood(place, messages, *_MIXED)
        return self._left(place, messages, reason)

    def _left(self, place: int, messages: tuple[bytes, ...], reason: str) -> NotUnderstood:
        return NotUnderstood(place, messages, name_message(messages[0], self._targets).text, reason)


_WHY_NOT = {
    "cut": "It ends without F7: its end was lost.",
    "outside": NO_MESSAGE,
    "system": "A system message holds no sound.",
}


def _belongs(found: NotUnderstood, group: list[NotUnderstood]) -> bool:
    return (group[0].name, group[0].reason) == (found.name, found.reason) and len(group) < _LONGEST_GROUP


def _joined(group: list[NotUnderstood]) -> NotUnderstood:
    if len(group) == 1:
        return group[0]
    messages = tuple(raw for each in group for raw in each.messages)
    if group[0].name == MIXED:
        messages = (b"".join(messages),)  # its status bytes part it again, and one is held in less memory
    return NotUnderstood(group[0].place, messages, group[0].name, group[0].reason)
