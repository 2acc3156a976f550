"""From exact values to numbers on the wire and back: direct, scaled, stepped, top bits, centred."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from librarian.chart.language.parameters import BindingTable, Kind


@dataclass(frozen=True, slots=True)
class Mapping:
    """Compiled once. `to_wire` takes any value of the range; `from_wire` any number of the wire's width.

    `from_wire` gives None for a number that means no value. `exact`: every value comes back as it went.
    """

    to_wire: Callable[[int], int]
    from_wire: Callable[[int], int | None]
    exact: bool


class Misfit(ValueError):  # noqa: N818 - a misfit is what it is
    """A mapping that the range does not allow. `remedy`: what to write instead; `key`: which key is to blame."""

    def __init__(self, sentence: str, remedy: str = "", key: str = "") -> None:
        super().__init__(sentence)
        self.remedy = remedy
        self.key = key


def build_mapping(binding: BindingTable, kind: Kind, low: int, high: int, bits: int) -> Mapping:
    """The mapping of a binding whose wire carries `bits` bits, for values `low` to `high`. Raises Misfit."""
    top = (1 << bits) - 1
    first, last = binding.wire if binding.wire is not None else (0, top)
    if last > top:
        raise Misfit(f"wire goes up to {last}, but {bits} bits carry 0 to {top}", f"End it at {top} or below.", "wire")
    name = binding.map
    if name is None:
        stepped = binding.values is not None or (kind == "switch" and binding.offset is None)
        name = "stepped" if stepped else "direct"
    if name == "direct":
        mapping = _direct(binding, low, high, first, last)
    elif name == "scaled":
        mapping = _scaled(low, high, first, last)
    elif name == "stepped":
        mapping = _stepped(binding, low, high, first, last)
    elif name == "top_bits":
        mapping = _top_bits(low, high, bits)
    else:
        mapping = _centred(low, high, bits)
    if not binding.inverted:
        return mapping
    flip = first + last
    return Mapping(
        lambda value: flip - mapping.to_wire(value),
        lambda wire: mapping.from_wire(flip - wire) if first <= wire <= last else None,
        mapping.exact,
    )


def _direct(binding: BindingTable, low: int, high: int, first: int, last: int) -> Mapping:
    offset = binding.offset if binding.offset is not None else 0
    if low + offset < first or high + offset > last:
        fits = high - low <= last - first
        remedy = (
            f"Write offset = {first - low} to send it as {first} to {first + high - low}."
            if fits
            else ("Use cc14 or nrpn with 14 bits, or write map = “scaled” or “top_bits”.")
        )
        raise Misfit(
            f"the range {low} to {high} becomes {low + offset} to {high + offset} on the wire, "
            f"which carries {first} to {last}",
            remedy,
            "offset" if binding.offset is not None else "",
        )
    below, above = low + offset, high + offset
    return Mapping(lambda value: value + offset, lambda wire: wire - offset if below <= wire <= above else None, True)


def _scaled(low: int, high: int, first: int, last: int) -> Mapping:
    values, wires = high - low, last - first
    if values == 0:
        return Mapping(lambda _: first, lambda _: low, True)

    # Half up with whole numbers: no float, the same in both directions.
    def to_wire(value: int) -> int:
        return first + (2 * (value - low) * wires + values) // (2 * values)

    def from_wire(wire: int) -> int | None:
        if not first <= wire <= last:
            return None
        return low + (2 * (wire - first) * values + wires) // (2 * wires)

    return Mapping(to_wire, from_wire, values <= wires)


def _stepped(binding: BindingTable, low: int, high: int, first: int, last: int) -> Mapping:
    count, width = high - low + 1, last - first + 1
    if count > width:
        raise Misfit(f"{count} positions do not fit into {width} numbers", "Use cc14 or nrpn with 14 bits.", "map")
    if binding.values is None:
        return _bins(binding, low, count, first, width)
    values = binding.values
    if len(values) != count:
        raise Misfit(f"{len(values)} values for {count} positions", "Give one number for each position.", "values")
    if len(set(values)) != len(values):
        raise Misfit("two positions have the same number in values", "Give each its own.", "values")
    outside = [value for value in values if not first <= value <= last]
    if outside:
        raise Misfit(f"{outside[0]} in values is outside {first} to {last}", "Correct it, or wire.", "values")
    heard = _heard_by_bounds(binding.bounds, count) if binding.bounds is not None else _heard_nearest(values)
    exact = all(heard(value) == index for index, value in enumerate(values))
    if not exact:
        raise Misfit(
            "a number in values lies outside its own bounds, so it would be heard as another position",
            "Give bounds that hold the values.",
            "bounds",
        )
    return Mapping(lambda value: values[value - low], lambda wire: _plus(heard(wire), low), True)


def _bins(binding: BindingTable, low: int, count: int, first: int, width: int) -> Mapping:
    """Equal bins; the middle of the bin is sent, for two positions the ends (M2-115 section 5)."""

    def to_wire(value: int) -> int:
        k = value - low
        if count == 2:
            return first + k * (width - 1)
        return first + min((width * k + count - 1) // count + width // (2 * count), width - 1)

    if binding.bounds is None:
        return Mapping(
            to_wire,
            lambda wire: low + (wire - first) * count // width if first <= wire < first + width else None,
            all((to_wire(low + k) - first) * count // width == k for k in range(count)),
        )
    bounds = binding.bounds
    heard = _heard_by_bounds(bounds, count)
    ends = [*bounds[1:], first + width]
    middles = [(start + end - 1) // 2 for start, end in zip(bounds, ends, strict=True)]
    return Mapping(lambda value: middles[value - low], lambda wire: _plus(heard(wire), low), True)


def _heard_by_bounds(bounds: list[int], count: int) -> Callable[[int], int | None]:
    if len(bounds) != count:
        raise Misfit(f"{len(bounds)} bounds for {count} positions", "Give the lowest number of each.", "bounds")
    if any(b <= a for a, b in pairwise(bounds)):
        raise Misfit("the bounds do not rise", "Give the lowest number of each position, rising.", "bounds")
    return lambda wire: bisect_right(bounds, wire) - 1 if wire >= bounds[0] else None


def _heard_nearest(values: list[int]) -> Callable[[int], int | None]:
    ordered = sorted((value, index) for index, value in enumerate(values))
    numbers = [value for value, _ in ordered]

    def heard(wire: int) -> int:
        right = min(bisect_right(numbers, wire), len(numbers) - 1)
        left = max(right - 1, 0)
        best = left if wire - numbers[left] <= abs(numbers[right] - wire) else right
        return ordered[best][1]

    return heard


def _plus(index: int | None, low: int) -> int | None:
    return None if index is None else index + low


def _whole_bits(low: int, high: int, name: str) -> int:
    bits = high.bit_length()
    if low != 0 or high != (1 << bits) - 1 or bits == 0:
        raise Misfit(
            f"map = “{name}” needs a range of whole bits, such as [0, 1023]; this one is {low} to {high}",
            "Use map = “scaled”.",
            "map",
        )
    return bits


def _top_bits(low: int, high: int, bits: int) -> Mapping:
    shift = _whole_bits(low, high, "top_bits") - bits
    if shift <= 0:  # a narrow value sits in the top bits of the wire
        up = -shift
        return Mapping(lambda value: value << up, lambda wire: wire >> up, True)
    return Mapping(lambda value: value >> shift, lambda wire: wire << shift, False)


def _centred(low: int, high: int, bits: int) -> Mapping:
    own = _whole_bits(low, high, "centred")
    if own <= bits:
        return Mapping(lambda value: scale_up(value, own, bits), lambda wire: wire >> (bits - own), True)
    return Mapping(lambda value: value >> (own - bits), lambda wire: scale_up(wire, bits, own), False)


def scale_up(value: int, source: int, target: int) -> int:
    """Min-centre-max bit scaling (M2-115 3.2-3.4): 0, centre and top keep their place. `source`, `target`: bits."""
    shift = target - source
    scaled = value << shift
    if source == 1:
        return ((1 << target) - 1) if value else 0
    if value <= 1 << (source - 1):
        return scaled
    repeat_bits = source - 1
    repeat = value & ((1 << repeat_bits) - 1)
    if shift > repeat_bits:
        repeat <<= shift - repeat_bits
    else:
        repeat >>= repeat_bits - shift
    while repeat:
        scaled |= repeat
        repeat >>= repeat_bits
    return scaled
