"""Frames whose data can be shorter than its layout, or repeated less often: how long it is in a message at hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from librarian.chart.dump.model import DataPart, GroupPart, LengthPart, Message
from librarian.chart.dump.planning.places import Path
from librarian.chart.dump.planning.planner import Planner, Wanted
from librarian.chart.dump.planning.segments import Area, Frame, Number
from librarian.chart.dump.steps.number import read_pieces

Fault = Callable[[Path, str, str], None]


@dataclass(frozen=True, slots=True)
class Varying:
    """One part. `least`, `most`, `step`: unpacked bytes, or repetitions of a group.

    `area`: as it is at its longest. `told_by`: the length in front of it that says how long it is, None where it is
    what is left of the message.
    """

    area: Area
    least: int
    most: int
    step: int
    told_by: tuple[LengthPart, Number] | None = None

    @property
    def name(self) -> str:
        """The part."""
        return self.area.name

    @property
    def is_group(self) -> bool:
        """It counts repetitions."""
        return self.area.inner is not None

    def wire(self, size: int) -> int:
        """Bytes that it takes in the message."""
        return size * self.area.unit_size if self.is_group else self.area.packing.packed_size(size)

    def size_of(self, wire: int) -> int | None:
        """What takes so many bytes in the message, None where nothing does."""
        if self.is_group:
            size: int | None = wire // self.area.unit_size if wire % self.area.unit_size == 0 else None
        else:
            size = self.area.packing.raw_size(wire) if wire else 0
        return size if size is not None and self.exists(size) else None

    def exists(self, size: int) -> bool:
        """It can be so long."""
        return self.least <= size <= self.most and (self.most - size) % self.step == 0

    def said(self, number: int, part: LengthPart) -> int | None:
        """What a length in the message says about it."""
        count = (number - part.plus) * part.unit
        if count < 0:
            return None
        if part.view == "wire":
            return self.size_of(count)
        size = count // max(self.area.raw_size, 1) if self.is_group else count
        return size if self.exists(size) else None


@dataclass(frozen=True, slots=True)
class VaryingFrame:
    """A frame at its longest, the parts of it that vary, and how it is laid out in any length."""

    longest: Frame
    parts: tuple[Varying, ...]
    text: str
    path: Path
    planner: Planner

    def sizes_in(self, raw: bytes) -> dict[str, int] | None:
        """How long each part is in a message, None where that does not come out."""
        short = 0  # how much shorter than the longest everything before is
        sizes: dict[str, int] = {}
        for index, part in enumerate(self.parts):
            size: int | None
            if part.told_by is not None and index < len(self.parts) - 1:
                length, number = part.told_by
                at = number.at - short
                if at + number.size > len(raw):
                    return None
                moved = bytes(short) + raw  # the number stands `short` bytes further in the longest frame
                size = part.said(read_pieces(moved, number.pieces), length)
            else:
                size = part.size_of(len(raw) - (self.longest.size - short - part.area.size))
            if size is None:
                return None
            sizes[part.name] = size
            short += part.area.size - part.wire(size)
        return sizes if self.longest.size - short == len(raw) else None

    def frame(self, sizes: Mapping[str, int]) -> Frame | None:
        """The frame with parts of these lengths."""
        return self.planner.frame(self.text, self.path, Wanted(version=self.longest.version, sizes=sizes))


def varies(part: object) -> bool:
    """The part says that its length varies."""
    return (isinstance(part, DataPart) and part.shortest is not None) or (
        isinstance(part, GroupPart) and part.fewest is not None
    )


def plan_varying(
    name: str, message: Message, text: str, path: Path, planner: Planner, frame: Frame, layout_size: Mapping[str, int],
    fault: Fault,
) -> VaryingFrame | None:  # fmt: skip
    """What varies in a frame, or None: nothing does, or something is wrong (which is told)."""
    root: Path = (*("message", name), "parts")
    found: list[Varying] = []
    for area in frame.areas:
        part = message.parts.get(area.name)
        if isinstance(part, DataPart) and part.shortest is not None:
            size = layout_size[area.layout]
            step = part.unit if part.times == 1 else size
            if part.times > 1 and (part.shortest % size or part.shortest == 0):
                fault((*root, area.name, "shortest"), f"One program has {size} bytes.", "Write a multiple of that.")
                return None
            if part.shortest > area.raw_size or (area.raw_size - part.shortest) % step:
                fault(
                    (*root, area.name, "shortest"),
                    f"The data grows in steps of {step} bytes, but from {part.shortest} that does not lead to "
                    f"{area.raw_size}.",
                    "Change shortest, unit, or the size of the layout.",
                )
                return None
            found.append(Varying(area, part.shortest, area.raw_size, step))
        elif isinstance(part, GroupPart) and part.fewest is not None:
            if part.fewest > part.times:
                fault(
                    (*root, area.name, "fewest"),
                    f"At least {part.fewest} are more than at most {part.times}.",
                    "Exchange fewest and times.",
                )
                return None
            found.append(Varying(area, part.fewest, part.times, 1))
    told = [_told_by(each, message, frame) for each in found]
    for each, length in zip(found[:-1], told, strict=False):
        if length is None:
            fault(
                (*root, each.name),
                f"{each.name} varies in length and so does {found[-1].name}, but nothing before it says how long.",
                f'Name a length part before it: {{ is = "length", from = "{each.name}" }}.',
            )
            return None
    parts = tuple(
        Varying(each.area, each.least, each.most, each.step, length) for each, length in zip(found, told, strict=True)
    )
    return VaryingFrame(frame, parts, text, path, planner) if parts else None


def _told_by(each: Varying, message: Message, frame: Frame) -> tuple[LengthPart, Number] | None:
    for number in frame.numbers:
        part = message.parts.get(number.word)
        if (
            number.role == "length"
            and isinstance(part, LengthPart)
            and number.at < each.area.at
            and part.from_ == each.name
            and part.to in (None, each.name)
        ):
            return part, number
    return None


def nothing_else_varies(
    root: Path, message: Message, named: Sequence[str], top: Sequence[str], *, spread: bool, fault: Fault
) -> bool:
    """Only what stands in the frame itself can vary; False after telling otherwise."""
    for name in named:
        if varies(message.parts.get(name)) and (spread or name not in top):
            key = "shortest" if isinstance(message.parts.get(name), DataPart) else "fewest"
            where = "in a dump of several messages" if spread else "inside a group"
            fault(
                (*root, "parts", name, key), f"{name} varies in length {where}; that cannot be said.",
                "Describe its greatest length as a message of its own.",
            )  # fmt: skip
            return False
    return True
