"""Lengths and checksums of a frame: which bytes they cover, in which order they are computed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from librarian.chart.dump.model import ChecksumPart, LengthPart
from librarian.chart.dump.planning.places import Path
from librarian.chart.dump.planning.segments import Area, Number, Segment, Sum
from librarian.chart.dump.steps.checksum import Rule
from librarian.chart.dump.steps.number import pieces_of_digits
from librarian.chart.nearest import nearest

Fault = Callable[[Path, str, str], None]
Later = tuple[str, LengthPart | ChecksumPart, int, int]


def lengths_and_sums(
    later: list[Later],
    segments: list[Segment],
    ranges: Mapping[str, tuple[int, int]],
    size: int,
    eight: bool,
    depth: int,
    path_of: Callable[[str], Path],
    fault: Fault,
    totals: Mapping[str, tuple[int, int]],
) -> bool:
    """Appends the segments of the length and checksum parts, now that every place is known; False after a fault.

    `totals`: bytes on the wire and unpacked of data that other messages carry (frames around numbered packets).
    """
    areas = [each for each in segments if isinstance(each, Area)]
    sound = True
    sums: list[Sum] = []
    for name, part, at, width in later:
        path = path_of(name)
        digit = (8 if eight else 7) if part.digit is None else part.digit
        if digit == 8 and not eight:
            fault((*path, "digit"), "8 bits do not fit a byte of the message.", "Use 7, or 4 for nibbles.")
            sound = False
            continue
        if isinstance(part, LengthPart) and part.from_ in totals and part.from_ not in ranges:
            count = totals[str(part.from_)][part.view == "unpacked"]
            sound &= _length(name, at, width, part, count, segments, path, fault)
            continue
        covered = _covered(part, at, ranges, size, depth, areas, path, fault)
        if covered is None:
            sound = False
            continue
        first, end = covered
        if part.view == "unpacked" and any(
            area.at < end < area.at + area.size or area.at < first < area.at + area.size for area in areas
        ):
            fault(path, "The range cuts through packed data.", "Let it begin and end with whole parts.")
            sound = False
            continue
        if isinstance(part, ChecksumPart):
            rule = _rule(part, path, fault)
            if rule is None:
                sound = False
                continue
            pieces = pieces_of_digits(at, width, part.order, digit, 0, part.bits - 1)
            sums.append(Sum(name, at, width, pieces, rule, first, end, part.view == "unpacked", part.or_))
            continue
        count = _count(first, end, areas, part.view == "unpacked")
        sound &= _length(name, at, width, part, count, segments, path, fault)
    ordered = _in_order(sums, path_of, fault)
    if ordered is None:
        return False
    segments += ordered
    return sound


def _rule(part: ChecksumPart, path: Path, fault: Fault) -> Rule | None:
    """How the checksum is made, or None after telling what is wrong."""
    if part.kind == "crc" and part.polynomial is None:
        fault((*path, "polynomial"), "A CRC needs its polynomial.", "Write it, e.g. polynomial = 0x1021.")
        return None
    if part.kind != "crc" and (part.polynomial is not None or part.reflected_in or part.reflected_out):
        key = "polynomial" if part.polynomial is not None else "reflected_in" if part.reflected_in else "reflected_out"
        sentence = f"`{key}` belongs to a CRC, but this is {part.kind}."
        fault((*path, key), sentence, 'Write kind = "crc", or take it away.')
        return None
    for key, value in (("polynomial", part.polynomial or 0), ("final", part.final), ("or", part.or_ or 0)):
        if value >> part.bits:
            fault(
                (*path, key),
                f"The {key} {value:X} (hexadecimal) needs more than the {part.bits} bits of the checksum.",
                "Write more bits; a polynomial is written without its highest term.",
            )
            return None
    return Rule(
        part.kind, part.bits, part.start, part.final, part.polynomial or 0, part.reflected_in, part.reflected_out
    )


def _length(
    name: str, at: int, width: int, part: LengthPart, count: int, segments: list[Segment], path: Path, fault: Fault
) -> bool:
    pieces = pieces_of_digits(at, width, part.order, part.digit, 0, width * part.digit - 1)
    if count % part.unit:
        fault(
            (*path, "unit"),
            f"The range has {count} bytes, which is no whole number of units of {part.unit} bytes.",
            "Change unit, or the range.",
        )
        return False
    count = count // part.unit + part.plus
    if count < 0 or count >> (width * part.digit):
        fault(
            path,
            f"The length is {count}, which does not fit {width} bytes of {part.digit} bits.",
            "Give it more bytes.",
        )
        return False
    segments.append(Number("length", name, at, width, pieces, 0, count, count, count))
    return True


def _count(first: int, end: int, areas: list[Area], unpacked: bool) -> int:
    if not unpacked:
        return end - first
    return end - first + sum(area.raw_size * area.units - area.size for area in areas if first <= area.at < end)


def _covered(
    part: LengthPart | ChecksumPart, at: int, ranges: Mapping[str, tuple[int, int]], size: int, depth: int,
    areas: list[Area], path: Path, fault: Fault,
) -> tuple[int, int] | None:  # fmt: skip
    first: int | None
    end: int | None
    if isinstance(part, LengthPart) and part.from_ is None:
        if len(areas) != 1:
            fault(path, "What is counted is not said.", 'Write from = "PART" (and to = "PART").')
            return None
        first = areas[0].at
    else:
        first = _edge(part.from_, ranges, size, (*path, "from"), 0, 0 if depth else 1, fault)
    otherwise = at
    if isinstance(part, LengthPart):
        from_end = ranges.get(part.from_, (0, 0))[1] if isinstance(part.from_, str) else None
        otherwise = areas[0].at + areas[0].size if part.from_ is None else from_end if from_end is not None else at
    end = _edge(part.to, ranges, size, (*path, "to"), 1, otherwise, fault)
    if first is None or end is None:
        return None
    if first > end or (first == end and all(area.size for area in areas)):  # data that varies may be empty
        fault(path, "The range ends before it begins.", "Exchange from and to.")
        return None
    return first, end


def _edge(
    word: str | int | None, ranges: Mapping[str, tuple[int, int]], size: int, path: Path, side: int, otherwise: int,
    fault: Fault,
) -> int | None:  # fmt: skip
    """One end of a range as an offset; `side` 0: beginning, 1: end (exclusive). Bytes count from 1 in a chart."""
    if word is None:
        return otherwise
    if isinstance(word, int):
        if not 1 <= word <= size:
            fault(path, f"Byte {word} is outside the frame, which has bytes 1 to {size}.", "Name a part instead.")
            return None
        return word - 1 + side
    if word in ranges:
        return ranges[word][side]
    near = nearest(word, ranges)
    fault(
        path,
        f"The range names {word}, which is no part of the same frame.",
        f"Did you mean {near}?" if near else f"Its parts are: {', '.join(ranges)}.",
    )
    return None


def _in_order(sums: list[Sum], path_of: Callable[[str], Path], fault: Fault) -> list[Sum] | None:
    """Sums so that each comes after those that it covers; None if one covers itself, directly or in a circle."""
    waiting, ordered = list(sums), list[Sum]()
    while waiting:
        free = [
            each
            for each in waiting
            if not any(each.first < other.at + other.size and other.at < each.end for other in waiting)
        ]
        if not free:
            for each in waiting:
                fault(
                    path_of(each.name),
                    f"The checksum {each.name} covers itself, or one that covers it.",
                    "End its range before it.",
                )
            return None
        ordered += free
        waiting = [each for each in waiting if each not in free]
    return ordered
