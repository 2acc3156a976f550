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
    requests = codec.requests(way.message, talk.line.address, **slots)
    taken: tuple[bytes, ...] = ()
    for request in requests:
        collecting = _Collecting(talk, way, slots, taken)
        taken = collecting.answer(request, all_of_it=len(requests) == 1)
    try:
        decoded = codec.decode_all(taken, talk.line.address)
    except DumpRefused as problem:
        raise Unreadable(str(problem)) from problem
    return Reading(way, decoded.values, decoded.name, taken, {way.message: taken})


class _Collecting:
    """The answer to one request, on top of the messages `before` that answered the requests before it."""

    def __init__(self, talk: Talk, way: Way, slots: dict[str, int], before: tuple[bytes, ...]) -> None:
        self._talk = talk
        self._way = way
        self._slots = slots
        self._before = before
        self._info = talk.line.chart.codec.messages[way.message]
        self._length = self._info.length
        self._start_again()

    def _start_again(self) -> None:
        self._gather = self._talk.line.chart.codec.gather(self._way.message, self._talk.line.address, **self._slots)
        for raw in self._before:
            self._gather.feed(raw)

    def answer(self, request: bytes, *, all_of_it: bool) -> tuple[bytes, ...]:
        """All messages so far; `all_of_it`: this request brings the whole dump, however many messages that is."""
        talk = self._talk
        since = Mark.of(talk)
        talk.ask(request)
        patience = self._way.timeout_s + _PATIENCE * wire_seconds(self._length or _UNKNOWN_LENGTH)
        until = talk.line.clock.now() + wire_seconds(len(request)) + patience
        while not self._gather.complete and (all_of_it or len(self._gather.raws) == len(self._before)):
            arrival = talk.next(until)
            if arrival is None:
                trouble = silence(talk, since, "its sound")
                talk.answered()
                raise trouble
            if talk.refusals > since.refusals:
                until = min(until, talk.line.clock.now() + AFTER_NAK_S)
            if isinstance(arrival, Damaged):
                self._damage(arrival)
            elif self._take(arrival):
                until = talk.line.clock.now() + patience
                talk.tell(len(self._gather.raws), max(1, self._info.messages), "messages", None)
        talk.answered()
        return tuple(self._gather.raws)

    def _take(self, message: Message) -> bool:
        talk, raw = self._talk, message.raw
        now = talk.line.clock.now()
        if talk.line.echo.is_request(raw, now):
            self._start_again()
            return False
        doubtful = talk.line.echo.just_sent(raw, now) and not talk.line.echo.request_came_back
        try:
            ours: bool = self._gather.feed(raw)
        except DumpRefused as problem:
            drain(talk)
            talk.answered()
            raise Unreadable(str(problem)) from problem
        if not ours:
            talk.hear(message)
        elif doubtful and self._request_follows():
            self._start_again()
            return False
        return ours

    def _damage(self, damage: Damaged) -> None:
        if damage.kind == "unterminated":
            drain(self._talk)
            self._talk.answered()
            raise Unreadable(broke_off(self._talk, damage, self._length))

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
