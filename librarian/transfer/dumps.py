"""Asking for a dump and taking its messages together: one message, many, or one for each range of addresses."""

from __future__ import annotations

from librarian.chart import DumpRefused, Way
from librarian.messages import Damaged, Message
from librarian.transfer.reading import (
    AFTER_NAK_S,
    Mark,
    Reading,
    Unreadable,
    broke_off,
    drain,
    silence,
    wire_seconds,
)
from librarian.transfer.talk import Talk
from librarian.transfer.writing import usual_slots

# How much longer than its bytes alone an answer may take: instruments pause inside their dumps.
_PATIENCE = 3.0
_UNKNOWN_LENGTH = 4096
# An answer equal to what was sent a moment ago was an echo if the request comes back right behind it.
_DOUBT_S = 0.06


def read_dump(talk: Talk, way: Way, **slots: int) -> Reading:
    """Ask for the dump `way.message` (`slots`: program, bank ...) and take its messages together.

    Raises Unreadable (an answer of no use), NoReply, EchoLoop, ForeignOnly, InstrumentRefused, CableLost, Cancelled.
    """
    codec = talk.line.chart.codec
    slots = {**usual_slots(talk.line, way.message), **slots}
    taken: tuple[bytes, ...] = ()
    requests = codec.requests(way.message, talk.line.address, **slots)
    for request, count in zip(requests, codec.answers(way.message, **slots), strict=True):
        taken = _Collecting(talk, way, slots, taken, count).answer(request)
    try:
        decoded = talk.line.decode(taken)
    except DumpRefused as problem:
        raise Unreadable(str(problem)) from problem
    return Reading(way, decoded.values, decoded.name, taken, {way.message: taken})


class _Collecting:
    """The `count` messages that answer one request, on top of those `before` that answered the ones before it."""

    def __init__(self, talk: Talk, way: Way, slots: dict[str, int], before: tuple[bytes, ...], count: int) -> None:
        self._talk = talk
        self._way = way
        self._slots = slots
        self._before = before
        self._count = count
        self._info = talk.line.chart.codec.messages[way.message]
        self._handshake = talk.line.chart.codec.handshake(way.message)
        self._start_again()

    def _start_again(self) -> None:
        self._gather = self._talk.line.chart.codec.gather(self._way.message, self._talk.line.address, **self._slots)
        for raw in self._before:
            self._gather.feed(raw)
        self._refused = 0

    def _complete(self) -> bool:
        return self._gather.complete or len(self._gather.raws) >= len(self._before) + self._count

    def answer(self, request: bytes) -> tuple[bytes, ...]:
        """All messages so far, these included."""
        talk = self._talk
        clock = talk.line.clock
        since = Mark.of(talk)
        talk.ask(request)
        whole_s = _PATIENCE * wire_seconds(self._info.length or _UNKNOWN_LENGTH)
        patience = self._way.timeout_s + whole_s
        until = clock.now() + wire_seconds(len(request)) + patience
        while not self._complete():
            arrival = talk.next(until)
            if arrival is None:
                missing = self._gather.missing if self._gather.raws else ()
                acknowledged = self._handshake is not None and self._handshake.names_device
                trouble = silence(talk, since, self._asked_for(), missing, acknowledged=acknowledged)
                talk.answered()
                raise trouble
            if isinstance(arrival, Damaged):
                self._damage(arrival)
            elif self._take(arrival):
                until = clock.now() + patience
                talk.tell(len(self._gather.raws), max(1, self._info.messages), "messages", None)
            elif talk.refusals > since.refusals:
                until = min(until, clock.now() + AFTER_NAK_S + whole_s)
        talk.line.echo.answer_came()
        talk.answered()
        return tuple(self._gather.raws)

    def _asked_for(self) -> str:
        """What of the instrument this is, as its panel shows it: "its sound", "program 12", "bank 2 of its memory"."""
        memory, slots = self._talk.line.chart.memory, self._slots
        if self._info.kind == "program" and memory is not None and "program" in self._info.slots:
            bank = slots["bank"] if "bank" in self._info.slots else 0
            return f"program {memory.shown(bank * memory.programs + slots['program'])}"
        if self._info.kind == "bank":
            return f"bank {slots['bank'] + 1} of its memory" if "bank" in self._info.slots else "its memory"
        return "its sound"

    def _take(self, message: Message) -> bool:
        talk, raw = self._talk, message.raw
        now = talk.line.clock.now()
        if talk.line.echo.is_request(raw, now):
            self._start_again()
            return False
        doubtful = talk.line.echo.doubtful(raw, now)
        packet = talk.line.chart.codec.packet_number(raw, talk.line.address) if self._handshake is not None else None
        try:
            ours: bool = self._gather.feed(raw)
        except DumpRefused as problem:
            self._refuse(problem, packet or 0)
            return True
        if not ours:
            talk.hear(message)
        elif doubtful and self._request_follows():
            self._start_again()
            return False
        if ours:
            talk.answer_packet(self._handshake, "ack", packet or 0)
        return ours

    def _refuse(self, problem: DumpRefused, packet: int) -> None:
        """A damaged message: asked for again where the chart has a handshake, else the whole answer is of no use."""
        if self._handshake is not None and self._refused < self._handshake.retries:
            self._refused += 1
            self._talk.answer_packet(self._handshake, "nak", packet)
            return
        self._talk.answer_packet(self._handshake, "cancel", packet)
        drain(self._talk)
        self._talk.answered()
        raise Unreadable(str(problem)) from problem

    def _damage(self, damage: Damaged) -> None:
        if damage.kind != "unterminated":
            return
        if self._handshake is not None and self._refused < self._handshake.retries:
            self._refused += 1
            self._talk.answer_packet(self._handshake, "nak", len(self._gather.raws) & 0x7F)
            return
        drain(self._talk)
        self._talk.answered()
        raise Unreadable(broke_off(self._talk, damage, self._info.length if self._info.messages == 1 else None))

    def _request_follows(self) -> bool:
        """True when the request comes back now: what was taken for the answer was our own dump, returned."""
        talk = self._talk
        until = talk.line.clock.now() + _DOUBT_S
        while (arrival := talk.next(until)) is not None:
            if isinstance(arrival, Message):
                if talk.line.echo.is_request(arrival.raw, talk.line.clock.now()):
                    return True
                talk.hear(arrival)
        return False
