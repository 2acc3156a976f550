"""Between conversations: hear which controls move, without asking anything. And silence everything at once."""

from __future__ import annotations

from librarian.chart import Heard
from librarian.messages import Message
from librarian.transfer.line import LISTENING, Line
from librarian.wire import universal

_LOOK_UP_S = 0.05
_TICK_S = 0.001


def listen(line: Line, timeout_s: float) -> tuple[Heard, ...]:
    """Hear for at most `timeout_s` seconds, or until something came; what the controls said, oldest first.

    Ends at once when a conversation wants the line.

    Keeps what the line knows of the instrument in step: a control moved, a program chosen at the instrument. Raises
    Busy while a conversation runs, CableLost as soon as the cable is gone.
    """
    with line.talk(LISTENING) as talk:
        until = line.clock.now() + timeout_s
        found: list[Heard] = []
        while True:
            arrival = talk.next(min(until, line.clock.now() + _LOOK_UP_S))
            if isinstance(arrival, Message):
                found += talk.hear(arrival)
            now = line.clock.now()
            found += line.listener.flush(now)
            if found and not line.listener.pending:
                return tuple(found)
            if line.wanted or (arrival is None and now >= until):
                return tuple(found)


def panic(line: Line, notes: tuple[tuple[int, int], ...] = (), *, wait_s: float = 0.0) -> float:
    """Silence the instrument now: overtakes everything queued, and needs no conversation to be over.

    `notes`: (channel, key) that we started ourselves. Returns the moment (the clock's seconds) when its last message
    was queued, or with `wait_s` when all were handed to the port, at most so many seconds later. What the instrument
    holds is not changed by it.
    """
    ticket = 0
    for raw in universal.panic([line.address.channel], notes):
        ticket = line.cable.send(raw, urgent=True)
    give_up = line.clock.now() + wait_s
    while line.cable.sent() < ticket and line.clock.now() < give_up:
        line.clock.sleep(_TICK_S)
    return line.clock.now()
