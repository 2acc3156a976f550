"""A saved traffic log as a cable: the same conversation meets the same answers again, so a bug report becomes a test.

cable = ReplayedCable(traffic.load(path))
capture(Line(cable, chart))
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from librarian.errors import BadInput
from librarian.messages import Arrival, Damaged, Message
from librarian.wire.cable import CableLost, Counts, check_message, check_stream
from librarian.wire.clock import Clock, VirtualClock
from librarian.wire.traffic import Crossing

_BYTE_S = 0.00032


class ReplayedCable:
    """Implements `wire.cable.Cable` over the crossings of one logged cable, on a clock of its own.

    What was logged after a message that went out comes back, at the same distance in time, when the same message is
    sent again. `unexpected`: messages sent now that the log does not have (nothing answers them). `left`: messages of
    the log that were not sent now. Both empty: the conversation did the same as then.
    """

    def __init__(self, crossings: Sequence[Crossing], cable: str = "") -> None:
        names = list(dict.fromkeys(one.cable for one in crossings))
        name = cable or (names[0] if len(names) == 1 else "")
        if name not in names:
            raise BadInput(
                f"The log is of {len(names)} cables: {', '.join(names) or 'none'}.", "Say which one of them to replay."
            )
        self.name = name
        self._clock = VirtualClock()
        self.clock: Clock = self._clock
        self.unexpected: list[bytes] = []
        self._log: deque[Crossing] = deque(one for one in crossings if one.cable == name)
        self._coming: deque[tuple[float, Arrival]] = deque()
        self._tickets = 0
        self._free_at = 0.0
        self._bytes_out = self._bytes_in = 0
        self._closed = False
        self._arrive(self._log[0].at if self._log else 0.0)

    @property
    def left(self) -> tuple[bytes, ...]:
        """What the log sent and this run did not (yet)."""
        return tuple(one.raw for one in self._log if one.direction == "out")

    @property
    def exhausted(self) -> bool:
        """True when the log has nothing more that would come without being asked for."""
        return not self._coming

    def _arrive(self, since: float) -> None:
        """What came before the next message went out comes now; `since`: the log's time that is now."""
        now = self.clock.now()
        while self._log and self._log[0].direction == "in":
            one = self._log.popleft()
            at = now + max(0.0, one.at - since)
            self._coming.append((at, _arrival(one, at)))

    def _put(self, raw: bytes, gap_s: float) -> int:
        if self._closed:
            raise CableLost(f"{self.name} is closed.", "Open it again.")
        self._clock.advance_to(self._free_at)
        self._free_at = self.clock.now() + len(raw) * _BYTE_S + gap_s
        self._tickets += 1
        self._bytes_out += len(raw)
        if not any(one.direction == "out" and one.raw == raw for one in self._log):
            self.unexpected.append(raw)
            return self._tickets
        while True:  # what the log has before it did not happen this time, or has come already
            one = self._log.popleft()
            if one.direction == "out" and one.raw == raw:
                self._arrive(one.at)
                return self._tickets

    def send(self, message: bytes, *, gap_s: float = 0.0, urgent: bool = False) -> int:  # noqa: ARG002 - nothing waits here
        """See `Cable.send`. It leaves at once: the clock jumps to the end of the message before."""
        check_message(message)
        return self._put(bytes(message), gap_s)

    def send_stream(self, data: bytes, *, gap_s: float = 0.0) -> int:
        """See `Cable.send_stream`."""
        check_stream(data)
        return self._put(bytes(data), gap_s)

    def sent(self) -> int:
        """See `Cable.sent`."""
        return self._tickets

    def drop_unsent(self) -> int:
        """See `Cable.drop_unsent`: nothing ever waits."""
        return 0

    def receive(self, timeout_s: float) -> Arrival | None:
        """See `Cable.receive`."""
        until = self.clock.now() + timeout_s
        if self._coming and self._coming[0][0] <= until:
            at, arrival = self._coming.popleft()
            self._clock.advance_to(at)
            self._bytes_in += len(arrival.raw)
            return arrival
        if self._closed:
            raise CableLost(f"{self.name} is closed.", "Open it again.")
        self._clock.advance_to(until)
        return None

    def counts(self) -> Counts:
        """See `Cable.counts`."""
        return Counts(self._bytes_out, self._bytes_in)

    def close(self) -> None:
        """See `Cable.close`."""
        self._closed = True


def _arrival(one: Crossing, at: float) -> Arrival:
    if not one.damage:
        return Message(one.raw, at)
    return Damaged(one.raw, "unterminated" if one.raw[:1] == b"\xf0" else "ignored", one.damage, at)
