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


def to_bytes(messages: Iterable[bytes], *, name: str = "", pace: Pace | None = None) -> bytes:
    """A file of format 0. Each message starts when the one before has left the cable and the pace's gap is over."""
    pace = pace or Pace()
    track = mido.MidiTrack()
    if name:
        track.append(mido.MetaMessage("track_name", name=name.encode("ascii", "replace").decode("ascii"), time=0))
    track.append(mido.MetaMessage("set_tempo", tempo=TEMPO, time=0))
    wait = 0.0
    for raw in messages:
        ticks = mido.second2tick(wait, TICKS, TEMPO)
        track.append(mido.Message.from_bytes(raw, time=int(ticks) + (wait > 0)))
        wait = len(raw) / pace.bytes_per_second + pace.gap_after(raw)
    track.append(mido.MetaMessage("end_of_track", time=int(mido.second2tick(wait, TICKS, TEMPO)) + 1))
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track])
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def write(
    path: Path, messages: Iterable[bytes], *, name: str = "", pace: Pace | None = None, replace: bool = False
) -> int:
    """Write such a file, whole or not at all; returns its size in bytes. Raises Refused, OutsideProblem."""
    return write_whole(path, [to_bytes(messages, name=name, pace=pace)], replace=replace)
