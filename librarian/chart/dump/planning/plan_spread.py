"""Plans dumps that travel in several messages: numbered packets, and ranges of addresses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from librarian.chart.dump.model import AddressPart, DataPart, GroupPart, Message, PacketPart, SlotPart
from librarian.chart.dump.model.base import LARGEST
from librarian.chart.dump.planning.cutting import Addresses, Cutting, Packets, Step
from librarian.chart.dump.planning.digits import NotReadable, read_address, read_distance
from librarian.chart.dump.planning.frame_text import named_in
from librarian.chart.dump.planning.places import Path
from librarian.chart.dump.planning.planner import Planner, Wanted
from librarian.chart.dump.planning.segments import Frame
from librarian.chart.dump.specs import AddressRule
from librarian.chart.dump.steps.packing import PACKINGS

Fault = Callable[[Path, str, str], None]
MOST_PIECES = 65_536
CHANNEL = "channel"
"""The word for a step that follows the instrument's channel."""
_UNNUMBERED = 1 << 30


@dataclass(frozen=True, slots=True)
class SpreadPlan:
    """One form, for one version of its layouts. `text`: the frame of each message, laid out by `planner` for every
    size that comes. `payload`: what all of them carry together."""

    text: str
    path: Path
    planner: Planner
    part_name: str
    version: int | None
    payload: Frame
    cutting: Cutting
    begin: Frame | None
    end: Frame | None

    def frame(self, size: int) -> Frame | None:
        """The frame of a message with so many bytes of the payload."""
        return self.planner.frame(
            self.text, self.path, Wanted(version=self.version, open_part=self.part_name, open_size=size)
        )


def is_spread(named: list[str], message: Message) -> bool:
    """A frame with data and an address, or with data that is split, is one of several."""
    parts = [message.parts.get(name) for name in named]
    has_data = any(isinstance(part, DataPart) for part in parts)
    return has_data and any(
        isinstance(part, AddressPart) or (isinstance(part, DataPart | GroupPart) and part.split is not None)
        for part in parts
    )


def plan_spread(
    name: str, message: Message, text: str, path: Path, named: list[str], planner: Planner, rule: AddressRule,
    version: int | None, fault: Fault,
) -> SpreadPlan | None:  # fmt: skip
    """The plan of a form, or None after telling what is wrong. `version`: which of its layouts."""
    root: Path = ("message", name)
    top = [(each, part) for each in named_in(text) if isinstance(part := message.parts.get(each), DataPart | GroupPart)]
    inside = [each for each in named if each not in dict(top)]
    for each in inside:
        part = message.parts.get(each)
        if isinstance(part, DataPart | GroupPart) and part.split is not None:
            fault(
                (*root, "parts", each, "split"), "Data inside a group cannot be split by itself.",
                "Write split at the group.",
            )  # fmt: skip
            return None
    if len(top) != 1:
        fault(
            path, "A dump in several messages has exactly one data part (or group).",
            "Put all of it into one layout, or into one group of several data parts.",
        )  # fmt: skip
        return None
    part_name, whole = top[0]
    data_path: Path = (*root, "parts", part_name)
    payload = planner.payload(part_name, whole, version)
    if payload is None:
        return None
    if not 0 < payload.size <= LARGEST:
        fault(data_path, f"The data has {payload.size} bytes; 1 to {LARGEST} are possible.", "Change size or times.")
        return None
    packing = PACKINGS[whole.packing]
    area = payload.areas[0]
    raw = area.raw_size * area.units
    around = _frames_around(message, root, planner, part_name, (packing.packed_size(raw), raw), version)
    packed_each = whole.split_view == "unpacked"
    addressed = any(isinstance(message.parts.get(each), AddressPart) for each in named)
    cutting: Cutting | None
    if addressed:
        wire_size = packing.packed_size if packed_each else int
        cutting = _addresses(message, root, named, payload.size, wire_size, rule, fault)
    else:
        cutting = _packets(message, named, data_path, whole, payload.size, fault)
    if cutting is None or around is None:
        return None
    plan = SpreadPlan(text, path, planner, part_name, version, payload, cutting, *around)
    return plan if plan.frame(max(piece.size for piece in cutting.pieces({}))) is not None else None


def _frames_around(
    message: Message, root: Path, planner: Planner, part_name: str, total: tuple[int, int], version: int | None
) -> tuple[Frame | None, Frame | None] | None:
    frames: list[Frame | None] = []
    for key, text in (("begin", message.begin), ("end", message.end)):
        if text is None:
            frames.append(None)
            continue
        frame = planner.frame(text, (*root, key), Wanted(version=version, totals={part_name: total}))
        if frame is None:
            return None
        frames.append(frame)
    return frames[0], frames[1]


def _packets(
    message: Message, named: list[str], path: Path, part: DataPart | GroupPart, total: int, fault: Fault
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
    message: Message, root: Path, named: list[str], total: int, wire_size: Callable[[int], int], rule: AddressRule,
    fault: Fault,
) -> Addresses | None:  # fmt: skip
    if message.blocks is None:
        fault(
            root, "The message has addresses, but no ranges of them.",
            'Add blocks = [{ start = "10 00 00", size = 64 }].',
        )  # fmt: skip
        return None
    part = next(each for word in named if isinstance(each := message.parts.get(word), AddressPart))
    digits, bits = part.bytes, part.digit
    blocks: list[tuple[int, int]] = []
    for index, block in enumerate(message.blocks):
        try:
            start, written = read_address(block.start, bits)
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
        if not 1 <= size <= LARGEST or start + size > 1 << bits * digits:
            fault((*root, "blocks", index, "size"), f"A block of {size} bytes does not fit.", "Write a size that does.")
            return None
        blocks.append((start, size))
    if sum(size for _start, size in blocks) != total:
        fault(
            (*root, "blocks"),
            f"The blocks have {sum(size for _start, size in blocks)} bytes together; the data has {total}.",
            "Make the two agree (size of the layout, times of the data).",
        )
        return None
    ordered = sorted(blocks)
    for (start, size), (following, _size) in pairwise(ordered):
        if start + size > following:
            fault((*root, "blocks"), "Two blocks overlap.", "Change a start or a size.")
            return None
    steps = _steps(message, root, rule, ordered, part, fault)
    chunk = message.chunk or max(size for _start, size in blocks)
    if sum(-(-size // chunk) for _start, size in blocks) > MOST_PIECES:
        fault((*root, "chunk"), f"The dump would have more than {MOST_PIECES} messages.", "Write a larger chunk.")
        return None
    return None if steps is None else Addresses(blocks, chunk, steps, digits, bits, wire_size)


def _steps(
    message: Message, root: Path, rule: AddressRule, ordered: list[tuple[int, int]], part: AddressPart, fault: Fault
) -> list[Step] | None:
    span = ordered[-1][0] + ordered[-1][1] - ordered[0][0]
    steps: list[Step] = []
    distances: list[tuple[int, str]] = []
    for word, text in message.steps.items():
        try:
            distances.append((read_address(text, part.digit)[0], word))
        except NotReadable as bad:
            fault((*root, "steps", word), str(bad), bad.remedy)
            return None
    for distance, word in sorted(distances):
        count = {"program": rule.programs, "bank": rule.banks, CHANNEL: 16}.get(word, 0) or 128
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
    if ordered[0][0] + span > 1 << part.digit * part.bytes:
        fault(
            (*root, "steps"), "The last of them lies beyond the highest address.", "Write a smaller distance or count."
        )
        return None
    return steps
