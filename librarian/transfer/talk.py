"""The grain of every conversation: send at the instrument's pace, hear what comes, never wait without looking up."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from librarian.chart import Heard
from librarian.errors import Cancelled
from librarian.messages import Arrival, Damaged, Message
from librarian.transfer.cancel import Cancel, OnProgress, Progress
from librarian.transfer.troubles import TookTooLong
from librarian.wire import universal

if TYPE_CHECKING:
    from librarian.chart.dump import Handshake, HandshakeKind
    from librarian.transfer.line import Line

# Cancel must be answered within 0.3 s: no wait is longer than this without a look at it.
_LOOK_UP_S = 0.05
_AHEAD_S = 0.15
_TICK_S = 0.0005
_TAIL_S = 0.15
BYTE_S = 0.00032

State = str | Callable[[int], str]
"""A sentence about what the instrument holds, or what makes it from the last ticket that was handed to the port."""


def handshake(raw: bytes) -> universal.Handshake | None:
    """Which message of the standard's handshake this is, or None."""
    try:
        return universal.parse_handshake(raw).kind
    except universal.Malformed:
        return None


class Talk:
    """One running conversation on a Line. Made by `Line.talk`, used by one thread."""

    def __init__(self, line: Line, cancel: Cancel, progress: OnProgress | None) -> None:
        self.line = line
        self.cancel = cancel
        self.started = line.clock.now()
        self.damaged: list[Damaged] = []
        self.foreign = 0
        self.last_foreign = b""
        self._foreign_bytes = 0
        self.moved: dict[str, Heard] = {}
        self.asked_by_a_value = False
        """A value was sent whose message is the chart's request: what comes unasked answers it, and no hand moved."""
        self.refusals = 0
        self.packets_refused = 0
        self.trace: list[tuple[str, bytes]] | None = None
        self.state: State = ""
        self.wrote = False
        self._told: set[tuple[str, int]] = set()
        self._owed = False
        self._tail: frozenset[str] = frozenset()
        self._tail_until = self.started
        self.limit_s: float | None = None
        self._progress = progress
        counts = line.cable.counts()
        self._bytes_before = (counts.bytes_out, counts.bytes_in)
        self._ticket = line.cable.sent()
        self._queue_ends = self.started

    # -- what the person sees ---------------------------------------------------------------------------------------

    def tell(self, done: int, total: int, what: str, seconds_left: float | None = None) -> None:
        """Report progress, and look whether the person wants to end."""
        self._look_up()
        if self._progress is not None:
            self._progress(Progress(done, total, what, seconds_left))

    @property
    def naks(self) -> int:
        """How often the instrument has said no in this conversation, also where it took the same packet afterwards."""
        return self.refusals + self.packets_refused

    @property
    def seconds(self) -> float:
        """How long this conversation has taken so far."""
        return self.line.clock.now() - self.started

    @property
    def bytes_out(self) -> int:
        """Bytes handed to the cable in this conversation."""
        return self.line.cable.counts().bytes_out - self._bytes_before[0]

    @property
    def bytes_in(self) -> int:
        """Bytes that arrived in this conversation; those of other devices do not count."""
        return self.line.cable.counts().bytes_in - self._bytes_before[1] - self._foreign_bytes

    # -- sending ------------------------------------------------------------------------------------------------------

    def gap_after(self, raw: bytes) -> float:
        """Seconds of silence that the pace of the instrument wants after this message, beyond the wire's own time."""
        pace = self.line.pace
        return pace.gap_after(raw) + max(0.0, len(raw) / pace.bytes_per_second - len(raw) * BYTE_S)

    def send(self, raw: bytes, *, gap_s: float | None = None) -> int:
        """Queue one message; returns its ticket. `gap_s`: None takes the pace's own gap for this kind of message."""
        self._look_up()
        gap = self.gap_after(raw) if gap_s is None else gap_s
        starts = max(self._queue_ends, self.line.clock.now())
        self._queue_ends = starts + len(raw) * BYTE_S + gap
        self._ticket = self.line.cable.send(raw, gap_s=gap)
        self.line.echo.sent(raw, starts)
        if self.trace is not None:
            self.trace.append(("out", raw))
        return self._ticket

    def answer_packet(self, step: Handshake | None, kind: HandshakeKind, packet: int) -> None:
        """Our side of a handshake, where there is one: the only thing that is sent while an answer is due."""
        raw = None if step is None else step.make(kind, self.line.address, packet)
        if raw is not None:
            self.send(raw, gap_s=0.0)

    def send_stream(self, data: bytes) -> None:
        """Bytes exactly as they are (see `Cable.send_stream`), with no gap after them; only to prove a receiver."""
        self._look_up()
        starts = max(self._queue_ends, self.line.clock.now())
        self._queue_ends = starts + len(data) * BYTE_S
        self._ticket = self.line.cable.send_stream(data)
        if self.trace is not None:
            self.trace.append(("out", data))

    @property
    def last_ticket(self) -> int:
        """The ticket of the message queued last."""
        return self._ticket

    def send_burst(self, messages: Iterable[bytes]) -> int:
        """Queue messages that belong together (a 14-bit pair, one NRPN group): the gap comes only after the last."""
        group = tuple(messages)
        for raw in group[:-1]:
            self.send(raw, gap_s=0.0)
        return self.send(group[-1]) if group else self._ticket

    def keep_ahead(self) -> None:
        """Return when less than 0.15 s of wire is queued: enough never to run dry, little to drop on a cancel."""
        while (ahead := self._queue_ends - self.line.clock.now()) > _AHEAD_S:
            self._hear_for(min(_LOOK_UP_S, ahead - _AHEAD_S))

    def until_sent(self, ticket: int | None = None) -> None:
        """Return when the ticket (default: the last one) is on the wire with its gap; what arrives meanwhile is heard.

        The port process hands a message over when its time has come, so the last bytes still travel then: their
        time is waited for as well.
        """
        wanted = self._ticket if ticket is None else ticket
        while self.line.cable.sent() < wanted:
            self._hear_for(min(_LOOK_UP_S, max(0.001, self._queue_ends - self.line.clock.now())))
        if ticket is None:
            while (left := self._queue_ends - self.line.clock.now()) > 0:
                self._hear_for(min(_LOOK_UP_S, left))

    def pause(self, seconds: float) -> None:
        """Let time pass (an instrument storing, a settle time) while still hearing what arrives."""
        until = self.line.clock.now() + seconds
        while (left := until - self.line.clock.now()) > 0:
            self._hear_for(min(_LOOK_UP_S, left))

    def ask(self, *messages: bytes, travels: Callable[[bytes], bytes] | None = None) -> float:
        """Queue one request; returns when it will have left, seconds of the clock. Nothing is sent until `answered`.

        Whatever stood on the line before is heard out first, so that no older message is taken for the answer.
        `travels`: the bytes that the last message becomes on the cable, only to prove a receiver.
        """
        self.until_sent()
        while (arrival := self.next(self.line.clock.now())) is not None:
            if isinstance(arrival, Message):
                self.hear(arrival)
        self.line.echo.asked(*messages)
        for raw in messages[:-1]:
            self.send(raw)
        if travels is None:
            self.send(messages[-1], gap_s=0.0)
        else:
            self.send_stream(travels(messages[-1]))
        return self._queue_ends

    def answered(self, tail: frozenset[str] = frozenset()) -> None:
        """The answer is complete, or was waited for long enough.

        `tail`: parameters of which the rest of it may still come as controllers; those are no moves of the panel. An
        answer that was held up comes much later: values that were told already and come again are none either.
        """
        self.line.echo.answered()
        self._owed = self._owed or bool(tail)
        self._tail, self._tail_until = tail, self.line.clock.now() + _TAIL_S

    def told(self, one: Heard) -> None:
        """A controller of an answer said so."""
        self._told.add((one.parameter, one.value))

    # -- hearing ------------------------------------------------------------------------------------------------------

    def next(self, until: float) -> Arrival | None:
        """The next arrival that is not an echo, or None at the time `until` (seconds of the clock).

        `until` in the past still looks once. Raises Cancelled as soon as the person wants the end.
        """
        while True:
            self._look_up()
            left = until - self.line.clock.now()
            arrival = self.line.cable.receive(max(0.0, min(_LOOK_UP_S, left)))
            if arrival is None:
                if self.line.clock.now() >= until:
                    return None
                continue
            if self.trace is not None:
                self.trace.append(("in", arrival.raw))
            if isinstance(arrival, Damaged):
                self.damaged.append(arrival)
                return arrival
            if not self.line.echo.is_echo(arrival.raw, self.line.clock.now()):
                return arrival

    def _look_up(self) -> None:
        """End here when the person wants to, or when it has taken too long; the condition of things is told."""
        if self.cancel.is_set():
            raise Cancelled(self.give_up())
        if self.limit_s is not None and self.seconds > self.limit_s:
            raise TookTooLong(
                f"Messages kept coming on {self.line.port} for {self.limit_s:.0f} s without an end. {self.give_up()}",
                "Stop what is sending to this input (a sequencer, a clock), then try again.",
            )

    def give_up(self) -> str:
        """Send nothing more, and say what is true now: what was queued and has not left does not count as sent."""
        handed = self._ticket - self.line.cable.drop_unsent()
        return self.state if isinstance(self.state, str) else self.state(handed)

    def state_when_lost(self) -> str:
        """What is true when the cable was lost: what it had handed to the port may have arrived."""
        return self.state if isinstance(self.state, str) else self.state(self.line.cable.sent())

    def hear(self, message: Message) -> tuple[Heard, ...]:
        """Take note of a message that answers nothing: what a control of the panel said, or a foreign message."""
        raw = message.raw
        if raw[0] >= 0xF8:
            self._foreign_bytes += 1  # a clock or active sensing: nobody's message
            return ()
        line = self.line
        heard = line.listener.feed(raw, line.clock.now())
        tail = self._tail if line.clock.now() < self._tail_until else frozenset()
        for one in heard:
            answer = self.asked_by_a_value or (self._owed and (one.parameter, one.value) in self._told)
            if one.parameter not in tail and not answer:
                self.moved[one.parameter] = one
            line.moved(one.parameter, one.value, one.exact)
        if heard or line.listener.is_known(raw):
            return heard
        if self._says_no(raw) and not line.echo.just_sent(raw, line.clock.now()):
            self.refusals += 1
        if raw[0] == 0xF0:
            ours = line.chart.codec.recognise(raw, line.address) is not None
        else:
            # A program was chosen at the instrument, or a control moved that the chart does not know.
            ours = raw[0] & 0xF0 in {0xB0, 0xC0} and raw[0] & 0x0F == line.address.channel
        if ours:
            line.forget()
        else:
            self.foreign += 1
            self.last_foreign = raw
            self._foreign_bytes += len(raw)
            line.foreign += 1
        return ()

    def _says_no(self, raw: bytes) -> bool:
        """True for a NAK or cancel of the standard's handshake, or of one that the chart has for its dumps."""
        own = self.line.chart.codec.handshake_said(raw, self.line.address)
        return not {handshake(raw), own}.isdisjoint({"nak", "cancel"})

    def _hear_for(self, seconds: float) -> None:
        # Never less than half a millisecond: a wait too short to change the clock's number would never end.
        until = self.line.clock.now() + max(seconds, _TICK_S)
        while (arrival := self.next(until)) is not None:
            if isinstance(arrival, Message):
                self.hear(arrival)

    def end(self) -> None:
        """Forget what is still queued: nothing is sent after a conversation has ended."""
        self.line.echo.answered()
        self.line.cable.drop_unsent()
