"""Telling our own bytes that come back from what the instrument itself says.

A thru returns every message once, in order, before anything the instrument answers. An answer may be byte for
byte equal to something sent a moment ago (a recall read back), so equality alone proves nothing; order does:

- what was asked (the request) is never an answer. When it comes back, everything that arrived before it was echo.
  A request of several messages has come back when all of them have, in order: an answer may well contain one of them
  (the null of an NRPN group, say).
- on a line known to return what is sent, an arrival equal to a message whose echo is still due is that echo.
- on a line not yet known, an arrival equal to what is just being sent, before anything was asked, is an echo. On one
  known to return nothing it is not: an instrument's ACK is byte for byte the one that it was sent a moment ago.
"""

from __future__ import annotations

from collections import deque

# transport.md 16: half a second, plus what the message itself takes on two cables.
_LIFE_S = 0.5
_BYTE_S = 0.00064


class Echo:
    """What was sent on one line and may still come back."""

    def __init__(self) -> None:
        self.thru = False
        self.settled = False
        self.heard = 0
        self._due: deque[tuple[bytes, float]] = deque(maxlen=4096)
        self._asked: tuple[bytes, ...] | None = None
        self._returned = 0
        self._asked_came_back = False

    def sent(self, raw: bytes, starts_at: float) -> None:
        """Remember one message; `starts_at`: when it is expected on the wire, seconds of the cable's clock."""
        self._due.append((raw, starts_at + _LIFE_S + len(raw) * _BYTE_S))

    def asked(self, *messages: bytes) -> None:
        """What is sent next is a request of these messages: from now on arrivals may be answers."""
        self._asked = messages
        self._returned = 0
        self._asked_came_back = False

    @property
    def request_came_back(self) -> bool:
        """True once the request now waited on was returned: what arrives from here on is no echo."""
        return self._asked_came_back

    def answered(self) -> None:
        """No answer is waited for any more."""
        self._asked = None

    def answer_came(self) -> None:
        """A whole answer has come: whether its request came back before it settles whether there is a thru."""
        self.thru = self._asked_came_back
        self.settled = True

    def is_request(self, raw: bytes, now: float) -> bool:
        """True when the request has come back with `raw`, its last message; what arrived before it was echo as well.

        To be asked about an arrival that `is_echo` let pass.
        """
        asked = self._asked
        if asked is None or self._asked_came_back or self._returned < len(asked) or raw != asked[-1]:
            return False
        self._asked_came_back = True
        self._came_back(raw, now)
        return True

    def is_echo(self, raw: bytes, now: float) -> bool:
        """True when `raw` is one of our own messages coming back (the request itself: ask `is_request` first)."""
        if self._asked is not None:
            self._follow(raw, self._asked)
            if self._asked_came_back or not self.thru or self._returned == len(self._asked):
                return False
        elif self.settled and not self.thru:
            return False
        return self._came_back(raw, now)

    def _follow(self, raw: bytes, asked: tuple[bytes, ...]) -> None:
        """Count how many messages of the request have come back, in order; others may stand between."""
        if self._returned < len(asked) and raw == asked[self._returned]:
            self._returned += 1
        elif self._returned < len(asked) and raw == asked[0]:
            self._returned = 1

    def doubtful(self, raw: bytes, now: float) -> bool:
        """True while an answer equal to what was sent a moment ago may be our own bytes, on a line not yet known."""
        return not self.settled and not self._asked_came_back and self.just_sent(raw, now)

    def just_sent(self, raw: bytes, now: float) -> bool:
        """True when the same bytes went out within the last half second."""
        self._forget(now)
        return any(sent == raw for sent, _ in self._due)

    def _came_back(self, raw: bytes, now: float) -> bool:
        self._forget(now)
        for place, (sent, _) in enumerate(self._due):
            if sent == raw:
                for _ in range(place + 1):  # order is kept on a cable: what stood before it is lost
                    self._due.popleft()
                self.thru = True
                self.heard += 1
                return True
        return False

    def _forget(self, now: float) -> None:
        while self._due and self._due[0][1] < now:
            self._due.popleft()
