"""One form of a message that is spread over several: recognising, reading and writing each of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from librarian.chart.dump.planning.cutting import Cutting, Packets, Piece
from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import Content, FrameCodec
from librarian.chart.dump.running.stream import Stream
from librarian.chart.dump.steps.packing import NotPacked
from librarian.messages import Address


@dataclass(frozen=True, slots=True)
class Piecewise:
    """One message of several, read. `kind`: piece, or the begin or end frame around them."""

    kind: str
    frame: FrameCodec
    content: Content
    data: bytes = b""


@dataclass(slots=True)
class Collected:
    """The messages of one dump so far, in order of arrival. `where`: offset of the data of each, None around them."""

    stream: bytearray
    have: bytearray
    raws: list[bytes] = field(default_factory=list)
    where: list[int | None] = field(default_factory=list)
    slots: dict[str, int] = field(default_factory=dict)
    ended: bool = False

    @property
    def complete(self) -> bool:
        """Every byte of the stream came."""
        return all(self.have)


class SpreadForm:
    """The form. `lay_out(size)`: the frame with so many data bytes. `begin`, `end`: frames around the packets."""

    def __init__(
        self,
        message: str,
        form: Form,
        version: int | None,
        stream: Stream,
        cutting: Cutting,
        lay_out: Callable[[int], FrameCodec],
        begin: FrameCodec | None,
        end: FrameCodec | None,
    ) -> None:
        self.message = message
        self.form = form
        self.version = version
        self.stream = stream
        self.cutting = cutting
        self.begin = begin
        self.end = end
        self._lay_out = lru_cache(maxsize=64)(lay_out)
        nominal = max(piece.size for piece in cutting.pieces({}))
        self._nominal = self._lay_out(nominal)
        area = self._nominal.areas[0]
        self._overhead = self._nominal.size - area.size
        self._raw_size = area.packing.raw_size
        self._largest = stream.size if not isinstance(cutting, Packets) else cutting.split

    @property
    def header(self) -> FrameCodec:
        """A frame of the usual size, to recognise messages by."""
        return self._nominal

    @property
    def messages(self) -> int:
        """How many messages the chart cuts the dump into, those around it included."""
        return len(self.cutting.pieces({})) + (self.begin is not None) + (self.end is not None)

    @property
    def length(self) -> int:
        """Bytes of all of them."""
        around = sum(each.size for each in (self.begin, self.end) if each is not None)
        return around + sum(self._lay_out(piece.size).size for piece in self.cutting.pieces({}))

    def frame_of(self, raw: bytes) -> FrameCodec | None:
        """The frame that fits the length of a message of this form; None when none does."""
        size = self._raw_size(len(raw) - self._overhead) if len(raw) > self._overhead else None
        return self._lay_out(size) if size is not None and 0 < size <= self._largest else None

    def begins(self, raw: bytes, address: Address | None) -> bool:
        """The header of `raw` is the one of these messages, and for this address."""
        header = self._nominal
        fits = len(raw) >= header.header_size and header.begins(raw)
        if not fits or (address is not None and not header.device_fits(raw, address)):
            return False
        frame = self.frame_of(raw)
        if frame is None:  # of a wrong length; its address tells whether it is one of these all the same
            return self.addressed(header, raw, 1, address)
        return self.addressed(frame, raw, frame.areas[0].raw_size, address)

    def addressed(self, frame: FrameCodec, raw: bytes, size: int, address: Address | None) -> bool:
        """The address in `raw` belongs to this message (and to this instrument, where it follows the channel)."""
        numbers = {f"#{number.role}": frame.number(raw, number) for number in frame.numbers if number.role == "address"}
        if isinstance(self.cutting, Packets) or not numbers:
            return True
        told = self.cutting.slots(numbers)
        mine = address is None or told.get(CHANNEL, address.channel) == address.channel
        return mine and self.cutting.place(numbers, size, 0) is not None

    def odd(self, raw: bytes) -> int:
        """How many numbers of the header are not what this form says: a version that is another's."""
        frame = self.around(raw, None) or self.frame_of(raw)
        return 0 if frame is None else frame.number_faults(raw)

    def takes(self, raw: bytes, address: Address | None) -> bool:
        """`raw` can be read as one of these messages."""
        return self.around(raw, address) is not None or (self.frame_of(raw) is not None and self.begins(raw, address))

    def around(self, raw: bytes, address: Address | None) -> FrameCodec | None:
        """The begin or end frame that `raw` is, None if it is neither."""
        for each in (self.begin, self.end):
            if each is not None and len(raw) == each.size and each.begins(raw):
                return each if address is None or each.device_fits(raw, address) else None
        return None

    def is_piece(self, raw: bytes) -> bool:
        """`raw` is as long as the chart cuts the dump there (not a part of such a piece)."""
        frame = self.frame_of(raw)
        if frame is None or isinstance(self.cutting, Packets):
            return True
        numbers = {f"#{number.role}": frame.number(raw, number) for number in frame.numbers if number.role == "address"}
        size = frame.areas[0].raw_size
        offset = self.cutting.place(numbers, size, 0)
        return any(piece[:2] == (offset, size) for piece in self.cutting.pieces({}))

    def place_of(self, frame: FrameCodec, raw: bytes) -> tuple[bytes, int] | None:
        """The data of a message and where it lies in the whole, None where it does not tell."""
        told = {
            f"#{each.role}": frame.number(raw, each) for each in frame.numbers if each.role in ("address", "packet")
        }
        if not told or len(raw) != frame.size or not frame.areas:
            return None
        area = frame.areas[0]
        try:
            data = area.packing.unpack(raw[area.at : area.at + area.size])
        except NotPacked:
            return None
        offset = self.cutting.place(told, len(data), 0)
        return None if offset is None or offset + len(data) > self.stream.size else (data, offset)

    def read(self, raw: bytes, address: Address | None) -> Piecewise:
        """One message. Raises `DumpRefused` with the reason."""
        around = self.around(raw, None)
        if around is not None:
            content = Content()
            around.read(raw, address, content)
            return Piecewise("begin" if around is self.begin else "end", around, content)
        frame = self.frame_of(raw)
        if frame is None:
            raise DumpRefused(
                "too long" if len(raw) > self._nominal.size else "too short",
                f"A message of the {self.message} dump has {len(raw)} bytes; the chart says {self._nominal.size}.",
                "Send the dump again; if it is always so, compare the chart with the instrument.",
            )
        content = Content()
        frame.read(raw, address, content)
        data = content.images[(self.stream.part_name, 0)]
        for word, count in (("#size", len(data)), ("#wire_size", frame.areas[0].size)):
            size = content.slots.get(word, count)
            if size != count:
                raise DumpRefused("length field", f"The message says {size} data bytes, but has {count}.")
        return Piecewise("piece", frame, content, data)

    # --- collecting ------------------------------------------------------------------------------------------------

    def start(self) -> Collected:
        """Nothing collected yet."""
        return Collected(bytearray(self.stream.size), bytearray(self.stream.size))

    def add(
        self, collected: Collected, raw: bytes, address: Address | None, read: Piecewise | None = None
    ) -> Piecewise:
        """Adds one message. Raises `DumpRefused` when it is damaged or belongs elsewhere; then nothing is added.

        `read`: what `read` gave for it, where that was asked already.
        """
        read = read or self.read(raw, address)
        offset: int | None = None
        if read.kind == "piece":
            before = sum(each is not None for each in collected.where)
            offset = self.cutting.place(read.content.slots, len(read.data), before)
            if offset is None:
                raise DumpRefused("packet", f"{self._described(read)} has no place in the {self.message} dump.")
        told = {word: value for word, value in read.content.slots.items() if word[0] != "#"}
        told |= self.cutting.slots(read.content.slots)
        for word, value in told.items():
            if collected.slots.get(word, value) != value:
                raise DumpRefused(
                    "packet", f"One message is for {word} {collected.slots[word]}, another for {word} {value}."
                )
        if read.kind == "piece" and offset is not None:
            size = min(len(read.data), self.stream.size - offset)
            collected.stream[offset : offset + size] = read.data[:size]
            collected.have[offset : offset + size] = b"\x01" * size
        collected.slots |= told
        collected.raws.append(raw)
        collected.where.append(offset)
        collected.ended = collected.ended or read.kind == "end"
        return read

    def missing(self, collected: Collected) -> list[str]:
        """The pieces that did not come, in words."""
        pieces = self.cutting.pieces(collected.slots)
        end = self.stream.size
        return [
            self.cutting.name(piece)
            for piece in pieces
            if not all(collected.have[piece.offset : min(piece.offset + piece.size, end)])
        ]

    def _described(self, read: Piecewise) -> str:
        slots = read.content.slots
        if "#address" in slots or "#packet" in slots:
            return self.cutting.name(Piece(0, 0, slots.get("#address", slots.get("#packet", 0)))).capitalize()
        return "A message"

    # --- writing ---------------------------------------------------------------------------------------------------

    def write(
        self, stream: bytes, slots: Mapping[str, int], address: Address, base: Collected | None
    ) -> tuple[bytes, ...]:
        """The messages of a stream. Over `base` (the same dump as it came) they are cut and ordered as those were."""
        slots = {**slots, CHANNEL: address.channel}
        if base is not None:
            places = [self._at(base, index, slots) for index in range(len(base.raws))]
            return tuple(
                self._write_piece(piece, stream, slots, address, raw)
                if piece is not None
                else self._write_around(raw, slots, address)
                for piece, raw in zip(places, base.raws, strict=True)
            )
        begin = [self.begin.write(Content(dict(slots)), address, None)] if self.begin is not None else []
        end = [self.end.write(Content(dict(slots)), address, None)] if self.end is not None else []
        pieces = self.cutting.pieces(slots)
        return (*begin, *(self._write_piece(piece, stream, slots, address, None) for piece in pieces), *end)

    def _at(self, base: Collected, index: int, slots: Mapping[str, int]) -> Piece | None:
        offset = base.where[index]
        if offset is None:
            return None
        frame = self.frame_of(base.raws[index])
        size = frame.areas[0].raw_size if frame is not None else 0
        same = next((piece for piece in self.cutting.pieces(slots) if piece[:2] == (offset, size)), None)
        if same is not None:
            return same
        # cut by the instrument in its own way: the address follows from the offset
        first = max(
            (piece for piece in self.cutting.pieces(slots) if piece.offset <= offset), key=lambda each: each.offset
        )
        return Piece(offset, size, first.number + offset - first.offset)

    def _write_around(self, raw: bytes, slots: Mapping[str, int], address: Address) -> bytes:
        frame = self.around(raw, None)
        return raw if frame is None else frame.write(Content(dict(slots)), address, raw)

    def _write_piece(
        self, piece: Piece, stream: bytes, slots: Mapping[str, int], address: Address, base: bytes | None
    ) -> bytes:
        frame = self._lay_out(piece.size)
        data = stream[piece.offset : piece.offset + piece.size]
        if len(data) < piece.size:  # a last packet that is filled up
            fill = bytes(piece.size)
            if base is not None:
                before = Content()
                frame.read(base, None, before)
                fill = before.images[(self.stream.part_name, 0)]
            data += fill[len(data) :]
        content = Content({**slots, **self.cutting.numbers(piece)}, {(self.stream.part_name, 0): data})
        return frame.write(content, address, base)
