"""A frame made ready to run: bytes of a message to numbers and images, and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple, NoReturn

from librarian.chart.dump.planning.segments import Area, Constant, Frame, Masked, Number, Reserved, Sum
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.steps.number import Piece, read_pieces, write_pieces
from librarian.chart.dump.steps.packing import NotPacked
from librarian.errors import BadInput
from librarian.messages import ALL_CALL, Address

Cell = tuple[str, int]
"""One image: the data part it stands in, and which program of that part (from 0)."""


class NotAddressable(BadInput):
    """A message that needs an address which is not known or does not fit."""


@dataclass(slots=True)
class Content:
    """What a frame carries: numbers by their word, images by cell.

    Numbers that only the machinery knows are called "#packet", "#address", "#size", "#parameter", "#value".
    """

    slots: dict[str, int] = field(default_factory=dict)
    images: dict[Cell, bytes] = field(default_factory=dict)


_INTERNAL = ("packet", "address", "size", "wire_size", "parameter", "value")


def slot_word(number: Number) -> str:
    """The key of a number in `Content.slots`."""
    return f"#{number.role}" if number.role in _INTERNAL else number.word


class Unit(NamedTuple):
    """Which repetition of a group is meant; `suffix` tells its numbers from those of the others."""

    which: int = 0
    suffix: str = ""

    def within(self, area: Area, index: int) -> Unit:
        """The repetition `index` of a group inside this one."""
        which = self.which * area.units + index
        return Unit(which, f"[{which}]" if area.repeats else self.suffix)


WHOLE = Unit()


class FrameCodec:
    """One frame of fixed size, compiled. `where`: how its offsets are told to people."""

    def __init__(self, frame: Frame, image_sizes: Mapping[str, int], *, inside: bool = False) -> None:
        self.frame = frame
        self.size = frame.size
        self._inside = inside
        self._constants = _merged([each for each in frame.segments if isinstance(each, Constant)])
        self._masks = tuple(each for each in frame.segments if isinstance(each, Masked))
        self.numbers = frame.numbers
        self._sums = tuple(each for each in frame.segments if isinstance(each, Sum))
        self.areas = frame.areas
        self._wire_sums = tuple(each for each in self._sums if not each.unpacked)
        beside = {each.name: _stray_bits(each, 0xFF if inside else 0x7F) for each in self._sums}
        self._beside = {name: bits for name, bits in beside.items() if bits}
        self._raw_sums = tuple(each for each in self._sums if each.unpacked)
        self._image_sizes = image_sizes
        self._inner = {
            area.name: FrameCodec(area.inner, image_sizes, inside=True) for area in self.areas if area.inner is not None
        }
        self._units = tuple((area, area.at + area.size, self._inner.get(area.name)) for area in self.areas)
        # what tells a message from others: all that stands before the first data
        self.header_size = min((area.at for area in self.areas), default=self.size)
        self._header = tuple(each for each in self.numbers if each.pieces and each.at < self.header_size)
        self._readers = tuple((each, *_reader(each)) for each in self.numbers)
        self.blank = self._blank()

    def _blank(self) -> bytes:
        out = bytearray(self.size)
        for at, data in self._constants:
            out[at : at + len(data)] = data
        for segment in self.frame.segments:
            if isinstance(segment, Masked):
                out[segment.at] |= segment.value
            elif isinstance(segment, Reserved):
                out[segment.at : segment.at + segment.size] = bytes([segment.fill]) * segment.size
            elif isinstance(segment, Number) and segment.fixed is not None:
                write_pieces(out, segment.pieces, segment.fixed + segment.plus)
            elif isinstance(segment, Area):
                inner = self._inner.get(segment.name)
                content = inner.blank if inner is not None else bytes(segment.raw_size)
                out[segment.at : segment.at + segment.size] = segment.packing.pack(content) * segment.units
        return bytes(out)

    # --- judging ---------------------------------------------------------------------------------------------------

    def begins(self, raw: bytes) -> bool:
        """The constant bytes before the first data are as they must be, as far as `raw` goes."""
        end = self.header_size
        for at, data in self._constants:
            if at < end and raw[at : at + len(data)] != data[: max(0, len(raw) - at)][: len(data)]:
                return False
        return all(
            mask.at >= end or mask.at >= len(raw) or raw[mask.at] & mask.mask == mask.value for mask in self._masks
        )

    def device_fits(self, raw: bytes, address: Address) -> bool:
        """The device ID and channel in the header are those of `address`, or all call."""
        for number in self._header:
            if number.role in ("device", "channel") and number.at < len(raw):
                sent = read_pieces(raw, number.pieces) - number.plus
                if not _fits(number, sent, address):
                    return False
        return True

    def all_numbers(self) -> list[Number]:
        """The numbers of the frame and of the groups in it, where a group stands once."""
        found = list(self.numbers)
        for area in self.areas:
            if area.name in self._inner and not area.repeats:
                found += self._inner[area.name].all_numbers()
        return found

    @staticmethod
    def number(raw: bytes, number: Number) -> int:
        """A number of the frame, as it is meant."""
        return read_pieces(raw, number.pieces) - number.plus

    def number_faults(self, raw: bytes) -> int:
        """How many numbers of the header lie outside their range (a measure of how well a frame fits)."""
        count = 0
        for number in self._header:
            if number.at + number.size <= len(raw) and number.role not in ("device", "channel"):
                value = read_pieces(raw, number.pieces) - number.plus
                wrong = value != number.fixed if number.fixed is not None else not number.low <= value <= number.high
                count += wrong
        return count

    # --- reading ---------------------------------------------------------------------------------------------------

    @property
    def has_groups(self) -> bool:
        """Whether numbers may stand in a frame of its own inside this one."""
        return any(inner is not None and area.units == 1 for area, _end, inner in self._units)

    def read(self, raw: bytes, address: Address | None, content: Content, unit: Unit = WHOLE) -> None:
        """Adds what the frame carries to `content`. Raises `DumpRefused` with the reason.

        `address` None: whichever device and channel it is for (a dump that was kept, not one that arrives).
        """
        for at, data in self._constants:
            if raw[at : at + len(data)] != data:
                self._refuse_constant(raw, at, data)
        for masked in self._masks:
            if raw[masked.at] & masked.mask != masked.value:
                self._refuse_constant(raw, masked.at, bytes([raw[masked.at] & ~masked.mask & 0xFF | masked.value]))
        for number, at, low, mask, wide in self._readers:
            if wide is not None:
                value = read_pieces(raw, wide) - number.plus
            elif mask:
                value = (raw[at] >> low & mask) - number.plus
            else:
                content.images[(number.word, 0)] = raw[at : at + number.size]
                continue
            self._judge_number(number, value, address, content, unit)
        for each in self._wire_sums:
            computed = each.rule.of(raw[each.first : each.end])
            if read_pieces(raw, each.pieces) not in (computed, each.otherwise) or self._stray(each, raw):
                _refuse_sum(each, raw, computed)
        unpacked: dict[str, list[bytes]] = {}
        for area, end, inner in self._units:
            try:
                parts = _units(area, raw) if area.units > 1 else [area.packing.unpack(raw[area.at : end])]
            except NotPacked as bad:
                raise DumpRefused("packing", f"In the {area.name} part: {bad}", bad.hint) from None
            unpacked[area.name] = parts
            if inner is not None:
                for index, part in enumerate(parts):
                    inner.read(part, address, content, unit.within(area, index))
            elif area.count == 1:
                content.images[(area.name, unit.which)] = parts[0]
            else:
                self._cut(area, parts[0], content, unit.which)
        for each in self._raw_sums:
            computed = self.sum_of(each, raw, unpacked)
            if read_pieces(raw, each.pieces) not in (computed, each.otherwise) or self._stray(each, raw):
                _refuse_sum(each, raw, computed)

    def _stray(self, each: Sum, raw: bytes) -> bool:
        """Bits are set beside a checksum, in its bytes."""
        stray = self._beside.get(each.name)
        return stray is not None and bool(int.from_bytes(raw[each.at : each.at + each.size], "big") & stray)

    def _cut(self, area: Area, part: bytes, content: Content, unit: int) -> None:
        size = self._image_sizes[area.layout]
        for index in range(area.count):
            content.images[(area.name, unit * area.count + index)] = part[index * size : (index + 1) * size]

    def _judge_number(self, number: Number, value: int, address: Address | None, content: Content, unit: Unit) -> None:
        if number.role in ("device", "channel"):
            if address is not None and not _fits(number, value, address):
                mine = address.device if number.role == "device" else address.channel
                what = "device ID" if number.role == "device" else "channel"
                raise DumpRefused(
                    "other device",
                    f"The message is for {what} {value}; this instrument has {mine}.",
                    "Compare the number with the one set at the instrument.",
                )
        elif number.fixed is not None:
            if value != number.fixed:
                self._refuse_fixed(number, value)
        elif not number.low <= value <= number.high:
            raise DumpRefused(
                "out of range",
                f"The {number.word} number is {value}; the chart says {number.low} to {number.high}.",
                "Compare the chart with the instrument.",
            )
        if number.role not in ("device", "channel", "length"):
            word = slot_word(number) + unit.suffix
            if content.slots.setdefault(word, value) != value:
                raise DumpRefused(
                    "out of range",
                    f"The {number.word} number stands twice in the message: {content.slots[word]} and {value}.",
                )

    def _refuse_fixed(self, number: Number, value: int) -> None:
        if number.role == "length":
            raise DumpRefused(
                "length field", f"The length in the message is {value}, but it has {number.fixed} such bytes."
            )
        raise DumpRefused("version", f"The dump has version {value}; this layout is version {number.fixed}.")

    def _refuse_constant(self, raw: bytes, at: int, data: bytes) -> None:
        place = next(place for place in range(len(data)) if raw[at + place] != data[place])
        where = "of the unpacked data " if self._inside else ""
        raise DumpRefused(
            "constant",
            f"Byte {at + place + 1} {where}is {raw[at + place]:02X}; the chart says {data[place]:02X}.",
            "Compare the chart with the instrument's documentation.",
        )

    def sum_of(self, each: Sum, raw: bytes, unpacked: Mapping[str, list[bytes]]) -> int:
        """The checksum as computed; `unpacked` is used by sums over the data before packing."""
        if not each.unpacked:
            return each.rule.of(raw[each.first : each.end])
        parts, at = [], each.first
        for area in self.areas:
            if each.first <= area.at < each.end:
                parts += [raw[at : area.at], *unpacked[area.name]]
                at = area.at + area.size
        parts.append(raw[at : each.end])
        return each.rule.of(b"".join(parts))

    def computed(self, each: Sum, raw: bytes) -> int:
        """The checksum of a message, whatever else is wrong with it. Raises `NotPacked` where that keeps it from it."""
        needed = self.areas if each.unpacked else ()
        unpacked = {area.name: _units(area, raw) for area in needed}
        return self.sum_of(each, raw, unpacked)

    def inner(self, area: str) -> FrameCodec:
        """The frame inside a group."""
        return self._inner[area]

    # --- writing ---------------------------------------------------------------------------------------------------

    def write(
        self,
        content: Content,
        address: Address,
        base: bytes | None,
        unit: Unit = WHOLE,
        held: Mapping[Cell, bytes] = MappingProxyType({}),
    ) -> bytes:
        """The frame with this content. What it does not say (reserved bytes, unused bits) is taken from `base`.

        `held`: images of `base` that were read already, to save unpacking them again.
        """
        out = bytearray(self.blank if base is None else base)
        for number in self.numbers:
            self._write_number(number, out, address, content, base is not None, unit)
        unpacked: dict[str, list[bytes]] = {}
        for area, _end, inner in self._units:
            parts = unpacked[area.name] = []
            for index in range(area.units):
                at = area.at + index * area.unit_size
                wire = slice(at, at + area.unit_size)
                known = None
                if base is not None:
                    known = held.get((area.name, unit.which)) if area.count == 1 else None
                    known = area.packing.unpack(base[wire]) if known is None else known
                if inner is not None:
                    part = inner.write(content, address, known, unit.within(area, index), held)
                else:
                    part = _images(area, content, unit)
                parts.append(part)
                if base is None or known is None or (part != known and not area.packing.linear):
                    out[wire] = area.packing.pack(part)
                elif part != known:
                    # packings only move bits about: the difference is packed, bits that carry no data stay
                    out[wire] = _differ(base[wire], area.packing.pack(_differ(part, known)))
        for each in self._sums:
            if base is None or each.otherwise is None or read_pieces(base, each.pieces) != each.otherwise:
                write_pieces(out, each.pieces, self.sum_of(each, bytes(out), unpacked))
        return bytes(out)

    def _write_number(
        self, number: Number, out: bytearray, address: Address, content: Content, has_base: bool, unit: Unit
    ) -> None:
        if not number.pieces:
            out[number.at : number.at + number.size] = content.images[(number.word, 0)]
            return
        if number.fixed is not None:
            if not has_base:
                return  # the blank frame has it
            value = number.fixed
        elif number.role in ("device", "channel") and has_base and self._still_fits(number, out, address):
            return
        elif number.role == "device":
            value = address.device
            if value == ALL_CALL and (number.plus or number.high < ALL_CALL):
                raise NotAddressable(
                    "The instrument's device ID is not known, and this message cannot go to all devices.",
                    "Identify the instrument first, or set its device ID.",
                )
        elif number.role == "channel":
            value = address.channel
        else:
            word = slot_word(number) + unit.suffix
            if word in content.slots:
                value = content.slots[word]
            elif has_base:
                return
            elif unit.suffix and number.word == "program":
                value = number.low + unit.which  # every program of a bank is numbered, in order
            else:
                raise NotAddressable(f"The message needs a {number.word} number.", f"Say which {number.word} is meant.")
        if not number.low <= value <= number.high:
            raise NotAddressable(
                f"The {number.word} number {value} does not exist; the chart says {number.low} to {number.high}.",
                f"Choose a {number.word} within this range.",
            )
        write_pieces(out, number.pieces, value + number.plus)

    def _still_fits(self, number: Number, out: bytearray, address: Address) -> bool:
        return _fits(number, read_pieces(out, number.pieces) - number.plus, address)


def _fits(number: Number, value: int, address: Address) -> bool:
    if number.role == "channel":
        return value == address.channel
    return address.device in (ALL_CALL, value) or (value == ALL_CALL and not number.plus)


def _units(area: Area, raw: bytes) -> list[bytes]:
    return [
        area.packing.unpack(raw[at : at + area.unit_size]) for at in range(area.at, area.at + area.size, area.unit_size)
    ]


def _images(area: Area, content: Content, unit: Unit) -> bytes:
    """The images of one data part, side by side."""
    if area.count == 1:
        return content.images[(area.name, unit.which)]
    first = unit.which * area.count
    return b"".join([content.images[(area.name, first + place)] for place in range(area.count)])


def _differ(one: bytes, other: bytes) -> bytes:
    return (int.from_bytes(one, "big") ^ int.from_bytes(other, "big")).to_bytes(len(one), "big")


def _stray_bits(each: Sum, whole: int) -> int:
    """The bits in the bytes of a checksum that are no part of it (the high half of a nibble), as one number."""
    used = bytearray(each.size)
    for piece in each.pieces:
        used[piece.at - each.at] |= piece.mask
    return int.from_bytes(bytes(~byte & whole for byte in used), "big")


def _refuse_sum(each: Sum, raw: bytes, computed: int) -> NoReturn:
    received, digits = read_pieces(raw, each.pieces), -(-each.rule.bits // 4)
    if received == computed:
        stray = raw[each.at : each.at + each.size].hex(" ").upper()
        raise DumpRefused("checksum", f"The checksum {stray} has bits set that are no part of it.")
    raise DumpRefused(
        "checksum",
        f"The checksum is {received:0{digits}X}, but the bytes of the message make {computed:0{digits}X}.",
        "Send the dump again; check the cable if it happens often.",
    )


def _reader(number: Number) -> tuple[int, int, int, tuple[Piece, ...] | None]:
    """Byte, lowest bit and mask of a number in one piece (mask 0: bytes as they are); pieces of any other."""
    if not number.pieces:
        return number.at, 0, 0, None
    if len(number.pieces) > 1:
        return number.at, 0, 0, number.pieces
    piece = number.pieces[0]
    return piece.at, piece.low, (1 << piece.width) - 1, None


def _merged(constants: list[Constant]) -> tuple[tuple[int, bytes], ...]:
    runs: list[tuple[int, bytes]] = []
    for each in constants:
        if runs and runs[-1][0] + len(runs[-1][1]) == each.at:
            runs[-1] = (runs[-1][0], runs[-1][1] + each.data)
        else:
            runs.append((each.at, each.data))
    return tuple(runs)
