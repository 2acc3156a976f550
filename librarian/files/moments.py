"""A moment of a recording: the sounds that the instruments had just before it, from the controllers sent until then."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from librarian.errors import BadInput
from librarian.files.pieces import Piece
from librarian.files.smf import MidiFile
from librarian.files.snapshot import snapshot
from librarian.files.sound import Sound, SoundReader, heard_values
from librarian.files.targets import Target

_TICKS = re.compile(r"[0-9]{1,15}")
_SECONDS = re.compile(r"(?P<seconds>[0-9]{1,9}(?:[.,][0-9]{1,9})?)\s*s")
_CLOCK = re.compile(r"(?:(?P<hours>[0-9]{1,4}):)?(?P<minutes>[0-9]{1,6}):(?P<seconds>[0-5]?[0-9](?:[.,][0-9]{1,9})?)")
_TEMPO = 0x51
_USUAL_TEMPO = 500_000  # microseconds a quarter note without a tempo event (SMF 1.1, 2.2)
_SELECTING = frozenset((6, 38, 96, 97, 98, 99, 100, 101))  # these mean something only in their order


@dataclass(frozen=True)
class Before:
    """A recording up to a moment. `said`: the moment as the person wrote it."""

    file: MidiFile
    said: str
    tick: int

    @property
    def name(self) -> str:
        """The name of the file."""
        return self.file.name

    @property
    def size(self) -> int:
        """Events."""
        return self.file.size

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the file."""
        return (*self.file.notes, f"Sounds are as they were just before tick {self.tick}.")

    def pieces(self) -> Iterator[Piece]:
        """The messages sent until then."""
        for number, raw in enumerate(self._messages):
            yield Piece(number, 1, "sysex" if raw[0] == 0xF0 else "channel", raw)

    def where(self, place: int) -> str:  # noqa: ARG002 - all of it is at the one moment
        """The moment in words."""
        return f"tick {self.tick}"

    @cached_property
    def _messages(self) -> tuple[bytes, ...]:
        return snapshot(self.file, self.tick).messages

    def sounds(self, targets: Sequence[Target], reader: SoundReader) -> Iterator[Sound]:
        """One for each instrument that something was sent to; charts without an instrument only where none was."""
        there = [index for index, target in enumerate(targets) if target.instrument is not None]
        heard = self._heard(targets, there) or self._heard(targets, range(len(targets)))
        heard.sort(key=lambda each: -each[2])
        taken: set[bytes] = set()
        chosen: list[tuple[int, tuple[bytes, ...], int, list[int]]] = []
        for index, used, count in heard:
            if taken.isdisjoint(used):
                taken.update(used)
                chosen.append((index, used, count, []))
                continue
            for _, other, most, others in chosen:
                if most == count and not set(other).isdisjoint(used):
                    others.append(index)
        for index, used, _, others in sorted(chosen):
            sound = reader.controllers(index, used, 0, f"{self.name} before tick {self.tick}")
            yield replace(sound, others=tuple(others))

    def _heard(self, targets: Sequence[Target], some: Sequence[int]) -> list[tuple[int, tuple[bytes, ...], int]]:
        """(target, the messages that say something to it, how many parameters they set)."""
        found = []
        for index in some:
            target = targets[index]
            listener = target.chart.codec.listener(target.address)
            used = tuple(
                raw for raw in self._messages if listener.is_known(raw) or (raw[0] == 0xF0 and listener.feed(raw))
            )
            values = heard_values(target, used)
            if values:
                last = _last_ones(used)
                found.append((index, last if heard_values(target, last) == values else used, len(values)))
        return found


def before(file: MidiFile, said: str) -> Before:
    """The recording until a moment: "1920" (ticks), "12.5s", "1:02", "1:02.5". Raises BadInput."""
    return Before(file, said, tick_of(file, said))


def tick_of(file: MidiFile, said: str) -> int:
    """The tick of a moment; seconds count by the tempo events of the file. Raises BadInput."""
    at = moment(said)
    return at if isinstance(at, int) else _tick_at(file, at)


def moment(said: str) -> int | float:
    """What a person wrote: a number of ticks, or (float) seconds. Raises BadInput."""
    text = said.strip()
    if _TICKS.fullmatch(text):
        return int(text)
    found = _SECONDS.fullmatch(text) or _CLOCK.fullmatch(text)
    if found is None:
        raise BadInput(f"“{said[:40]}” is no moment of a recording.", "Write ticks (1920), seconds (12.5s) or 1:02.")
    parts = found.groupdict()
    seconds = float(parts["seconds"].replace(",", "."))
    seconds += 60 * int(parts.get("minutes") or 0) + 3600 * int(parts.get("hours") or 0)
    return seconds


def _tick_at(file: MidiFile, seconds: float) -> int:
    """SMF 1.1, 2.1 and 3.1: ticks of a quarter note whose tempo changes, or of frames.

    The patterns of a format 2 file begin at tick 0 each, with tempos of their own: those of the first one count.
    """
    if file.ticks_per_second is not None:
        return round(seconds * max(file.ticks_per_second, 1))
    quarter = file.ticks_per_quarter or 96
    tempo, at, passed = _USUAL_TEMPO, 0, 0.0
    for _, event in file.in_time():
        if file.format == 2 and event.track:
            break
        if event.kind != "meta" or event.raw[:1] != bytes((_TEMPO,)) or len(event.raw) != 4:
            continue
        step = (event.tick - at) * tempo / quarter / 1e6
        if passed + step >= seconds:
            break
        passed, at, tempo = passed + step, event.tick, int.from_bytes(event.raw[1:], "big") or _USUAL_TEMPO
    return at + round((seconds - passed) * 1e6 * quarter / tempo)


def _last_ones(messages: Sequence[bytes]) -> tuple[bytes, ...]:
    """Without controller messages that a later one of the same controller replaces."""
    last = {_key(raw, number): number for number, raw in enumerate(messages)}
    kept = set(last.values())
    return tuple(raw for number, raw in enumerate(messages) if number in kept)


def _key(raw: bytes, number: int) -> tuple[int, int]:
    plain = raw[0] & 0xF0 == 0xB0 and raw[1] not in _SELECTING
    return (raw[0], raw[1]) if plain else (-1, number)
