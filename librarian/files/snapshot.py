"""A sound out of a recording: the last value of each controller before a moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from librarian.files.smf import MidiFile
from librarian.files.sound import heard_values
from librarian.files.targets import Target
from librarian.messages import Origin, Values, Version


@dataclass(frozen=True, slots=True)
class Snapshot:
    """`controllers`: (channel 0-15, controller) -> its last value before the tick.

    `messages`: in order, the channel messages and whole SysEx messages that an instrument would have received.
    """

    tick: int
    controllers: Mapping[tuple[int, int], int]
    messages: tuple[bytes, ...]


def snapshot(file: MidiFile, tick: int | None = None, *, track: int | None = None) -> Snapshot:
    """What was sent before `tick` (None: in the whole file); only by one `track` (from 0) if it is named.

    An event at the tick itself is not counted: the sound is that of the moment before.
    """
    controllers: dict[tuple[int, int], int] = {}
    messages = []
    for _, event in file.in_time():
        at = event.packets[-1] if event.packets else event.tick
        if event.kind not in ("channel", "sysex") or (track is not None and event.track != track):
            continue
        if tick is not None and at >= tick:
            continue
        messages.append(event.raw)
        if event.raw[0] & 0xF0 == 0xB0:
            controllers[event.raw[0] & 0x0F, event.raw[1]] = event.raw[2]
    if tick is None:
        tick = max((event.tick for event in file.events), default=-1) + 1
    return Snapshot(tick, controllers, tuple(messages))


def version(file: MidiFile, target: Target, tick: int | None = None, *, track: int | None = None) -> Version:
    """The sound that the instrument had at that moment, as its chart hears it; what never came is unknown."""
    found = snapshot(file, tick, track=track)
    listener = target.chart.codec.listener(target.address)
    used = tuple(raw for raw in found.messages if listener.is_known(raw) or (raw[0] == 0xF0 and listener.feed(raw)))
    values = Values({key: value for key, value in heard_values(target, used).items() if key in target.chart.parameters})
    where = f"{file.name} at tick {found.tick}"
    return Version(
        target.chart.id,
        target.chart.revision,
        values,
        target.chart.unknown(values),
        used,
        Origin("imported", where),
    )
