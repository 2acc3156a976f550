"""From bytes to whole messages: joins pieces, cleans, resynchronises, and accounts for every byte.

Rules: MIDI 1.0 Detailed Specification 4.2.1, p.5 (running status, end of SysEx, realtime anywhere) and p.A-2 (what
clears running status; FF is a wish to the receiver and leaves it alone like the other realtime bytes). Our own: a
SysEx message that does not end with F7 is damage, though a receiver may take it; data bytes and lone status bytes
without meaning are reported as ignored; nothing is dropped in silence.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator
from itertools import repeat

from librarian.messages import Arrival, Damaged, Message
from librarian.wire.cable import LONGEST_MESSAGE, data_bytes

REALTIME = bytes(range(0xF8, 0x100))
UNDEFINED_REALTIME = b"\xf9\xfd"

_BLOCK = 4096
_SEVEN_BITS = bytes(range(0x80))
_LEADS_THREE = bytes(status for status in range(0x80, 0xF0) if data_bytes(status) == 2)
_TOKEN = re.compile(rb"[\x00-\x7f]+|[\x80-\xff]")
_ANY_REALTIME = re.compile(rb"[\xf8-\xff]")
_SYSTEM = rb"|\xf0[\x00-\x7f]*\xf7|\xf2[\x00-\x7f][\x00-\x7f]|[\xf1\xf3][\x00-\x7f]|\xf6"
_WHOLE = re.compile(rb"[\x80-\xbf\xe0-\xef][\x00-\x7f][\x00-\x7f]|[\xc0-\xdf][\x00-\x7f]" + _SYSTEM)
_RUNS = re.compile(rb"[\x80-\xbf\xe0-\xef](?:[\x00-\x7f][\x00-\x7f])+|[\xc0-\xdf][\x00-\x7f]+" + _SYSTEM)
_BEGUN = re.compile(rb"|\xf0[\x00-\x7f]*|[\x80-\xbf\xe0-\xef][\x00-\x7f]?|[\xc0-\xdf\xf1\xf3]|\xf2[\x00-\x7f]?")


class Assembler:
    """One direction of one cable. `cap`: the longest SysEx message in bytes, F0 and F7 included.

    `timeout_s`: a SysEx message that gets no byte of its own for so long is closed as unterminated. Times are those
    that the caller gives. Feeding the same bytes in any pieces gives the same arrivals.
    """

    def __init__(self, cap: int = LONGEST_MESSAGE, timeout_s: float = 1.0) -> None:
        if cap < 2:
            raise ValueError(f"a cap of {cap} bytes holds no SysEx message")
        self._cap = cap
        self._timeout_s = timeout_s
        self._running = 0  # channel status for data bytes that come without one; 0: none
        self._sysex = bytearray()  # an open SysEx message, from its F0 on
        self._status = 0  # status of the short message under way; 0: none
        self._implied = False  # that status did not come with this message: running status
        self._data = bytearray()  # the data bytes of that message
        self._stray = bytearray()  # data bytes that belong to nothing
        self._last_at = 0.0

    def feed(self, data: bytes, at: float) -> list[Arrival]:
        """What became whole, or turned out damaged, by these bytes that came at `at` (seconds)."""
        out = self.expire(at)
        for start in range(0, len(data), _BLOCK):
            block = data[start : start + _BLOCK]
            clean = block.translate(None, REALTIME)
            if clean:
                self._last_at = at
            if self._sysex and block.isascii() and len(self._sysex) + len(block) < self._cap:
                self._sysex += block
            elif not self._take_whole(block, clean, at, out):
                self._take_tokens(block, at, out)
        return out

    def deadline(self) -> float | None:
        """The moment from which `expire` has something to say, if no further byte comes."""
        return self._last_at + self._timeout_s if self._sysex or self._stray else None

    def expire(self, now: float) -> list[Arrival]:
        """Close what waits for more since too long. A short message may wait for ever: nothing else could use it."""
        deadline = self.deadline()
        if deadline is None or now < deadline:
            return []
        return self._close(f"nothing more came for {self._timeout_s:g} s", deadline)

    def interrupt(self, status: int, at: float) -> list[Arrival]:
        """Close what is open because `status` (80 to F6) comes next."""
        return self._close(f"status {status:02X} came", at)

    def finish(self) -> list[Arrival]:
        """Close everything at the end of the input, and forget running status."""
        out = self._close("the input ended", self._last_at)
        self._running = 0
        return out

    def _close(self, why: str, at: float) -> list[Arrival]:
        out: list[Arrival] = []
        if self._sysex:
            reason = f"SysEx cut off after {len(self._sysex):,} bytes, without F7: {why}."
            out.append(Damaged(bytes(self._sysex), "unterminated", reason, at))
            self._sysex = bytearray()
        elif self._status:
            raw = bytes(self._data) if self._implied else bytes((self._status, *self._data))
            wanted = data_bytes(self._status)
            reason = f"Message {self._status:02X} cut off after {len(self._data)} of {wanted} data bytes: {why}."
            out.append(Damaged(raw, "incomplete", reason, at))
            self._status = 0
            self._data.clear()
        elif self._stray:
            count = len(self._stray)
            reason = f"{count:,} data {'byte' if count == 1 else 'bytes'} without a status byte."
            out.append(Damaged(bytes(self._stray), "ignored", reason, at))
            self._stray = bytearray()
        return out

    # The careful road: byte by byte where anything may happen, data bytes of one kind in one piece.

    def _take_tokens(self, block: bytes, at: float, out: list[Arrival]) -> None:
        for token in _TOKEN.findall(block):
            first = token[0]
            if first < 0x80:
                self._take_data(token, at, out)
            elif first >= 0xF8:
                out.append(_realtime(first, at))
            elif first == 0xF7 and self._sysex:
                self._sysex.append(0xF7)
                out.append(Message(bytes(self._sysex), at))
                self._sysex = bytearray()
            else:
                out += self.interrupt(first, at)
                self._take_status(first, at, out)

    def _take_status(self, status: int, at: float, out: list[Arrival]) -> None:
        self._running = status if status < 0xF0 else 0
        if status == 0xF0:
            self._sysex.append(status)
            return
        wanted = data_bytes(status)
        if wanted is None:
            what = "F7 without a SysEx message." if status == 0xF7 else f"Undefined status {status:02X}."
            out.append(Damaged(bytes((status,)), "ignored", what, at))
        elif wanted == 0:
            out.append(Message(bytes((status,)), at))
        else:
            self._status, self._implied = status, False

    def _take_data(self, data: bytes, at: float, out: list[Arrival]) -> None:
        place = 0
        while place < len(data):
            if self._sysex:
                room = self._cap - 1 - len(self._sysex)  # the last byte is kept for F7
                self._sysex += data[place : place + room]
                place += room
                if place < len(data):
                    out += self._close(f"no message may be longer than {self._cap:,} bytes", at)
            elif self._status or self._running:
                if not self._status:
                    self._status, self._implied = self._running, True
                self._data.append(data[place])
                place += 1
                if len(self._data) == data_bytes(self._status):
                    out.append(Message(bytes((self._status, *self._data)), at))
                    self._status = 0
                    self._data.clear()
            else:
                room = self._cap - len(self._stray)
                self._stray += data[place : place + room]
                place += room
                if len(self._stray) == self._cap:
                    out += self._close("", at)

    # The quick road: blocks in which everything is whole, but for the ends of messages at both sides.

    def _take_whole(self, block: bytes, clean: bytes, at: float, out: list[Arrival]) -> bool:
        """Take the block if nothing in it is damaged; otherwise change nothing and return False."""
        begun = self._begun(clean)
        text = begun + clean
        if self._stray or len(self._sysex) + len(text) > self._cap:
            return False
        tiles = _tiles(text)
        if tiles is None:
            return False
        found, pieces, end = tiles
        ends = _ends(found) if len(clean) < len(block) else []
        if self._sysex and pieces:
            pieces[0] = bytes(self._sysex) + pieces[0][1:]
        self._remember(pieces, text[end:], follows=end == 0 and bool(begun))
        if len(clean) < len(block):
            out.extend(_with_realtime(pieces, ends, block, len(begun), at))
        else:
            out.extend(_messages(pieces, at))
        return True

    def _begun(self, clean: bytes) -> bytes:
        """What has to stand before the new bytes so that they read as whole messages."""
        if self._sysex:
            return b"\xf0"  # stands for all of it: a long message is not copied again with every block
        if self._status:
            return bytes((self._status, *self._data))
        return bytes((self._running,)) if self._running and clean[:1] < b"\x80" and clean else b""

    def _remember(self, pieces: list[bytes], rest: bytes, *, follows: bool) -> None:
        """Keep the state after these messages and the unfinished `rest`; `follows`: it is what was open before."""
        if pieces:
            self._running = pieces[-1][0] if pieces[-1][0] < 0xF0 else 0
        if follows and self._sysex:
            self._sysex += rest[1:]
            return
        self._implied = self._implied or not self._status if follows else rest[:1] < b"\x80"
        self._sysex = bytearray()
        self._status = 0
        self._data.clear()
        if rest[:1] == b"\xf0":
            self._sysex += rest
            self._running = 0
        elif rest[:1] < b"\x80" and rest:
            self._status = self._running
            self._data += rest
        elif rest:
            self._status = rest[0]
            self._running = rest[0] if rest[0] < 0xF0 else 0
            self._data += rest[1:]


def _tiles(text: bytes) -> tuple[list[bytes], list[bytes], int] | None:
    """(messages or runs of them, the same as single messages, their end), None if what is left is no mere beginning."""
    statuses = text.translate(None, _SEVEN_BITS)
    if text[::3] == statuses and not statuses.translate(None, _LEADS_THREE):  # a burst of controllers
        found = [text[start : start + 3] for start in range(0, len(text) - 2, 3)]
        return found, found, len(found) * 3
    found = _WHOLE.findall(text)
    end = _covered(text, found)
    if end is not None and _BEGUN.fullmatch(text, end):
        return found, found, end
    found = _RUNS.findall(text)
    end = _covered(text, found)
    if end is None:
        return None
    # Under running status, the first of two data bytes may be left.
    goes_on = bool(found) and found[-1][0] < 0xF0 and end == len(text) - 1 and text[end] < 0x80
    return (found, _singles(found), end) if goes_on or _BEGUN.fullmatch(text, end) else None


def _covered(text: bytes, found: list[bytes]) -> int | None:
    """Where these end if `text` begins with all of them without a gap: found from the left, they then tile it."""
    joined = b"".join(found)
    return len(joined) if text.startswith(joined) else None


def _singles(found: list[bytes]) -> list[bytes]:
    """Single messages, out of messages and of runs of them under running status."""
    singles: list[bytes] = []
    for piece in found:
        step = data_bytes(piece[0])
        if step is None or len(piece) == step + 1:
            singles.append(piece)
        else:
            status = piece[:1]
            singles += [status + piece[start : start + step] for start in range(1, len(piece), step)]
    return singles


def _ends(found: list[bytes]) -> list[int]:
    """Where each of the singles ends when the messages and runs stand one after the other."""
    ends: list[int] = []
    place = 0
    for piece in found:
        step = data_bytes(piece[0]) or len(piece) - 1
        ends += range(place + 1 + step, place + len(piece) + 1, step or 1)
        place += len(piece)
    return ends


# Filling the slots from C is four times as fast as calling `Message`, which has to get around being frozen; a burst
# of controllers is mostly this.
_set_raw = Message.__dict__["raw"].__set__
_set_at = Message.__dict__["at"].__set__


def _messages(raws: list[bytes], at: float) -> list[Message]:
    """`[Message(raw, at) for raw in raws]`."""
    messages = list(map(object.__new__, repeat(Message, len(raws))))
    deque(map(_set_raw, messages, raws), maxlen=0)
    deque(map(_set_at, messages, repeat(at)), maxlen=0)
    return messages


def _with_realtime(pieces: list[bytes], ends: list[int], block: bytes, begun: int, at: float) -> Iterator[Arrival]:
    """The messages, and the realtime bytes of the block each before the message that it interrupted.

    `ends`: of the messages, in the block without its realtime bytes and with `begun` bytes before it.
    """
    places = enumerate(match.start() for match in _ANY_REALTIME.finditer(block))
    found = deque((place - before, block[place]) for before, place in places)
    for raw, end in zip(pieces, ends, strict=True):
        while found and begun + found[0][0] < end:
            yield _realtime(found.popleft()[1], at)
        yield Message(raw, at)
    for _, byte in found:
        yield _realtime(byte, at)


def _realtime(byte: int, at: float) -> Arrival:
    if byte in UNDEFINED_REALTIME:
        return Damaged(bytes((byte,)), "ignored", f"Undefined status {byte:02X}.", at)
    return Message(bytes((byte,)), at)
