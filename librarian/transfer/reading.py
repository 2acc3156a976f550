"""Reading an instrument once, by one of the ways of its chart: the question, the answer, and what may be between.

A reading is what arrived, taken at its word. Whether it can be believed is decided above (`confirm`), because no
checksum of the trade notices two bytes that changed places.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.chart import DumpRefused, Way
from librarian.messages import Damaged, Values
from librarian.transfer.talk import BYTE_S, Talk
from librarian.transfer.troubles import EchoLoop, ForeignOnly, InstrumentRefused, NoReply, and_list
from librarian.wire import universal

_QUIET_S = 0.06
_DRAIN_AT_MOST_S = 3.0
AFTER_NAK_S = 0.3
"""So long an answer may still come after a NAK, which may have been meant for what was written before."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one answer said. `received`: its messages as they came. `raw`: dumps by message name.

    `coarse`: some of it came as the upper half of 14 bits alone, which is what a lost message looks like as well.
    """

    way: Way
    values: Values
    name: str
    received: tuple[bytes, ...]
    raw: Mapping[str, tuple[bytes, ...]] = field(default_factory=dict)
    coarse: bool = False

    def agrees(self, other: Reading) -> bool:
        """True when both say the same: the same bytes of a dump, or the same values of controllers."""
        if self.raw or other.raw:
            return self.raw == other.raw
        return self.values == other.values


class Unreadable(Exception):  # noqa: N818 - a signal inside this room: this one answer is of no use, ask again
    """The answer cannot be used; `reason` says why in a sentence."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Mark:
    """What had been heard when a question was asked, so that what comes after can be told apart."""

    damaged: int = 0
    foreign: int = 0
    refusals: int = 0

    @classmethod
    def of(cls, talk: Talk) -> Mark:
        """The state of this conversation now."""
        return cls(len(talk.damaged), talk.foreign, talk.refusals)


def silence(
    talk: Talk, since: Mark, what: str, missing: tuple[str, ...] = (), *, acknowledged: bool = False
) -> Exception:
    """What is to be raised when the answer (`what`: "its sound", "program 12") did not come, or not whole (`missing`).

    `acknowledged`: what had come was acknowledged by a message that names the device.
    """
    line = talk.line
    damaged = talk.damaged[since.damaged :]
    if damaged:
        broken = max(damaged, key=lambda one: len(one.raw))
        return Unreadable(f"The answer of {line.name} arrived damaged: {broken.reason}")
    if missing:
        said = f"The answer of {line.name} stopped before its end: {and_list(missing)} did not come"
        if acknowledged:
            said += (
                f"; what had come was acknowledged to device ID {line.address.device}, which may not be the one it has"
            )
        return Unreadable(f"{said}.")
    if talk.refusals > since.refusals:
        return refused(talk, f"the request for {what}")
    if line.echo.request_came_back:
        return EchoLoop(
            f"{line.port} returns what is sent to it, and {line.name} does not answer: thru is on, or OUT goes to IN.",
            "Switch thru off or rewire, then look again.",
        )
    if talk.foreign > since.foreign and _who_it_is(talk):
        return NoReply(
            f"{line.name} is on {line.port}, but answers too late: who it is came only after the time for that, and "
            f"{what} not within the time that its chart gives it.",
            "Give it longer: timeout_ms of [[capture]] in its chart.",
        )
    if talk.foreign > since.foreign:
        return ForeignOnly(
            f"Messages arrive on {line.port}, but none from {line.name}: {describe(talk, talk.last_foreign)}.",
            "Another instrument may be on this input; choose other ports.",
        )
    return NoReply(
        f"{line.name} does not answer on {line.port}: asked for {what}, nothing came.",
        "Check its power and the cable in its MIDI IN, then look again.",
    )


def _who_it_is(talk: Talk) -> bool:
    """True when what came instead is the identity reply of this very instrument, to a question that was given up."""
    try:
        reply = universal.parse_identity(talk.last_foreign)
    except universal.Malformed:
        return False
    identity = talk.line.chart.identity
    return identity.manufacturer is not None and identity.fits(reply) == "fits"


def describe(talk: Talk, raw: bytes) -> str:
    """A message of somebody else in a few words: “notes on channel 10”, or why a dump is not this instrument's."""
    status = raw[0] & 0xF0
    kinds = {0x80: "notes", 0x90: "notes", 0xA0: "key pressure", 0xB0: "controllers", 0xC0: "program changes",
             0xD0: "channel pressure", 0xE0: "pitch bend"}  # fmt: skip
    if status in kinds:
        return f"{kinds[status]} on channel {(raw[0] & 0x0F) + 1}"
    if raw[0] == 0xF0 and raw[1:2] not in {b"\x7e", b"\x7f"}:
        try:
            talk.line.chart.codec.decode(raw, talk.line.address)
        except DumpRefused as problem:
            return str(problem).rstrip(".")
    return universal.describe(raw)


def refused(talk: Talk, what: str) -> InstrumentRefused:
    """The instrument said no (a NAK or cancel of the standard's handshake) and nothing else."""
    return InstrumentRefused(
        f"{talk.line.name} refused {what}.",
        "Look whether it is in a menu or its memory is protected, then try again.",
    )


def drain(talk: Talk) -> None:
    """Hear a broken answer out before anything else is sent: the instrument may be deaf until it has ended."""
    clock = talk.line.clock
    give_up = clock.now() + _DRAIN_AT_MOST_S
    counts = talk.line.cable.counts
    before = counts().bytes_in
    while clock.now() < give_up:
        arrival = talk.next(clock.now() + _QUIET_S)
        if arrival is None and counts().bytes_in == before:
            return
        before = counts().bytes_in


def broke_off(talk: Talk, damage: Damaged, whole: int | None) -> str:
    """The sentence about a dump that ended too early; `whole`: bytes it should have, if that is known."""
    of = f"{len(damage.raw)} of {whole}" if whole is not None and whole > len(damage.raw) else f"{len(damage.raw)}"
    return f"A dump from {talk.line.name} broke off after {of} bytes."


def wire_seconds(count: int) -> float:
    """How long this many bytes take on a 5-pin cable."""
    return count * BYTE_S
