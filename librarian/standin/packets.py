"""Dumps of many messages in a simulated instrument: sent in step with a handshake, or taken piece by piece."""

from __future__ import annotations

from collections.abc import Callable

from librarian.chart import DumpRefused
from librarian.chart.codec import Codec
from librarian.chart.dump import Gather, Handshake
from librarian.messages import Address

_STALE_S = 1.0


class Outgoing:
    """A dump on its way out in numbered packets: the next one after ACK, or when nobody answers in time.

    `send(raw, at)` puts a message on the cable and returns when it has ended.
    """

    def __init__(
        self, messages: tuple[bytes, ...], handshake: Handshake, send: Callable[[bytes, float], float], at: float
    ) -> None:
        self._messages = messages
        self._handshake = handshake
        self._send = send
        self._index = 0
        self._tries = 0
        self.wakes_at: float | None = None
        self._go(at)

    def _go(self, at: float) -> None:
        if self._index >= len(self._messages):
            self.wakes_at = None
            return
        self.wakes_at = self._send(self._messages[self._index], at) + self._handshake.answer_s

    @property
    def done(self) -> bool:
        """Nothing more is to be sent."""
        return self.wakes_at is None

    def said(self, kind: str, at: float) -> None:
        """The other side said ACK, NAK, WAIT or cancel."""
        if kind == "ack":
            self._index, self._tries = self._index + 1, 0
            self._go(at)
        elif kind == "nak" and self._tries < self._handshake.retries:
            self._tries += 1
            self._go(at)
        elif kind == "wait":
            self.wakes_at = at + 60.0
        else:
            self.wakes_at = None

    def wake(self, now: float) -> None:
        """Nobody answered: an open loop goes on, a chart that requires answers gives up."""
        if self._handshake.required:
            self.wakes_at = None
        else:
            self._index += 1
            self._go(now)


class Incoming:
    """A dump of several messages on its way in; what is older than a second when the next piece comes is dropped."""

    def __init__(self, codec: Codec, address: Address) -> None:
        self._codec = codec
        self._address = address
        self._gathers: dict[str, tuple[Gather, float]] = {}

    def take(self, message: str, raw: bytes, at: float) -> tuple[bytes, ...] | None:
        """One piece; all messages of the dump when this was the last one missing. Raises DumpRefused."""
        gather, last = self._gathers.get(message, (None, 0.0))
        if gather is None or at - last > _STALE_S:
            gather = self._codec.gather(message, self._address)
        self._gathers[message] = (gather, at)
        try:
            gather.feed(raw)
        except DumpRefused:
            if self._codec.handshake(message) is None:
                del self._gathers[message]
            raise
        if not gather.complete:
            return None
        del self._gathers[message]
        return gather.raws
