"""Asking an instrument to send all its controllers, and knowing when that has ended."""

from __future__ import annotations

from librarian.chart import Way
from librarian.messages import Damaged, Message, Values
from librarian.transfer.reading import AFTER_NAK_S, Mark, Reading, Unreadable, silence, wire_seconds
from librarian.transfer.talk import Talk

_NULLED = frozenset({"nrpn", "rpn"})
_NULL_ENDS = frozenset({b"\x62\x7f", b"\x64\x7f"})
_WITHOUT_NEWS = 5
"""So many silences may pass without a new parameter: one of 14 bits by NRPN takes four messages to say."""
_NULL_S = 0.03
"""So long a null may be behind the last value, also over a MIDI system that works in periods."""


def read_controllers(talk: Talk, way: Way) -> Reading:
    """Ask for the controllers of `way` and follow them to their end: by count, by the last one, or by silence.

    What is doubtful is left out, as what did not come is: a parameter heard with two values (its control is turning,
    or the cable made it of another), and the one heard just before damage (a byte doubled or lost there changes it).
    Raises Unreadable, NoReply, EchoLoop, ForeignOnly, InstrumentRefused, CableLost, Cancelled.
    """
    line = talk.line
    requests = line.chart.codec.controller_request(line.address)
    if not requests:
        raise Unreadable(f"{line.name} sends its controllers only when that is started on the instrument itself.")
    since = Mark.of(talk)
    collecting = _Collecting(talk, way)
    until = talk.ask(*requests) + way.timeout_s
    while not collecting.ended:
        arrival = talk.next(until)
        if arrival is None:
            break
        if isinstance(arrival, Damaged):
            collecting.damaged()
            until = max(until, line.clock.now() + collecting.silence_s)
        elif collecting.take(arrival):
            until = collecting.patience()
        elif talk.refusals > since.refusals:
            until = min(until, line.clock.now() + AFTER_NAK_S)
    if collecting.ended:
        collecting.hear_null()
    trouble = None if collecting.values else silence(talk, since, "its controllers")
    if trouble is None:
        line.echo.answer_came()
    talk.answered(frozenset() if collecting.whole else way.carries)
    if trouble is not None:
        raise trouble
    return Reading(
        way, Values(collecting.believed()), "", tuple(collecting.received), coarse=bool(collecting.halves)
    )


class _Collecting:
    """Values as they come in, and whether the end that the chart describes has been reached."""

    def __init__(self, talk: Talk, way: Way) -> None:
        self._talk = talk
        self._way = way
        self._wanted = len(way.carries)
        self._total = way.end.count if way.end is not None and way.end.count is not None else self._wanted
        self.silence_s = way.end.silence_s if way.end is not None else 0.5
        self.ended = False
        self._start_again()

    def _start_again(self) -> None:
        self.values: dict[str, int] = {}
        self.received: list[bytes] = []
        self._settled: dict[str, int] = {}
        self._doubtful: set[str] = set()
        self._latest: set[str] = set()
        self._news_at = self._talk.line.clock.now()
        self._listener = self._talk.line.chart.codec.listener(self._talk.line.address)

    def take(self, message: Message) -> bool:
        """Take one message; True when it belonged to the answer."""
        talk, raw = self._talk, message.raw
        line = talk.line
        if line.echo.is_request(raw, line.clock.now()):
            self._start_again()
            return False
        if not self._listener.is_known(raw):
            talk.hear(message)
            return False
        self.received.append(raw)
        found = self._listener.feed(raw, line.clock.now())
        self._latest = {one.parameter for one in found}
        if not self._latest <= set(self.values):
            self._news_at = line.clock.now()
        for heard in found:
            talk.told(heard)
            self._heard(heard.parameter, heard.value, heard.settled)
        talk.tell(len(self.values), self._total, "parameters", self._seconds_left())
        return True

    def patience(self) -> float:
        """Until when more may come. A control that is turned all the while has no silence after it, and no news."""
        return min(self._talk.line.clock.now() + self.silence_s, self._news_at + _WITHOUT_NEWS * self.silence_s)

    def hear_null(self) -> None:
        """An answer that ends with RPN or NRPN ends with null, usually: before that the instrument may be deaf."""
        talk = self._talk
        codec, clock = talk.line.chart.codec, talk.line.clock
        bound = codec.carried("instrument")
        if codec.null_rule == "never" or not any(bound[name].travels in _NULLED for name in self._latest):
            return
        until = clock.now() + _NULL_S
        while isinstance(arrival := talk.next(until), Message):
            raw = arrival.raw
            if not self._listener.is_known(raw):
                talk.hear(arrival)
                continue
            self.received.append(raw)
            if raw[1:] in _NULL_ENDS:
                return

    def damaged(self) -> None:
        """Bytes came that are no message: what was heard just before may be damaged as well."""
        self._doubtful |= self._latest

    @property
    def whole(self) -> bool:
        """True when all of it has been heard: a controller that comes now was moved."""
        return set(self.values) >= self._way.carries

    @property
    def halves(self) -> set[str]:
        """Of which 14-bit parameters only the upper half came: sent so, or the lower half was lost."""
        return set(self.values) - set(self._settled)

    def believed(self) -> dict[str, int]:
        """What nothing puts in doubt: not a half where the instrument does send both halves of others."""
        bound = self._talk.line.chart.codec.carried("instrument")
        whole = any(name in bound and bound[name].bits > 7 for name in self._settled)
        doubtful = self._doubtful | (self.halves if whole else set())
        return {name: value for name, value in self.values.items() if name not in doubtful}

    def _heard(self, parameter: str, value: int, settled: bool) -> None:
        self.values[parameter] = value
        if settled and self._settled.setdefault(parameter, value) != value:
            self._doubtful.add(parameter)
        end = self._way.end
        if end is None or not settled:
            # An MSB whose LSB never comes is a whole value; the silence after it ends the dump.
            return
        by_count = end.count is not None and len(self.values) >= end.count
        self.ended = by_count or (end.last is not None and parameter == end.last)

    def _seconds_left(self) -> float:
        each = wire_seconds(len(self.received) * 3) / max(1, len(self.values))
        return each * max(0, self._total - len(self.values))
