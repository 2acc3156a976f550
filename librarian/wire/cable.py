"""One instrument's pair of ports, as conversations see it: queue whole messages, receive whole messages.

Two kinds exist: `embedded.EmbeddedCable` (to a stand-in in this process) and the one that `process.PortProcess`
opens on real ports. Both keep the wire's speed, so that no receiver is ever sent more than it can take.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from librarian.errors import BadInput, OutsideProblem
from librarian.messages import Arrival
from librarian.wire.clock import Clock

WIRE_BYTES_PER_SECOND = 3125.0
"""31,250 bit/s, ten bits a byte (MIDI 1.0 Detailed Specification 4.2.1, p.1): 320 us a byte."""

LONGEST_MESSAGE = 4 * 1024 * 1024
"""Bytes of one message that any part of this room handles; a longer one is cut and reported."""

_CHANNEL_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_SYSTEM_DATA_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0, 0xF8: 0, 0xFA: 0, 0xFB: 0, 0xFC: 0, 0xFE: 0, 0xFF: 0}


class CableLost(OutsideProblem):
    """Server, port or port process is gone; this cable is dead for good. Open a new one when the port is back."""

    hint = "Check the cable and the MIDI system; the connection is made again when the port is back."


class TooLong(BadInput):
    """The MIDI system cannot carry a message of this length in one piece."""

    hint = "Use a form of the dump that is made of shorter messages, or another MIDI system."


class NotOneMessage(BadInput):
    """The bytes are not exactly one whole MIDI message."""


class PortHeld(OutsideProblem):
    """Another program has the port and the system lets only one have it."""

    hint = "Close the port in the other program, perhaps your sequencer, and try again."


class NoMidiSystem(OutsideProblem):
    """This machine offers no MIDI system now."""

    hint = "Start a MIDI system (on Linux ALSA or a JACK server). Files and the stand-ins work without one."


@dataclass(frozen=True, slots=True)
class Counts:
    """Bytes that crossed a cable since it was opened, each way."""

    bytes_out: int
    bytes_in: int


class Cable(Protocol):
    """One instrument's pair of ports. Every method may be called from any thread."""

    name: str
    clock: Clock

    def send(self, message: bytes, *, gap_s: float = 0.0, urgent: bool = False) -> int:
        """Queue one whole message and return at once with its ticket, a running number from 1.

        It starts no earlier than the wire time of the message before plus that message's `gap_s` (seconds of
        silence that this message wants after it). `urgent` (panic) overtakes everything queued and waits for no gap.
        Raises `NotOneMessage`, `TooLong`, `CableLost`.
        """

    def send_stream(self, data: bytes, *, gap_s: float = 0.0) -> int:
        """Queue bytes exactly as they are, to prove a receiver: running status, realtime inside a SysEx message.

        As `send` otherwise. Raises `NotOneMessage` for what a MIDI system cannot hand on: more than three bytes that
        do not begin with F0.
        """

    def sent(self) -> int:
        """The highest ticket of which it is true that it and all before it have been handed to the port or dropped.

        A message is handed over whole when its sending starts; its wire time runs from then.
        """

    def drop_unsent(self) -> int:
        """Forget what is queued and not yet handed over; returns how many messages. The one under way goes on.

        Urgent messages stay: nobody takes back a panic. They go out before `close` ends, too.
        """

    def receive(self, timeout_s: float) -> Arrival | None:
        """The next whole message or piece of damage, in order of arrival; None if nothing came in `timeout_s` seconds.

        Raises `CableLost` as soon as server, port or port process is gone and what had come before is read.
        """

    def counts(self) -> Counts:
        """Bytes so far, each way."""

    def close(self) -> None:
        """Let the message under way leave, forget the rest, and free the ports. A second call does nothing."""


def data_bytes(status: int) -> int | None:
    """How many data bytes follow this status byte (MIDI 1.0 Detailed Specification 4.2.1, Tables I to VI).

    None for F0 (any number), for F7 and for the undefined F4, F5, F9, FD.
    """
    return _CHANNEL_DATA_BYTES.get(status & 0xF0) if status < 0xF0 else _SYSTEM_DATA_BYTES.get(status)


def check_message(message: bytes, longest: int = LONGEST_MESSAGE) -> None:
    """Raise `NotOneMessage` or `TooLong` unless this is exactly one whole message of at most `longest` bytes."""
    if not message:
        raise NotOneMessage("There is no message in zero bytes.")
    if len(message) > longest:
        raise TooLong(f"A message of {len(message):,} bytes cannot be sent: {longest:,} is the most in one piece here.")
    status = message[0]
    if status == 0xF0:
        if len(message) < 2 or message[-1] != 0xF7:
            raise NotOneMessage(f"The SysEx message {_shown(message)} does not end with F7.")
    else:
        wanted = data_bytes(status)
        if wanted is None:
            raise NotOneMessage(f"{_shown(message)} does not begin with the status byte of a message.")
        if len(message) != wanted + 1:
            raise NotOneMessage(f"{_shown(message)} has {len(message)} bytes; a message {status:02X} has {wanted + 1}.")
    body = message[1:-1] if status == 0xF0 else message[1:]
    if not body.isascii():
        place = next(index for index, byte in enumerate(body, 1) if byte > 0x7F)
        raise NotOneMessage(f"Byte {place} of {_shown(message)} is {message[place]:02X}; data bytes stop at 7F.")


def check_stream(data: bytes, longest: int = LONGEST_MESSAGE) -> None:
    """Raise `NotOneMessage` or `TooLong` for bytes that no MIDI system hands on as they are."""
    if not data or (len(data) > 3 and data[0] != 0xF0):
        raise NotOneMessage(f"{_shown(data)} cannot be handed on in one piece: send it in pieces of three bytes.")
    if len(data) > longest:
        raise TooLong(f"{len(data):,} bytes cannot be sent: {longest:,} is the most in one piece here.")


def _shown(message: bytes) -> str:
    """The first bytes in hexadecimal."""
    return message[:8].hex(" ").upper() + (" …" if len(message) > 8 else "")
