"""python-rtmidi as the port process uses it: polled input, explicit flags, never the unspecified API.

Only the port process imports this module: a driver may print, hang with the interpreter locked, or crash.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterable
from typing import Any

import rtmidi

from librarian.wire.ports import Direction, Port, numbered

QUEUE = 65_536
"""Messages between two looks at an input; at 1 ms no driver delivers as many."""

LONGEST = {"alsa": 16_000, "jack": 16_000}
"""Bytes of one message that still arrive; beyond it these systems drop without a word (16,379 measured on JACK)."""

OWN_PORT = "Librarian, own end"
"""How this program's own ends are called, so that they are never offered as instruments."""

PROBLEMS = (rtmidi.RtMidiError, OSError, ValueError, RuntimeError)
"""What python-rtmidi raises when a system or a port refuses."""

_API_NUMBERS = {
    "alsa": rtmidi.API_LINUX_ALSA,
    "jack": rtmidi.API_UNIX_JACK,
    "coremidi": rtmidi.API_MACOSX_CORE,
    "winmm": rtmidi.API_WINDOWS_MM,
}
_LONGEST_CLIENT_NAME = 56  # JACK allows 63 bytes and may add a suffix
_PULSE = (0xF9,)  # the undefined realtime byte: whoever gets it by mistake has to ignore it
_numbers = itertools.count(1)


def _client() -> str:
    """A name that no client of this process had before.

    A JACK server that gets the same name again while it still takes the former client away (it is slow after it was
    stopped) may wake neither of them any more: their ports are there and connected, and nothing passes.
    """
    return f"Librarian-{os.getpid()}-{next(_numbers)}"


class PortGone(Exception):  # noqa: N818 - what happened, not what went wrong
    """The port is not in the list any more, or its place in the list moved while it was opened."""


def compiled_apis() -> tuple[str, ...]:
    """The systems that this python-rtmidi was built for."""
    compiled = set(rtmidi.get_compiled_api())
    return tuple(api for api, number in _API_NUMBERS.items() if number in compiled)


class System:
    """One MIDI system that could be reached. Raises one of `PROBLEMS` on construction when it cannot be."""

    def __init__(self, api: str) -> None:
        self.api = api
        self._ends: list[Any] = []
        try:
            for make in (rtmidi.MidiOut, rtmidi.MidiIn):
                self._ends.append(make(_API_NUMBERS[api], name=_client()))
            self._out, self._in = self._ends
            if api == "jack":
                self._connect_pulse()
        except PROBLEMS:
            self.close()
            raise

    def ports(self) -> tuple[Port, ...]:
        """What it lists now, outputs first, without this program's own ends."""
        return self._listed("out", self._out.get_ports()) + self._listed("in", self._in.get_ports())

    def _listed(self, direction: Direction, names: Iterable[str]) -> tuple[Port, ...]:
        return numbered(self.api, direction, (name for name in names if OWN_PORT not in name))

    def _connect_pulse(self) -> None:
        """Only a beat through the JACK server and back tells a living server from a dead or stopped one."""
        name = f"{OWN_PORT}, pulse {os.getpid()}"
        self._out.open_virtual_port(name)
        is_own = [port.endswith(name) for port in self._in.get_ports()]
        self._in.open_port(is_own.index(True), name=OWN_PORT)

    def beat(self) -> bool:
        """Send the next beat (JACK only); False if nothing has come back since the one before."""
        back = False
        while self._in.get_message() is not None:
            back = True
        self._out.send_message(_PULSE)
        return back

    def close(self) -> None:
        """Leave the system."""
        for end in self._ends:
            end.delete()


def open_output(port: Port) -> Any:
    """A `rtmidi.MidiOut` connected to this port. Raises `PortGone` or one of `PROBLEMS`."""
    return _opened(rtmidi.MidiOut(_API_NUMBERS[port.api], name=_client()), port)


def open_input(port: Port) -> Any:
    """A `rtmidi.MidiIn` connected to this port, SysEx let through. Raises `PortGone` or one of `PROBLEMS`."""
    return _opened(_input(port.api, _client()), port)


def open_virtual(api: str, name: str) -> tuple[Any, Any]:
    """(MidiOut, MidiIn) that other programs see as an instrument's two sockets."""
    clipped = name.replace(":", " ").encode()[:_LONGEST_CLIENT_NAME].decode(errors="ignore")
    sockets = []
    for socket, make in (("OUT", rtmidi.MidiOut), ("IN", rtmidi.MidiIn)):
        label = f"{clipped} {socket}"
        client = label if api == "jack" else _client()
        made = _input(api, client) if make is rtmidi.MidiIn else make(_API_NUMBERS[api], name=client)
        made.open_virtual_port("midi" if api == "jack" else label)
        sockets.append(made)
    return sockets[0], sockets[1]


def _input(api: str, client: str) -> Any:
    midi_in = rtmidi.MidiIn(_API_NUMBERS[api], name=client, queue_size_limit=QUEUE)
    midi_in.ignore_types(sysex=False, timing=True, active_sense=True)
    return midi_in


def _opened(end: Any, port: Port) -> Any:
    """List, resolve, open, and look again: places in the list may move meanwhile."""
    try:
        places = {place: name for place, name in enumerate(end.get_ports()) if OWN_PORT not in name}
        found = dict(zip(numbered(port.api, port.direction, places.values()), places, strict=True))
        if port not in found:
            raise PortGone
        end.open_port(found[port], name=OWN_PORT)
        names = end.get_ports()
        if found[port] >= len(names) or names[found[port]] != port.name:
            raise PortGone
    except (PortGone, *PROBLEMS):
        end.delete()
        raise
    return end
