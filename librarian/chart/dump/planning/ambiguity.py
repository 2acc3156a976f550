"""Messages of a chart that nobody could tell apart by their bytes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.plan import Plan
from librarian.chart.dump.planning.plan_spread import SpreadPlan
from librarian.chart.dump.planning.planner import Wanted
from librarian.chart.dump.planning.segments import Constant, Frame, Masked, Number
from librarian.chart.dump.results import Form

_ALL = frozenset(range(256))
MOST_FRAMES = 512


@dataclass(frozen=True, slots=True)
class _Kind:
    """One form of a message: the values that each byte can have, and what it says at length."""

    message: str
    form: Form
    size: int | None
    bytes: tuple[frozenset[int], ...]
    addresses: Addresses | None = None


def tell_apart(plan: Plan) -> None:
    """Notes every two forms that can look the same and mean something else."""
    kinds = [kind for kind, _ in zip(_kinds(plan), range(MOST_FRAMES), strict=False)]
    for index, one in enumerate(kinds):
        for other in kinds[:index]:
            if one.message == other.message and (one.form != "request") == (other.form != "request"):
                continue  # answer and write of one message: the same contents
            if _alike(one, other):
                plan.fault(
                    ("message", one.message, one.form),
                    f"The {one.form} of {one.message} cannot be told from the {other.form} of {other.message}.",
                    "Check the constant bytes of the two, and the ranges of their numbers.",
                )


def _kinds(plan: Plan) -> Iterator[_Kind]:
    for made in plan.messages.values():
        for form, frames in made.frames.items():
            if form == "write" and frames is made.frames.get("answer"):
                continue
            for frame in frames:
                yield _Kind(made.name, form, frame.size, _bytes_of(frame))
        for form, spread in made.spreads.items():
            if form == "write" and spread is made.spreads.get("answer"):
                continue
            yield from _spread_kinds(made.name, form, spread)
        for form, single in made.singles.items():
            if single.addresses is not None or (form == "write" and "answer" in made.singles):
                continue  # a part of the range of another message, on purpose
            for frame in single.frames.values():
                yield _Kind(made.name, form, frame.size, _bytes_of(frame))


def _spread_kinds(name: str, form: Form, spread: SpreadPlan) -> Iterator[_Kind]:
    nominal = max(piece.size for piece in spread.cutting.pieces({}))
    frame = spread.planner.frame(spread.text, spread.path, Wanted(open_size=nominal))
    if frame is not None:
        header = min(area.at for area in frame.areas)
        addresses = spread.cutting if isinstance(spread.cutting, Addresses) else None
        yield _Kind(name, form, None, _bytes_of(frame)[:header], addresses)
    for around in (spread.begin, spread.end):
        if around is not None:
            yield _Kind(name, form, around.size, _bytes_of(around))


def _bytes_of(frame: Frame) -> tuple[frozenset[int], ...]:
    """For each byte the values it can have."""
    found: list[frozenset[int]] = [_ALL] * frame.size
    for segment in frame.segments:
        if isinstance(segment, Constant):
            for place, byte in enumerate(segment.data):
                found[segment.at + place] = frozenset((byte,))
        elif isinstance(segment, Masked):
            found[segment.at] &= frozenset(byte for byte in _ALL if byte & segment.mask == segment.value)
        elif isinstance(segment, Number) and len(segment.pieces) == 1:
            piece = segment.pieces[0]
            low, high = segment.low + segment.plus, segment.high + segment.plus
            if segment.fixed is not None:
                low = high = segment.fixed + segment.plus
            mask = (1 << piece.width) - 1
            found[piece.at] &= frozenset(byte for byte in _ALL if low <= (byte >> piece.low & mask) <= high)
    return tuple(found)


def _alike(one: _Kind, other: _Kind) -> bool:
    if one.size is not None and other.size is not None and one.size != other.size:
        return False
    if any(not (mine & yours) for mine, yours in zip(one.bytes, other.bytes, strict=False)):
        return False
    if one.addresses is not None and other.addresses is not None:
        return one.addresses.meets(other.addresses)
    return True
