"""Standard MIDI Files read as they are found: formats 0 to 2, split SysEx, escapes, alien chunks, wrong lengths.

Source: Standard MIDI File format 1.1 (chunks 2.1, events 2.3, meta events 3.1). Where the standard is broken by the
file, what can be read is read and a note says what was wrong; nothing is lost in silence.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from librarian.errors import BadInput
from librarian.files.pieces import Piece
from librarian.files.syx import read_bytes
from librarian.wire.assembler import REALTIME
from librarian.wire.cable import data_bytes

LONGEST_FILE = 64 << 20
MOST_EVENTS = 4_000_000
_MOST_NOTES = 20

EventKind = Literal["channel", "sysex", "cut", "raw", "meta"]


@dataclass(frozen=True, slots=True)
class Event:
    """One event. `tick`: from the start of its track. `track`: from 0.

    `kind`: 'channel' a channel message; 'sysex' a whole SysEx message, put together from `packets` (their ticks); 'cut'
    one without F7; 'raw' other bytes sent as they are (an escape); 'meta': `raw` is the type byte and its data.
    """

    tick: int
    track: int
    kind: EventKind
    raw: bytes
    packets: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class MidiFile:
    """A file that was read. `division` as in the file; `events`: track by track, each in its order.

    `ticks_per_quarter` is None where times are frames; then `ticks_per_second` says how many.
    """

    name: str
    format: int
    division: int
    tracks: int
    events: tuple[Event, ...]
    notes: tuple[str, ...] = ()

    @property
    def ticks_per_quarter(self) -> int | None:
        """Ticks of a quarter note, None where the division is in frames."""
        return None if self.division & 0x8000 else self.division

    @property
    def ticks_per_second(self) -> int | None:
        """Ticks of a second, None where the division is in quarter notes (29 means 30 frames, drop or not)."""
        if not self.division & 0x8000:
            return None
        frames = 256 - (self.division >> 8)
        return (30 if frames == 29 else frames) * (self.division & 0xFF)

    @property
    def size(self) -> int:
        """Events."""
        return len(self.events)

    def in_time(self) -> list[tuple[int, Event]]:
        """(number of the event, event) of all tracks by tick; at equal ticks by track (SMF 2.1: they start together).

        In a file of format 2 the tracks are patterns of their own: one after another.
        """
        numbered = list(enumerate(self.events))
        if self.format == 2:
            return numbered
        return sorted(numbered, key=lambda each: each[1].tick)

    def pieces(self) -> Iterator[Piece]:
        """The events as pieces, in time; meta events are padding to a reader of sounds."""
        for number, event in self.in_time():
            if event.kind == "meta":
                yield Piece(number, 1, "padding", event.raw)
            elif event.kind == "raw":
                yield Piece(number, 1, "system" if _is_system(event.raw) else "outside", event.raw)
            else:
                yield Piece(number, 1, event.kind, event.raw)

    def where(self, place: int) -> str:
        """An event in words."""
        event = self.events[place]
        return f"track {event.track + 1}, tick {event.tick}"


def read(path: Path) -> MidiFile:
    """The file at `path`. Raises OutsideProblem, BadInput."""
    return from_bytes(read_bytes(path, LONGEST_FILE), path.name)


def looks_like(data: bytes) -> bool:
    """True for bytes that begin like a Standard MIDI File, also inside a RIFF wrapper."""
    return data[:4] == b"MThd" or (data[:4] == b"RIFF" and data[8:12] == b"RMID") or b"MThd" in data[:128]


def from_bytes(data: bytes, name: str) -> MidiFile:
    """The same of bytes that are at hand. Raises BadInput when no header can be found."""
    return _Reader(data, name).read()


class _Reader:
    def __init__(self, data: bytes, name: str) -> None:
        self._data = data
        self._name = name
        self._notes: list[str] = []
        self._events: list[Event] = []
        self._tracks = 0

    def read(self) -> MidiFile:
        """All chunks."""
        data = self._data
        at = data.find(b"MThd", 0, 4096)
        if at < 0 or len(data) < at + 14:
            raise BadInput(f"{self._name} is no Standard MIDI File: it has no whole header.", "Choose a .mid file.")
        if at > 0:
            self._note(f"{at} bytes stand before the header")
        length = int.from_bytes(data[at + 4 : at + 8], "big")
        form, declared, division = (int.from_bytes(data[at + 8 + i : at + 10 + i], "big") for i in (0, 2, 4))
        if length != 6:
            self._note(f"the header says it is {length} bytes long instead of 6")
        if form > 2:
            self._note(f"its format {form} is not known and was read like format 1")
        if division == 0:
            self._note("its division is 0; 96 ticks a quarter note were assumed")
            division = 96
        self._chunks(at + 8 + (length if 6 <= length <= len(data) - at - 8 else 6))
        if self._tracks != declared:
            self._note(f"the header promises {declared} tracks, {self._tracks} were found")
        return MidiFile(self._name, form, division, self._tracks, tuple(self._events), tuple(self._notes))

    def _chunks(self, at: int) -> None:
        data = self._data
        while at < len(data):
            kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "big")
            if len(data) - at < 8:
                if data[at:].strip(b"\x00"):
                    self._note(f"{len(data) - at} bytes stand behind the last chunk")
                return
            start = at + 8
            if kind == b"MTrk":
                end = start + length
                used = self._track(start, min(end, len(data)))
                if end > len(data):
                    self._note(f"track {self._tracks} is shorter than it says: {len(data) - start} of {length} bytes")
                self._tracks += 1
                at = self._next(end, used)
            elif kind.isascii() and kind.decode("ascii").isprintable():
                self._note(f"a chunk “{kind.decode('ascii')}” of {length} bytes is not of the standard")
                at = self._next(start + length, start)
            else:
                found = data.find(b"MTrk", at + 1)
                self._note(f"{(found if found >= 0 else len(data)) - at} bytes at byte {at} are no chunk")
                at = found if found >= 0 else len(data)

    def _next(self, told: int, used: int) -> int:
        """Where the next chunk begins: where the length says, unless there is none and one stands nearer."""
        data = self._data
        if told == len(data) or data[told : told + 4] == b"MTrk":
            return told
        found = data.find(b"MTrk", used)
        if found >= 0 and (told > len(data) or not data[told : told + 4].isalpha()):
            self._note(f"a chunk's length is wrong; the next track was found at byte {found}")
            return found
        return told

    def _track(self, at: int, end: int) -> int:
        """The events of one track; returns where reading ended."""
        data, track = self._data, self._tracks
        tick, running, before = 0, 0, 0
        open_sysex: list[bytes] | None = None
        packets: list[int] = []

        def close(kind: EventKind) -> None:
            nonlocal open_sysex
            if open_sysex is not None:
                whole = b"".join(open_sysex)
                self._add(Event(packets[0], track, kind, whole, tuple(packets)))
                if kind == "cut":
                    self._note(f"a SysEx message at tick {packets[0]} of track {track + 1} has no F7")
            open_sysex = None

        ended = False
        while at < end:
            delta, at = self._number(at, end)
            if delta is None or at >= end:
                self._note(f"track {track + 1} ends inside an event")
                break
            tick += delta
            status = data[at]
            if status < 0x80:
                if not running and before:
                    # Forbidden (SMF 2.3), and done by some writers: the meaning is plain.
                    self._note(f"running status goes on after a SysEx or meta event in track {track + 1}")
                    running = before
                if not running:
                    self._note(f"track {track + 1} has data without status at byte {at}; the rest of it was not read")
                    self._add(Event(tick, track, "raw", data[at:end]))
                    at = end
                    ended = True
                    break
                status = running
            else:
                at += 1
            if status < 0xF0:
                close("cut")
                running = before = status
                count = data_bytes(status) or 1
                raw = data[at : min(at + count, end)]
                if len(raw) < count or not raw.isascii():
                    self._note(f"the channel message at byte {at} is damaged; the rest of its track was not read")
                    self._add(Event(tick, track, "raw", bytes((status,)) + data[at:end]))
                    at = end
                    ended = True
                    break
                self._add(Event(tick, track, "channel", bytes((status,)) + raw))
                at += count
                continue
            running = 0
            if status not in (0xF0, 0xF7, 0xFF):
                # Not allowed in a file, found all the same: the bytes of a system message as on the cable.
                close("cut")
                count = data_bytes(status) or 0
                self._note(f"a bare {status:02X} stands at byte {at - 1}")
                self._add(Event(tick, track, "raw", data[at - 1 : min(at + count, end)]))
                at += count
                continue
            kind = b""
            if status == 0xFF:
                kind, at = data[at : at + 1], at + 1
            length, at = self._number(at, end)
            if length is None:
                self._note(f"track {track + 1} ends inside an event")
                break
            if length > end - at:
                self._note(f"an event at byte {at} says it has {length} bytes; {max(end - at, 0)} are left")
            body = data[at : min(at + length, end)]
            at += len(body)
            if status == 0xFF:
                if kind == b"\x2f":
                    ended = True
                    break
                self._add(Event(tick, track, "meta", kind + body))
                continue
            clean = body.translate(None, REALTIME) if not body.rstrip(b"\xf7").isascii() else body
            if status == 0xF0:
                close("cut")
                if len(clean) != len(body):
                    self._note(f"realtime bytes inside a SysEx message at tick {tick} were taken out")
                open_sysex, packets = [b"\xf0" + clean], [tick]
            elif open_sysex is not None:
                open_sysex.append(clean)
                packets.append(tick)
            else:
                self._escape(tick, body)
                continue
            if open_sysex[-1].endswith(b"\xf7"):
                whole = b"".join(open_sysex)
                close("sysex" if whole[1:-1].isascii() else "cut")
        close("cut")
        if not ended and at >= end:
            self._note(f"track {track + 1} has no end-of-track event")
        return at

    def _escape(self, tick: int, body: bytes) -> None:
        """Bytes sent as they are: a whole SysEx message or channel message if that is what they are."""
        kind: EventKind = "raw"
        if body[:1] == b"\xf0" and body[-1:] == b"\xf7" and body[1:-1].isascii():
            kind = "sysex"
        elif body and 0x80 <= body[0] < 0xF0 and body[1:].isascii() and len(body) == 1 + (data_bytes(body[0]) or 0):
            kind = "channel"
        self._add(Event(tick, self._tracks, kind, body))

    def _add(self, event: Event) -> None:
        if len(self._events) >= MOST_EVENTS:
            raise BadInput(f"{self._name} has more than {MOST_EVENTS:,} events.", "Split it; sounds need few.")
        self._events.append(event)

    def _number(self, at: int, end: int) -> tuple[int | None, int]:
        """A number of variable length (SMF 1.1: at most 4 bytes); None where the track ends inside it."""
        value = 0
        for _ in range(4):
            if at >= end:
                return None, at
            byte = self._data[at]
            at += 1
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value, at
        self._note(f"a number at byte {at - 4} has more than 4 bytes")
        return value, at

    def _note(self, what: str) -> None:
        if len(self._notes) < _MOST_NOTES:
            self._notes.append(f"{what[0].upper()}{what[1:]}.")


def _is_system(raw: bytes) -> bool:
    return (len(raw) == 1 and raw[0] >= 0xF1) or raw[:1] in (b"\xf1", b"\xf2", b"\xf3")
