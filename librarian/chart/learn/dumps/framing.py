"""Dumps of several messages: what numbers them (packets, addresses), where their data is, what checks each of them.

Everything here is a guess that all messages of all dumps agree with; what they say together is learnt from their data
joined, as if it had come in one message.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from librarian.chart.dump.steps.checksum import checksum
from librarian.chart.dump.steps.number import read_digits
from librarian.chart.learn.singles import maker_end
from librarian.chart.learn.sums import SumForm, SumGuess, checksums
from librarian.errors import BadInput

Take = tuple[bytes, ...]
_FORMS = (
    SumForm(1), SumForm(2, 7, "msb_first", 14), SumForm(2, 7, "lsb_first", 14), SumForm(2, 4, "msb_first", 8),
    SumForm(2, 4, "lsb_first", 8),
)  # fmt: skip
_LEAST_ROWS = 4
_ADDRESS_SIZES = (4, 3, 2)


@dataclass(frozen=True, slots=True)
class Framing:
    """`number`: (first byte, size) of the packet number or address; `first`: number of the first packet.

    `start`: where the data begins in each message; `tail`: bytes between data and F7. `sum`: the checksum of each, with
    `first` counted in the message and `end` at its data's end; `length`: (byte, what is added) of a field that counts
    the data. `starts`: address of each message, as a number of 7-bit digits.
    """

    number: tuple[int, int]
    addressed: bool
    first: int
    start: int
    tail: int
    sum: SumGuess | None = None
    length: tuple[int, int] | None = None
    starts: tuple[int, ...] = ()

    def data(self, raw: bytes) -> bytes:
        """The data in one message."""
        return raw[self.start : len(raw) - 1 - self.tail]

    def joined(self, take: Take) -> bytes:
        """One message that has all of the data, with the head of the first."""
        head = take[0][: maker_end(take[0]) + 2]
        return head + b"".join(self.data(raw) for raw in take) + b"\xf7"

    @property
    def odd(self) -> float:
        """How unusual it is; the least is taken."""
        checked = -2.0 if self.sum is not None else 4.0 * (self.tail > 0)
        wide = 0.5 * abs(self.number[1] - 3) if self.addressed else 0.0
        return self.tail + wide + checked + 0.1 * self.start - 1.0 * (self.length is not None)


def framing_of(takes: Sequence[Take]) -> Framing:
    """The likeliest framing. Raises BadInput where the messages are not numbered in any way that is known."""
    found = sorted(_framings(takes), key=lambda one: one.odd)
    if not found:
        raise BadInput(
            f"The dump came as {len(takes[0])} messages that are numbered in no way this program knows.",
            "Send a dump of one message, or describe this one by hand.",
        )
    return found[0]


def _framings(takes: Sequence[Take]) -> Iterator[Framing]:
    maker = maker_end(takes[0][0])
    shortest = min(len(raw) for raw in takes[0])
    constant = [all(raw[at] == takes[0][0][at] for take in takes for raw in take) for at in range(shortest)]
    for at in range(maker, min(shortest - 2, maker + 8)):
        if constant[at]:
            continue
        for size in (1, *_ADDRESS_SIZES):
            begin = at if size == 1 else at - size + 1
            for where in {begin, at, *(range(begin, at + 1) if size > 1 else ())}:
                if where >= maker + 1 and where + size < shortest:
                    yield from _numbered(takes, where, size)
        return  # what differs first numbers the messages, or is a part of its number


def _numbered(takes: Sequence[Take], at: int, size: int) -> Iterator[Framing]:
    numbers = [read_digits(raw[at : at + size]) for raw in takes[0]]
    if any([read_digits(raw[at : at + size]) for raw in take] != numbers for take in takes):
        return
    first = numbers[0]
    if size == 1 and first < 16 and numbers == [(first + place) & 0x7F for place in range(len(numbers))]:
        yield from _tails(takes, Framing((at, 1), False, first, at + 1, 0))
    if size > 1 and all(before < after for before, after in itertools.pairwise(numbers)):
        for found in _tails(takes, Framing((at, size), True, 0, at + size, 0, starts=tuple(numbers))):
            lengths = [len(found.data(raw)) for raw in takes[0]]
            reaches = [number + length for number, length in zip(numbers, lengths, strict=True)]
            follows = sum(reach == after for reach, after in zip(reaches, numbers[1:], strict=False))
            if all(reach <= after for reach, after in zip(reaches, numbers[1:], strict=False)) and follows:
                yield found


def _tails(takes: Sequence[Take], bare: Framing) -> Iterator[Framing]:
    """With and without a checksum, and a field of the length."""
    yield from _lengths(takes, bare)
    for form in _FORMS:
        guess = _sum(takes, bare.start, form)
        if guess is not None:
            yield from _lengths(takes, replace(bare, tail=form.size, sum=guess))
    # Addresses tell how much is data before there are dumps enough to know the checksum.
    for tail in (1, 2) if bare.addressed else ():
        yield replace(bare, tail=tail)


def _lengths(takes: Sequence[Take], bare: Framing) -> Iterator[Framing]:
    yield bare
    at = bare.start
    rows = [(raw, len(raw) - 2 - at - bare.tail) for take in takes for raw in take]
    plus = {raw[at] - count for raw, count in rows if len(raw) > at + 1}
    if len(plus) == 1 and len({count for _, count in rows}) > 1 and not bare.addressed:
        yield replace(bare, start=at + 1, length=(at, plus.pop()))


def _sum(takes: Sequence[Take], start: int, form: SumForm) -> SumGuess | None:
    """A checksum before F7 that fits every message, whatever its length."""
    raws = list(dict.fromkeys(raw for take in takes for raw in take))
    usual = max({len(raw) for raw in raws}, key=lambda size: sum(len(raw) == size for raw in raws))
    rows = [raw for raw in raws if len(raw) == usual]
    if len(rows) < _LEAST_ROWS or usual - 1 - form.size <= start:
        return None
    table = np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(len(rows), -1)
    at = usual - 1 - form.size
    for guess in checksums(table, at, [form], range(1, start + 1), [at], best=0):
        if guess.fits and all(_holds(raw, guess) for raw in raws):
            return guess
    return None


def _holds(raw: bytes, guess: SumGuess) -> bool:
    form = guess.form
    at = len(raw) - 1 - form.size
    if at <= guess.first:
        return False
    read = read_digits(raw[at : at + form.size], form.order, form.digit)
    return checksum(guess.kind, raw[guess.first : at], bits=form.bits) == read
