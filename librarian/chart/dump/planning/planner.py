"""Lays a frame of a chart out in bytes, and tells every fault that shows when doing so."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from librarian.chart.dump.model import (
    ChannelPart,
    ChecksumPart,
    DataPart,
    DevicePart,
    GroupPart,
    LengthPart,
    Message,
    PacketPart,
    Part,
    ReservedPart,
    SlotPart,
    VersionPart,
)
from librarian.chart.dump.model.base import LARGEST
from librarian.chart.dump.planning.digits import NotReadable
from librarian.chart.dump.planning.frame_text import Fixed, Halves, Named, read_frame
from librarian.chart.dump.planning.numbers import number_of
from librarian.chart.dump.planning.places import Path, Places
from librarian.chart.dump.planning.ranges import lengths_and_sums
from librarian.chart.dump.planning.segments import Area, Constant, Frame, Masked, Number, Reserved, Segment
from librarian.chart.dump.specs import AddressRule
from librarian.chart.dump.steps.number import Order, Piece, pieces_of_digits
from librarian.chart.dump.steps.packing import INSIDE, PACKINGS
from librarian.chart.nearest import nearest

Fault = Callable[[Path, str, str], None]
BUILT_IN = ("device", "channel", "program", "bank", "part", "packet")
MOST_NESTED = 2


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which of the possible shapes of a frame is laid out.

    `version`: the number that chooses the layouts. `open_part`: the data part or group of which each message carries
    `open_size` bytes, where a dump is spread over several messages. `value_size`: bytes of the value part of a
    single-parameter message, `stored`: as in a layout.
    `sizes`: part whose length varies -> its unpacked bytes or repetitions.
    `totals`: data part -> bytes on the wire and unpacked, for frames around several messages.
    """

    version: int | None = None
    open_part: str = ""
    open_size: int = 0
    value_size: int | None = None
    stored: bool = False
    totals: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    sizes: Mapping[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class _Draft:
    """A frame while it is laid out."""

    eight: bool
    depth: int
    segments: list[Segment] = field(default_factory=list)
    ranges: dict[str, tuple[int, int]] = field(default_factory=dict)
    later: list[tuple[str, LengthPart | ChecksumPart, int, int]] = field(default_factory=list)
    at: int = 0

    def add(self, segment: Segment, size: int, name: str = "") -> None:
        """Appends a segment of `size` bytes, known as `name` in ranges."""
        self.segments.append(segment)
        if name:
            self.ranges[name] = (self.at, self.at + size)
        self.at += size


class Planner:
    """Lays out the frames of one message. `places`: the layouts of the chart, written out."""

    def __init__(
        self, name: str, message: Message, places: Mapping[str, Places], rule: AddressRule, fault: Fault
    ) -> None:
        self._message = message
        self._places = places
        self._rule = rule
        self._fault = fault
        self._root: Path = ("message", name)

    def frame(self, text: str, path: Path, wanted: Wanted) -> Frame | None:
        """A whole message F0 ... F7, or None after telling what is wrong."""
        frame = self._lay_out(text, path, wanted, eight=False, depth=0)
        if frame is None:
            return None
        if self._message.kind == "command" and _is_channel_message(frame):
            return frame
        sound = True
        first, last = frame.segments[0], frame.segments[-1]
        if not (isinstance(first, Constant) and first.data == b"\xf0"):
            self._fault(path, "The frame does not begin with F0.", "Write the whole message, from F0 to F7.")
            sound = False
        if not (isinstance(last, Constant) and last.data == b"\xf7" and last.at > 0):
            self._fault(path, "The frame does not end with F7.", "Write the whole message, from F0 to F7.")
            sound = False
        return frame if sound and self._maker_fits(frame, path) else None

    def _maker_fits(self, frame: Frame, path: Path) -> bool:
        """A frame of another maker than [identity] says is a slip of the pen; universal messages are not."""
        maker = self._rule.manufacturer
        start = b"".join(each.data for each in frame.segments[1:4] if isinstance(each, Constant))
        if maker is None or not start or start[0] in (0x7E, 0x7F) or start.startswith(maker):
            return True
        self._fault(
            path,
            f"The frame is of maker {_hex(start[: len(maker)])}, but [identity] says {_hex(maker)}.",
            "Make the two agree.",
        )
        return False

    def _lay_out(self, text: str, path: Path, wanted: Wanted, *, eight: bool, depth: int) -> Frame | None:
        try:
            tokens = read_frame(text)
        except NotReadable as bad:
            self._fault(path, str(bad), bad.remedy)
            return None
        draft = _Draft(eight, depth)
        sound = True
        for place, token in enumerate(tokens):
            if isinstance(token, Fixed):
                edge = depth == 0 and place in (0, len(tokens) - 1)
                if token.byte > 0x7F and not eight and not edge:
                    self._fault(
                        path,
                        f"The byte {token.byte:02X} stands inside the message; there only 00 to 7F can travel.",
                        "Write a byte below 80.",
                    )
                    sound = False
                draft.add(Constant(draft.at, bytes([token.byte])), 1)
            elif isinstance(token, Halves):
                sound &= self._halves(token, draft, path)
            else:
                sound &= self._named(token, draft, path, wanted)
            if draft.at > LARGEST:
                self._fault(path, f"The message is longer than {LARGEST} bytes.", "Repeat fewer programs.")
                return None
        if not sound:
            return None
        if not lengths_and_sums(
            draft.later, draft.segments, draft.ranges, draft.at, eight, depth, self._parts_path, self._fault,
            wanted.totals,
        ):  # fmt: skip
            return None
        draft.segments.sort(key=lambda each: each.at)
        return Frame(draft.at, tuple(draft.segments), draft.ranges, wanted.version)

    def payload(self, name: str, part: DataPart | GroupPart, version: int | None) -> Frame | None:
        """All that several messages carry together, as a frame of its own: the part as it is cut."""
        inside = part.split_view == "unpacked" and PACKINGS[part.packing].eight
        draft = _Draft(inside, 0)
        whole = part.model_copy(update={"packing": "plain"}) if inside else part
        wanted = Wanted(version=version)
        if isinstance(whole, DataPart):
            sound = self._data(name, whole, draft, wanted)
        else:
            sound = self._group(name, whole, draft, wanted)
        return Frame(draft.at, tuple(draft.segments), draft.ranges, version) if sound else None

    def _parts_path(self, name: str) -> Path:
        return (*self._root, "parts", name)

    # --- parts -----------------------------------------------------------------------------------------------------

    def _part(self, name: str, path: Path) -> Part | None:
        part = self._message.parts.get(name)
        if part is None and name in BUILT_IN:
            if name == "device":
                return DevicePart.model_validate({"is": "device"})
            if name in ("channel", "packet"):
                return (ChannelPart if name == "channel" else PacketPart).model_validate({"is": name})
            return SlotPart.model_validate({"is": "slot", "of": name})
        if part is None:
            known = [*self._message.parts, *BUILT_IN]
            near = nearest(name, known)
            self._fault(
                path,
                f"The frame names {{{name}}}, but the message has no such part.",
                f"Did you mean {{{near}}}?" if near else f'Add parts.{name} = {{ is = "..." }}.',
            )
        return part

    def _halves(self, token: Halves, draft: _Draft, path: Path) -> bool:
        """A byte of two nibbles: numbers in the low or high four bits, constants in the rest."""
        mask = value = 0
        for half, shift in ((token.high, 4), (token.low, 0)):
            if isinstance(half, int):
                mask |= 0x0F << shift
                value |= half << shift
                continue
            part = self._part(half, path)
            if part is None:
                return False
            if not isinstance(part, DevicePart | ChannelPart | SlotPart | PacketPart):
                self._fault(
                    self._parts_path(half),
                    f"{half} stands in one nibble of a byte; only device, channel, slot and packet numbers can.",
                    f"Write {{{half}}} as a byte of its own.",
                )
                return False
            piece = (Piece(draft.at, shift, 4, 0),)
            number = self._number(half, part, draft.at, 1, piece, nibble=True)
            if number is None:
                return False
            draft.segments.append(number)
            draft.ranges[half] = (draft.at, draft.at + 1)
        status = self._message.kind == "command" and draft.at == 0 and draft.depth == 0
        if value & 0x80 and not draft.eight and not status:
            self._fault(path, "A byte above 7F stands inside the message.", "The high nibble must be below 8.")
            return False
        if mask:
            draft.segments.append(Masked(draft.at, mask, value))
        draft.at += 1
        return True

    def _named(self, token: Named, draft: _Draft, path: Path, wanted: Wanted) -> bool:
        name = token.name
        part = self._part(name, path)
        if part is None:
            return False
        if name in draft.ranges:
            self._fault(path, f"{{{name}}} stands twice in the frame.", "Give the second one a part of its own.")
            return False
        if isinstance(part, ReservedPart):
            if part.fill > 0x7F and not draft.eight:
                self._fault(
                    (*self._parts_path(name), "fill"), "A byte above 7F stands inside the message.", "Use 0 to 127."
                )
                return False
            draft.add(Reserved(draft.at, part.bytes, part.fill, name), part.bytes, name)
            return True
        if isinstance(part, LengthPart | ChecksumPart):
            digit = (8 if draft.eight else 7) if part.digit is None else part.digit
            size = part.bytes if isinstance(part, LengthPart) else -(-part.bits // digit)
            draft.later.append((name, part, draft.at, size))
            draft.ranges[name] = (draft.at, draft.at + size)
            draft.at += size
            return True
        if isinstance(part, DataPart | GroupPart) and name == wanted.open_part:
            packing = PACKINGS[part.packing if part.split_view == "unpacked" else "plain"]
            size = packing.packed_size(wanted.open_size)
            draft.add(Area(name, draft.at, 1, size, wanted.open_size, packing), size, name)
            return True
        if isinstance(part, DataPart):
            return self._data(name, part, draft, wanted)
        if isinstance(part, GroupPart):
            sound = self._group(name, part, draft, wanted)
            if sound:
                _write_out_constants(draft)
            return sound
        if isinstance(part, DevicePart | ChannelPart):
            return self._plain_number(name, part, draft, 1, "msb_first", 7)
        size = part.bytes
        if part.is_ == "value" and (part.stored or wanted.stored):
            size = wanted.value_size or 1
            draft.add(Number("value", name, draft.at, size, ()), size, name)
            return True
        if isinstance(part, VersionPart):
            return self._plain_number(name, part, draft, size, part.order, part.digit, wanted.version)
        return self._plain_number(name, part, draft, size, part.order, part.digit)

    def _plain_number(
        self, name: str, part: Part, draft: _Draft, size: int, order: Order, digit: int, fixed: int | None = None
    ) -> bool:
        if digit == 8 and not draft.eight:
            self._fault(
                (*self._parts_path(name), "digit"),
                "8 bits do not fit a byte of the message.",
                "Use 7, or 4 for nibbles.",
            )
            return False
        pieces = pieces_of_digits(draft.at, size, order, digit, 0, size * digit - 1)
        number = self._number(name, part, draft.at, size, pieces, fixed=fixed)
        if number is None:
            return False
        draft.add(number, size, name)
        return True

    def _number(
        self, name: str, part: Part, at: int, size: int, pieces: tuple[Piece, ...], *, nibble: bool = False,
        fixed: int | None = None,
    ) -> Number | None:  # fmt: skip
        by_rule = name not in self._message.parts and not nibble
        number = number_of(name, part, at, size, pieces, self._rule, by_rule=by_rule, fixed=fixed)
        if isinstance(number, Number):
            return number
        self._fault(self._parts_path(name), *number)
        return None

    # --- areas -----------------------------------------------------------------------------------------------------

    def _data(self, name: str, part: DataPart, draft: _Draft, wanted: Wanted) -> bool:
        path = self._parts_path(name)
        packing = INSIDE if draft.eight else PACKINGS[part.packing]
        if draft.eight and part.packing != "plain":
            self._fault(
                (*path, "packing"),
                "Data inside a packed group is packed already.",
                "Pack the group or the data, not both.",
            )
            return False
        layout = self._layout_name(part, path, wanted.version)
        if layout is None:
            return False
        places = self._places[layout]
        raw = wanted.sizes.get(name, places.size * part.times)
        if raw > LARGEST:
            self._fault((*path, "times"), f"The data is longer than {LARGEST} bytes.", "Repeat fewer programs.")
            return False
        unfit = None if packing.eight or draft.eight else places.cannot_travel_plain(layout)
        if unfit is not None:
            self._fault((*path, "packing"), *unfit)
            return False
        size = packing.packed_size(raw)
        count = part.times if part.times == 1 else raw // max(places.size, 1)
        draft.add(Area(name, draft.at, 1, size, raw, packing, layout, count), size, name)
        return True

    def _layout_name(self, part: DataPart, path: Path, version: int | None) -> str | None:
        if (part.layout is None) == (part.layouts is None):
            self._fault(
                path, "The data has no layout, or two kinds of it.", 'Write layout = "NAME", or layouts by version.'
            )
            return None
        if part.layout is not None:
            key, name = "layout", part.layout
        else:
            layouts = {number: layout for number, layout in version_numbers(part) if number is not None}
            key, name = "layouts", layouts.get(version if version is not None else -1, "")
            if not name:
                self._fault((*path, "layouts"), f"No layout is given for version {version}.", "Add it.")
                return None
        if name not in self._places:
            near = nearest(name, self._places)
            self._fault(
                (*path, key),
                f"There is no layout named {name}.",
                f"Did you mean {near}?" if near else f"Add [layout.{name}].",
            )
            return None
        return None if self._places[name].problems else name

    def _group(self, name: str, part: GroupPart, draft: _Draft, wanted: Wanted) -> bool:
        path = (*self._parts_path(name), "holds")
        if draft.depth >= MOST_NESTED:
            self._fault(path, f"Groups stand more than {MOST_NESTED} deep.", "Write the inner one out.")
            return False
        packing = INSIDE if draft.eight else PACKINGS[part.packing]
        if draft.eight and part.packing != "plain":
            self._fault(
                (*self._parts_path(name), "packing"), "A packed group stands inside a packed group.",
                "Pack one of the two only.",
            )  # fmt: skip
            return False
        inner = self._lay_out(part.holds, path, wanted, eight=draft.eight or packing.eight, depth=draft.depth + 1)
        if inner is None:
            return False
        times = wanted.sizes.get(name, part.times)
        if inner.size * times > LARGEST:
            self._fault((*path[:-1], "times"), f"The message is longer than {LARGEST} bytes.", "Repeat less often.")
            return False
        unit = packing.packed_size(inner.size)
        size = unit * times
        area = Area(name, draft.at, times, unit, inner.size, packing, inner=inner, repeats=part.times > 1)
        draft.add(area, size, name)
        return True


def _write_out_constants(draft: _Draft) -> None:
    """A group that only names constant bytes becomes these bytes: they tell messages apart as any others do."""
    area = draft.segments[-1]
    if not isinstance(area, Area) or area.inner is None or area.repeats or area.units != 1:
        return
    constants = [Constant(area.at + each.at, each.data) for each in area.inner.segments if isinstance(each, Constant)]
    if area.packing is PACKINGS["plain"] and len(constants) == len(area.inner.segments):
        draft.segments[-1:] = constants


def _is_channel_message(frame: Frame) -> bool:
    """A whole channel message (8n to En), as a command may be."""
    first = frame.segments[0]
    status = first.data[0] if isinstance(first, Constant) else first.value if isinstance(first, Masked) else 0
    if not 0x80 <= status <= 0xEF and not (isinstance(first, Number) and first.role == "channel"):
        return False
    if any(isinstance(each, Constant) and each.at > 0 and max(each.data) > 0x7F for each in frame.segments):
        return False
    masks = [each.value for each in frame.segments if isinstance(each, Masked) and each.at == 0]
    status = masks[0] if masks else status
    return 0x80 <= status <= 0xEF and frame.size == (2 if status & 0xF0 in (0xC0, 0xD0) else 3)


def version_numbers(part: DataPart) -> list[tuple[int | None, str]]:
    """The versions that a data part tells apart, None where a key is no number."""
    found: list[tuple[int | None, str]] = []
    for key, layout in (part.layouts or {}).items():
        try:
            found.append((int(key, 0), layout))
        except ValueError:
            found.append((None, layout))
    return found


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()
