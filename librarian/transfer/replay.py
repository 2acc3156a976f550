"""A saved traffic log as a cable: the same conversation meets the same answers again, so a bug report becomes a test.

cable = ReplayedCable(traffic.load(path))
capture(Line(cable, chart))
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from librarian.errors import BadInput
from librarian.messages import Arrival, Damaged, Message
from librarian.transfer.cancel import Cancel
from librarian.wire.cable import CableLost, Counts, check_message, check_stream
from librarian.wire.clock import Clock, VirtualClock
from librarian.wire.traffic import Crossing

_BYTE_S = 0.00032
_ROUNDED_S = 0.00001
"""Files have their times in microseconds."""


@dataclass(frozen=True, slots=True)
class Ended:
    """Something from outside ended the last conversation of a log, at `at` of its times: a person, who cancelled it.

    Or the cable was lost: `lost` is the sentence, and `hint` its next step.
    """

    at: float
    lost: str = ""
    hint: str = ""


class ReplayedCable:
    """Implements `wire.cable.Cable` over the crossings of one logged cable, on a clock of its own.

    What was logged after a message that went out comes back, at the same distance in time, when the same message is
    sent again. `unexpected`: messages sent now that the log does not have (nothing answers them). `left`: messages of
    the log that were not sent now. Both empty: the conversation did the same as then.

    `ended`: the same happens again at the same moment, by `cancel` where it was a person; what is sent after the last
    message of the log waits until then, as it did.
    """

    def __init__(self, crossings: Sequence[Crossing], cable: str = "", *, ended: Ended | None = None) -> None:
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
        self._ended = ended
        self._waiting = 0
        self.cancel: Cancel = _Wish(self)
        self._since = (self._log[0].at if self._log else 0.0, self.clock.now())
        self._arrive(self._since[0])

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

    @property
    def cancelled(self) -> bool:
        """True once the moment has come at which a person had cancelled it."""
        return self._ended is not None and not self._ended.lost and self._over

    @property
    def _over(self) -> bool:
        logged, clock = self._since
        now = logged + self.clock.now() - clock + _ROUNDED_S
        return self._ended is not None and now >= self._ended.at and not self._goes_on and not self._coming

    @property
    def _goes_on(self) -> bool:
        return any(one.direction == "out" for one in self._log)

    def _raise_if_gone(self) -> None:
        if self._closed:
            raise CableLost(f"{self.name} is closed.", "Open it again.")
        if self._ended is not None and self._ended.lost and self._over:
            raise CableLost(self._ended.lost, self._ended.hint)

    def _put(self, raw: bytes, gap_s: float) -> int:
        self._raise_if_gone()
        if self._ended is not None and not self._goes_on:
            self._tickets += 1
            self._waiting += 1
            return self._tickets
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
                self._since = (one.at, self.clock.now())
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
        return self._tickets - self._waiting

    def drop_unsent(self) -> int:
        """See `Cable.drop_unsent`: nothing waits but what the log has not."""
        dropped, self._waiting = self._waiting, 0
        return dropped

    def receive(self, timeout_s: float) -> Arrival | None:
        """See `Cable.receive`."""
        until = self.clock.now() + timeout_s
        if self._coming and self._coming[0][0] <= until:
            at, arrival = self._coming.popleft()
            self._clock.advance_to(at)
            self._bytes_in += len(arrival.raw)
            return arrival
        self._raise_if_gone()
        self._clock.advance_to(until)
        self._raise_if_gone()  # it may have been lost meanwhile
        return None

    def counts(self) -> Counts:
        """See `Cable.counts`."""
        return Counts(self._bytes_out, self._bytes_in)

    def close(self) -> None:
        """See `Cable.close`."""
        self._closed = True


class _Wish(Cancel):
    """Stands for the person who cancelled."""

    def __init__(self, cable: ReplayedCable) -> None:
        super().__init__()
        self._cable = cable

    def is_set(self) -> bool:
        """True from the moment at which it was cancelled then."""
        return self._cable.cancelled or super().is_set()


def _arrival(one: Crossing, at: float) -> Arrival:
    if not one.damage:
        return Message(one.raw, at)
    return Damaged(one.raw, "unterminated" if one.raw[:1] == b"\xf0" else "ignored", one.damage, at)
