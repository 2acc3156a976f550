"""The MIDI messages of one version: as they were received, or, where it was edited, made by its chart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from librarian.chart import Chart, DumpRefused, NotWritable, UnknownValues
from librarian.errors import BadInput
from librarian.messages import Address, Version
from librarian.wire.cable import check_message


@dataclass(frozen=True, slots=True)
class Outgoing:
    """`messages` in order of sending; `made`: they were encoded, not received. `why`: why there are none."""

    messages: tuple[bytes, ...]
    made: bool = False
    why: str = ""


Earlier = Callable[[], Sequence[Version]]
"""The versions it came from, nearest first."""


def messages_of(chart: Chart, version: Version, address: Address, earlier: Earlier, *, sysex_only: bool) -> Outgoing:
    """What a file holds for this version. `sysex_only`: the file cannot hold controllers."""
    if version.received:
        if sysex_only and any(raw[:1] != b"\xf0" for raw in version.received):
            made = _dump(chart, version, address, ())
            return made if made.messages else Outgoing((), why=_CONTROLLERS)
        return Outgoing(version.received) if sysex_only else _checked(version.received)
    dump = _dump(chart, version, address, earlier())
    if dump.messages:
        return dump
    if sysex_only:
        return dump if dump.why else Outgoing((), why=_CONTROLLERS)
    bursts = chart.codec.controllers(version.values, address)
    messages = tuple(raw for burst in bursts for raw in burst.messages)
    return Outgoing(messages, True) if messages else Outgoing((), why="No message of its chart carries what is known.")


def _checked(received: tuple[bytes, ...]) -> Outgoing:
    """A .mid file holds whole messages only; bytes from outside may be anything."""
    try:
        for raw in received:
            check_message(raw)
    except BadInput as fault:
        return Outgoing((), why=str(fault))
    return Outgoing(received)


_CONTROLLERS = "It consists of controllers, which a .syx file does not hold; a .mid file does."


def _dump(chart: Chart, version: Version, address: Address, earlier: Sequence[Version]) -> Outgoing:
    """A dump of the values over the bytes of the nearest version that has some, so that nothing unexplained is lost."""
    why = ""
    for way in chart.ways_out:
        if way.kind != "dump" or not way.message:
            continue
        name = version.name or None
        for base in _bases(chart, way.message, earlier, address):
            try:
                made = chart.codec.encode(way.message, version.values, address, base=base, name=name)
            except (UnknownValues, NotWritable, DumpRefused, BadInput) as refused:
                why = why or str(refused)
                continue
            return Outgoing(tuple(made), True)
    return Outgoing((), why=why)


def _bases(
    chart: Chart, message: str, earlier: Sequence[Version], address: Address
) -> Sequence[tuple[bytes, ...] | None]:
    """Bytes received before, of the same message; None for a dump out of values alone."""
    found: list[tuple[bytes, ...] | None] = []
    for each in earlier:
        if each.received and each.chart == chart.id and each.revision == chart.revision:
            hit = chart.codec.recognise(each.received[0], address)
            if hit is not None and hit.message == message:
                found.append(each.received)
                break
    return [*found, None]
