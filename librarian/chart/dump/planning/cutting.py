"""How a dump is cut into messages: numbered packets, or ranges of addresses."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from itertools import product
from typing import NamedTuple, Protocol

from librarian.chart.dump.planning.digits import address_text


class Piece(NamedTuple):
    """The part of the stream that one message carries; `number`: its packet number or address."""

    offset: int
    size: int
    number: int


class Cutting(Protocol):
    """How a stream is cut into messages."""

    def pieces(self, slots: Mapping[str, int]) -> list[Piece]:
        """What the messages carry, in order."""
        ...

    def place(self, told: Mapping[str, int], size: int, expected: int) -> int | None:
        """Where in the stream the data of a message belongs, or None. `expected`: messages that came before."""
        ...

    def numbers(self, piece: Piece) -> dict[str, int]:
        """The numbers that say so in the message."""
        ...

    def slots(self, told: Mapping[str, int]) -> dict[str, int]:
        """Program, part and other numbers that the message tells by its address."""
        ...

    def name(self, piece: Piece) -> str:
        """The piece in words."""
        ...

    def blocks_of(self, slots: Mapping[str, int]) -> list[Piece]:
        """What is asked for, each by a request of its own."""
        ...

    def ranges(self) -> dict[str, tuple[int, int]]:
        """Words of the numbers that an address tells, with the lowest and highest number."""
        ...


class Packets:
    """Numbered packets of `split` bytes each. The number wraps around at `modulus`."""

    def __init__(self, total: int, split: int, first: int, modulus: int, *, filled: bool) -> None:
        self.total, self.split, self._first, self._modulus = total, split, first, modulus
        self.filled = filled
        self._all = [
            Piece(offset, split if filled else min(split, total - offset), (first + index) % modulus)
            for index, offset in enumerate(range(0, total, split))
        ]

    def pieces(self, slots: Mapping[str, int]) -> list[Piece]:  # noqa: ARG002 - packets have no slots
        """All packets."""
        return self._all

    def place(self, told: Mapping[str, int], size: int, expected: int) -> int | None:
        """The packet with this number that is nearest to the one expected next."""
        number = told.get("#packet")
        index = expected
        if number is not None:
            ahead = (number - self._first - expected) % self._modulus
            index = expected + ahead
            if index >= len(self._all):
                index -= self._modulus  # an earlier packet, sent again
        if not 0 <= index < len(self._all) or self._all[index].size != size:
            return None
        return self._all[index].offset

    def numbers(self, piece: Piece) -> dict[str, int]:
        """The packet number."""
        return {"#packet": piece.number}

    def slots(self, told: Mapping[str, int]) -> dict[str, int]:  # noqa: ARG002 - packets have no slots
        """A packet tells nothing but its number."""
        return {}

    def name(self, piece: Piece) -> str:
        """ "packet 3"."""
        return f"packet {piece.number}"

    def blocks_of(self, slots: Mapping[str, int]) -> list[Piece]:  # noqa: ARG002 - packets have no slots
        """All packets come after one request."""
        return [Piece(0, self.total, self._first)]

    def ranges(self) -> dict[str, tuple[int, int]]:
        """None."""
        return {}


class Step(NamedTuple):
    """One program (or part) is `distance` addresses from the next; there are `how_many`."""

    word: str
    distance: int
    how_many: int


MOST_SPANS = 16_384


class Addresses:
    """Ranges of addresses. `blocks`: (address, size) in the order of the stream; `chunk`: most bytes in a message.

    `digits`, `bits`: how an address is written. `wire_size`: bytes that so many addressed bytes take on the wire.
    """

    def __init__(
        self, blocks: list[tuple[int, int]], chunk: int, steps: list[Step], digits: int, bits: int = 7,
        wire_size: Callable[[int], int] = int,
    ) -> None:  # fmt: skip
        self._bits = bits
        self._wire_size = wire_size
        self.blocks = blocks
        self._chunk = chunk
        self._steps = sorted(steps, key=lambda step: -step.distance)
        self._base = min(address for address, _size in blocks)
        self._digits = digits
        offsets, offset = [], 0
        for _address, size in blocks:
            offsets.append(offset)
            offset += size
        self._offsets = offsets
        self.total = offset

    def shift(self, slots: Mapping[str, int]) -> int:
        """How far program, part, ... move all addresses."""
        return sum(step.distance * slots.get(step.word, 0) for step in self._steps)

    def pieces(self, slots: Mapping[str, int]) -> list[Piece]:
        """Each block, cut where it is longer than a message may be."""
        shift = self.shift(slots)
        return [
            Piece(offset + inside, min(self._chunk, size - inside), address + shift + inside)
            for (address, size), offset in zip(self.blocks, self._offsets, strict=True)
            for inside in range(0, size, self._chunk)
        ]

    def blocks_of(self, slots: Mapping[str, int]) -> list[Piece]:
        """One request for every block."""
        shift = self.shift(slots)
        return [
            Piece(offset, size, address + shift)
            for (address, size), offset in zip(self.blocks, self._offsets, strict=True)
        ]

    def place(self, told: Mapping[str, int], size: int, expected: int) -> int | None:  # noqa: ARG002 - the address says all
        """Where the address lies in the stream; None outside all blocks, or when the data would leave its block."""
        address = told.get("#address")
        if address is None:
            return None
        return self.offset(self._split(address)[1], size)

    def offset(self, address: int, size: int) -> int | None:
        """The place in the stream of an address of the first program."""
        for (start, length), offset in zip(self.blocks, self._offsets, strict=True):
            if start <= address and address + size <= start + length:
                return offset + address - start
        return None

    @cached_property
    def spans(self) -> list[tuple[int, int]]:
        """The addresses that belong to it, of every program, in order."""
        return sorted(self._spans())

    def meets(self, other: Addresses) -> bool:
        """Any address of any program belongs to both."""
        mine, theirs = self.spans, other.spans
        if len(mine) > len(theirs):
            mine, theirs = theirs, mine
        begins = [begin for begin, _beyond in theirs]
        for start, end in mine:  # spans of one map do not overlap, so only the neighbours can meet this one
            at = bisect_right(begins, start)
            if (at and theirs[at - 1][1] > start) or (at < len(theirs) and begins[at] < end):
                return True
        return False

    def _spans(self) -> Iterator[tuple[int, int]]:
        """The blocks of every program; where there are too many, each from the first to the last program."""
        steps = [[step.distance * number for number in range(step.how_many)] for step in self._steps]
        count = len(self.blocks)
        for several in steps:
            count *= len(several)
        if count > MOST_SPANS:
            first, last = self._base, max(start + size for start, size in self.blocks)
            yield first, last + sum(several[-1] for several in steps)
            return
        for shifts in product(*steps):
            shift = sum(shifts)
            yield from ((start + shift, start + size + shift) for start, size in self.blocks)

    def address_of(self, offset: int, width: int, slots: Mapping[str, int]) -> int | None:
        """The address of `width` bytes of the stream, None if they lie in two blocks."""
        for (start, length), first in zip(self.blocks, self._offsets, strict=True):
            if first <= offset and offset + width <= first + length:
                return start + offset - first + self.shift(slots)
        return None

    def _split(self, address: int) -> tuple[dict[str, int], int]:
        """The slots that an address implies, and the address of the same byte in the first program."""
        rest = address - self._base
        slots = {}
        for step in self._steps:
            number = min(max(rest // step.distance, 0), step.how_many - 1)
            slots[step.word] = number
            rest -= number * step.distance
        return slots, rest + self._base

    def slots(self, told: Mapping[str, int]) -> dict[str, int]:
        """Program, part, ... as the address tells them."""
        return self._split(told["#address"])[0] if "#address" in told else {}

    def numbers(self, piece: Piece) -> dict[str, int]:
        """Address and size."""
        return {"#address": piece.number, "#size": piece.size, "#wire_size": self._wire_size(piece.size)}

    def name(self, piece: Piece) -> str:
        """ "address 10 00 2A"."""
        return f"address {address_text(piece.number, self._digits, self._bits)}"

    def ranges(self) -> dict[str, tuple[int, int]]:
        """The words of the steps."""
        return {step.word: (0, step.how_many - 1) for step in self._steps}
