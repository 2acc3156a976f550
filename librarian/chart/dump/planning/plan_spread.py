"""Plans dumps that travel in several messages: numbered packets, and ranges of addresses."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from librarian.chart.dump.model import AddressPart, DataPart, Message, PacketPart, SlotPart
from librarian.chart.dump.model.base import LARGEST
from librarian.chart.dump.planning.cutting import Addresses, Cutting, Packets, Step
from librarian.chart.dump.planning.digits import NotReadable, read_address, read_distance
from librarian.chart.dump.planning.places import Path, Places
from librarian.chart.dump.planning.planner import Planner, Wanted
from librarian.chart.dump.planning.segments import Frame
from librarian.chart.dump.specs import AddressRule
from librarian.chart.dump.steps.packing import PACKINGS

Fault = Callable[[Path, str, str], None]
MOST_PIECES = 65_536
_UNNUMBERED = 1 << 30


@dataclass(frozen=True, slots=True)
class SpreadPlan:
    """One form. `text`: the frame of each message, laid out by `planner` for every size that comes."""

    text: str
    path: Path
    planner: Planner
    part_name: str
    part: DataPart
    layout: str
    cutting: Cutting
    begin: Frame | None
    end: Frame | None


def is_spread(named: list[str], message: Message) -> bool:
    """A frame with data and an address, or with data that is split, is one of several."""
    parts = [message.parts.get(name) for name in named]
    has_data = any(isinstance(part, DataPart) for part in parts)
    return has_data and any(
        isinstance(part, AddressPart) or (isinstance(part, DataPart) and part.split is not None) for part in parts
    )


def plan_spread(
    name: str, message: Message, text: str, path: Path, named: list[str], planner: Planner,
    places: Mapping[str, Places], rule: AddressRule, fault: Fault,
) -> SpreadPlan | None:  # fmt: skip
    """The plan of a form, or None after telling what is wrong."""
    root: Path = ("message", name)
    datas = [(each, part) for each in named if isinstance(part := message.parts.get(each), DataPart)]
    if len(datas) != 1:
        fault(path, "A dump in several messages has exactly one data part.", "Put all of it into one layout.")
        return None
    part_name, part = datas[0]
    data_path: Path = (*root, "parts", part_name)
    if part.layout is None:
        fault(
            data_path, "A dump in several messages has one layout; it cannot be chosen by a version.", "Write layout."
        )
        return None
    if part.layout not in places:
        planner.frame(text, path, Wanted())  # says that the layout is missing
        return None
    own = places[part.layout]
    if own.problems:
        return None
    raw = own.size * part.times
    if raw > LARGEST or raw == 0:
        fault(data_path, f"The data has {raw} bytes; 1 to {LARGEST} are possible.", "Change size or times.")
        return None
    unfit = own.cannot_travel_plain(part.layout) if part.packing == "plain" else None
    if unfit is not None:
        fault((*data_path, "packing"), *unfit)
        return None
    addressed = any(isinstance(message.parts.get(each), AddressPart) for each in named)
    packed = PACKINGS[part.packing].packed_size(raw)
    around = _frames_around(message, root, planner, part_name, (packed, raw))
    cutting: Cutting | None
    if addressed:
        cutting = _addresses(message, root, named, data_path, part, raw, rule, fault)
    else:
        cutting = _packets(message, named, data_path, part, raw if part.split_view == "unpacked" else packed, fault)
    if cutting is None or around is None:
        return None
    nominal = max(piece.size for piece in cutting.pieces({}))
    if planner.frame(text, path, Wanted(open_size=nominal)) is None:
        return None
    return SpreadPlan(text, path, planner, part_name, part, part.layout, cutting, *around)


def _frames_around(
    message: Message, root: Path, planner: Planner, part_name: str, total: tuple[int, int]
) -> tuple[Frame | None, Frame | None] | None:
    frames: list[Frame | None] = []
    for key, text in (("begin", message.begin), ("end", message.end)):
        if text is None:
            frames.append(None)
            continue
        frame = planner.frame(text, (*root, key), Wanted(totals={part_name: total}))
        if frame is None:
            return None
        frames.append(frame)
    return frames[0], frames[1]


def _packets(
    message: Message, named: list[str], path: Path, part: DataPart, total: int, fault: Fault
) -> Packets | None:
    split = part.split or total
    if -(-total // split) > MOST_PIECES:
        fault((*path, "split"), f"The dump would have more than {MOST_PIECES} packets.", "Split into larger ones.")
        return None
    first, modulus = 0, _UNNUMBERED
    for each in named:
        number = message.parts.get(each)
        if isinstance(number, PacketPart):
            first, modulus = number.first, 1 << (number.bytes * number.digit)
        elif number is None and each == "packet":
            modulus = 128
    if first >= modulus:
        fault(path, f"Packet {first} does not fit its number.", "Give the number more bytes.")
        return None
    return Packets(total, split, first, modulus, filled=part.last == "filled")


def _addresses(
    message: Message, root: Path, named: list[str], data_path: Path, part: DataPart, raw: int, rule: AddressRule,
    fault: Fault,
) -> Addresses | None:  # fmt: skip
    if part.packing != "plain":
        fault(
            (*data_path, "packing"),
            "Data at addresses travels as plain 7-bit bytes.",
            "Leave packing away, and write nibbles as digit = 4 in the layout.",
        )
        return None
    if message.blocks is None:
        fault(
            root, "The message has addresses, but no ranges of them.",
            'Add blocks = [{ start = "10 00 00", size = 64 }].',
        )  # fmt: skip
        return None
    digits = next(each.bytes for word in named if isinstance(each := message.parts.get(word), AddressPart))
    blocks: list[tuple[int, int]] = []
    for index, block in enumerate(message.blocks):
        try:
            start, written = read_address(block.start)
            size = read_distance(block.size)
        except NotReadable as bad:
            fault((*root, "blocks", index), str(bad), bad.remedy)
            return None
        if written != digits:
            fault(
                (*root, "blocks", index, "start"),
                f"The address {block.start} has {written} bytes; the address in the frame has {digits}.",
                "Write it with as many.",
            )
            return None
        if not 1 <= size <= LARGEST or start + size > 1 << 7 * digits:
            fault((*root, "blocks", index, "size"), f"A block of {size} bytes does not fit.", "Write a size that does.")
            return None
        blocks.append((start, size))
    if sum(size for _start, size in blocks) != raw:
        fault(
            (*root, "blocks"),
            f"The blocks have {sum(size for _start, size in blocks)} bytes together; the data has {raw}.",
            "Make the two agree (size of the layout, times of the data).",
        )
        return None
    ordered = sorted(blocks)
    for (start, size), (following, _size) in pairwise(ordered):
        if start + size > following:
            fault((*root, "blocks"), "Two blocks overlap.", "Change a start or a size.")
            return None
    steps = _steps(message, root, rule, ordered, digits, fault)
    chunk = message.chunk or max(size for _start, size in blocks)
    if sum(-(-size // chunk) for _start, size in blocks) > MOST_PIECES:
        fault((*root, "chunk"), f"The dump would have more than {MOST_PIECES} messages.", "Write a larger chunk.")
        return None
    return None if steps is None else Addresses(blocks, chunk, steps, digits)


def _steps(
    message: Message, root: Path, rule: AddressRule, ordered: list[tuple[int, int]], digits: int, fault: Fault
) -> list[Step] | None:
    span = ordered[-1][0] + ordered[-1][1] - ordered[0][0]
    steps: list[Step] = []
    distances: list[tuple[int, str]] = []
    for word, text in message.steps.items():
        try:
            distances.append((read_address(text)[0], word))
        except NotReadable as bad:
            fault((*root, "steps", word), str(bad), bad.remedy)
            return None
    for distance, word in sorted(distances):
        count = {"program": rule.programs, "bank": rule.banks}.get(word, 0) or 128
        slot = message.parts.get(word)
        if isinstance(slot, SlotPart) and slot.high is not None:
            count = slot.high + 1
        if distance < span:
            fault(
                (*root, "steps", word),
                f"From one {word} to the next there are {distance} addresses, but the blocks take {span}.",
                "Write a larger distance.",
            )
            return None
        steps.append(Step(word, distance, count))
        span = distance * (count - 1) + span
    if ordered[0][0] + span > 1 << 7 * digits:
        fault(
            (*root, "steps"), "The last of them lies beyond the highest address.", "Write a smaller distance or count."
        )
        return None
    return steps
