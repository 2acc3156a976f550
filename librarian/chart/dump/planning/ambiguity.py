"""Messages of a chart that nobody could tell apart by their bytes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.plan import MessagePlan, Plan
from librarian.chart.dump.planning.plan_spread import SpreadPlan
from librarian.chart.dump.planning.segments import Constant, Frame, Masked, Number
from librarian.chart.dump.results import Form
from librarian.chart.dump.steps.number import Piece

_ALL = frozenset(range(256))
MOST_FRAMES = 512
MOST_COMPARED = 2_000_000
"""Ranges of addresses that are compared in one chart; a chart with more is not looked at further."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """One form of a message: the values that each byte can have, and what it says at length.

    `numbers`: of a single parameter, where in the message its number stands, and the numbers that exist.
    """

    message: str
    form: Form
    size: int | None
    bytes: tuple[frozenset[int], ...]
    addresses: Addresses | None = None
    numbers: tuple[tuple[Piece, ...], frozenset[int]] | None = None


def tell_apart(plan: Plan) -> None:
    """Notes every two forms that can look the same and mean something else."""
    kinds = [kind for kind, _ in zip(_kinds(plan), range(MOST_FRAMES), strict=False)]
    left = MOST_COMPARED
    for index, one in enumerate(kinds):
        for other in kinds[:index]:
            if one.addresses is not None and other.addresses is not None:
                left -= min(len(one.addresses.spans), len(other.addresses.spans))
                if left < 0:
                    continue
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
            addresses = _addresses_of(made)
            for frame in frames:
                at = addresses if any(number.role == "address" for number in frame.numbers) else None
                known = _bytes_of(frame)
                if made.varying.get(form):
                    first = min(part.area.at for each in made.varying[form] for part in each.parts)
                    yield _Kind(made.name, form, None, known[:first], at)
                else:
                    yield _Kind(made.name, form, frame.size, known, at)
        for form, spreads in made.spreads.items():
            if form == "write" and spreads is made.spreads.get("answer"):
                continue
            for spread in spreads:
                yield from _spread_kinds(made.name, form, spread)
        for form, single in made.singles.items():
            if single.addresses is not None or (form == "write" and "answer" in made.singles):
                continue  # a part of the range of another message, on purpose
            for width, frame in single.frames.items():
                exist = frozenset(each.number for each in single.parameters if each.width == width)
                number = next(each for each in frame.numbers if each.role == "parameter")
                numbers = (number.pieces, exist)
                yield _Kind(made.name, form, frame.size, _bytes_of(frame, exist), numbers=numbers)


def _addresses_of(made: MessagePlan) -> Addresses | None:
    """The ranges of addresses that a message covers, and so its requests."""
    cuttings = [each.cutting for several in made.spreads.values() for each in several]
    return next((each for each in cuttings if isinstance(each, Addresses)), None)


def _spread_kinds(name: str, form: Form, spread: SpreadPlan) -> Iterator[_Kind]:
    nominal = max(piece.size for piece in spread.cutting.pieces({}))
    frame = spread.frame(nominal)
    if frame is not None:
        header = min(area.at for area in frame.areas)
        addresses = spread.cutting if isinstance(spread.cutting, Addresses) else None
        yield _Kind(name, form, None, _bytes_of(frame)[:header], addresses)
    for around in (spread.begin, spread.end):
        if around is not None:
            yield _Kind(name, form, around.size, _bytes_of(around))


def _bytes_of(frame: Frame, parameters: frozenset[int] = frozenset()) -> tuple[frozenset[int], ...]:
    """For each byte the values it can have. `parameters`: the numbers of parameters that exist."""
    found: list[frozenset[int]] = [_ALL] * frame.size
    for segment in frame.segments:
        if isinstance(segment, Constant):
            for place, byte in enumerate(segment.data):
                found[segment.at + place] = frozenset((byte,))
        elif isinstance(segment, Masked):
            found[segment.at] &= frozenset(byte for byte in _ALL if byte & segment.mask == segment.value)
        elif isinstance(segment, Number):
            known = parameters if segment.role == "parameter" else frozenset()
            for piece in segment.pieces:
                mask, digits = (1 << piece.width) - 1, _digits_of(segment, piece, known)
                found[piece.at] &= frozenset(byte for byte in _ALL if byte >> piece.low & mask in digits)
    return tuple(found)


def _digits_of(number: Number, piece: Piece, known: frozenset[int]) -> frozenset[int]:
    """The values that one digit of a number can have."""
    mask = (1 << piece.width) - 1
    if known:
        return frozenset(each + number.plus >> piece.place & mask for each in known)
    low, high = number.low + number.plus, number.high + number.plus
    if number.fixed is not None:
        low = high = number.fixed + number.plus
    low, high = low >> piece.place, high >> piece.place
    if high - low >= mask:
        return frozenset(range(mask + 1))
    return frozenset(each & mask for each in range(low, high + 1))


def _alike(one: _Kind, other: _Kind) -> bool:
    if one.size is not None and other.size is not None and one.size != other.size:
        return False
    if any(not (mine & yours) for mine, yours in zip(one.bytes, other.bytes, strict=False)):
        return False
    if one.addresses is not None and other.addresses is not None:
        return one.addresses.meets(other.addresses)
    if one.numbers is not None and other.numbers is not None and one.numbers[0] == other.numbers[0]:
        return bool(one.numbers[1] & other.numbers[1])
    return True
