"""Standard MIDI Files written through mido: SysEx and controllers with times that a slow cable can keep."""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path

import mido

from librarian.files.syx import write_whole
from librarian.wire.pace import Pace

TICKS = 480
TEMPO = 500_000
"""Microseconds a quarter note: 120 per minute, so a tick is 1/960 s."""
_LONGEST_WAIT = 0x0FFFFFFF  # the largest number of variable length (SMF 1.1)


def to_bytes(messages: Iterable[bytes], *, name: str = "", pace: Pace | None = None) -> bytes:
    """A file of format 0. Each message starts when the one before has left the cable and the pace's gap is over."""
    return to_bytes_of([("", messages)], name=name, pace=pace)


def to_bytes_of(
    groups: Iterable[tuple[str, Iterable[bytes]]], *, name: str = "", pace: Pace | None = None
) -> bytes:
    """The same of several sounds, each with its name as a marker in front of it (SMF 3.1, FF 06)."""
    pace = pace or Pace()
    track = mido.MidiTrack()
    if name:
        track.append(mido.MetaMessage("track_name", name=_ascii(name), time=0))
    track.append(mido.MetaMessage("set_tempo", tempo=TEMPO, time=0))
    wait = 0
    for title, messages in groups:
        if title:
            track.append(mido.MetaMessage("marker", text=_ascii(title), time=wait))
            wait = 0
        for raw in messages:
            track.append(mido.Message.from_bytes(raw, time=wait))
            wait = _ticks(len(raw) / pace.bytes_per_second + pace.gap_after(raw))
    track.append(mido.MetaMessage("end_of_track", time=wait))
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track])
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def write(
    path: Path, messages: Iterable[bytes], *, name: str = "", pace: Pace | None = None, replace: bool = False
) -> int:
    """Write such a file, whole or not at all; returns its size in bytes. Raises Refused, OutsideProblem."""
    return write_whole(path, [to_bytes(messages, name=name, pace=pace)], replace=replace)


def _ticks(seconds: float) -> int:
    return min(int(mido.second2tick(seconds, TICKS, TEMPO)) + 1, _LONGEST_WAIT)


def _ascii(text: str) -> str:
    """Text of the standard is 7-bit ASCII (SMF 3.1)."""
    return text.encode("ascii", "replace").decode("ascii")
