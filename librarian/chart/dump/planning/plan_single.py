"""Plans messages that carry a single parameter: its number or address, and its value."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from librarian.chart.dump.model import AddressPart, Message, ParameterPart, ValuePart
from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.places import Path, PlacedField, Places
from librarian.chart.dump.planning.planner import Planner, Wanted
from librarian.chart.dump.planning.segments import Frame
from librarian.chart.dump.results import Form
from librarian.chart.dump.specs import ParameterSpec
from librarian.chart.dump.steps.number import Coding
from librarian.chart.nearest import nearest

Fault = Callable[[Path, str, str], None]


@dataclass(frozen=True, slots=True)
class SingleParameter:
    """How one parameter travels alone, or with those that share its bytes (the same number and width).

    `number`: parameter number, or offset in the stream where it has an address.

    `width`: bytes of a value that travels as the layout stores it, 0 where it travels as one number.
    """

    id: str
    number: int
    coding: Coding
    low: int
    high: int
    width: int = 0


@dataclass(frozen=True, slots=True)
class SinglePlan:
    """One form. `frames`: width of the value -> frame. `addresses`: of the message that gives them, else None."""

    form: Form
    frames: Mapping[int, Frame]
    parameters: tuple[SingleParameter, ...]
    addresses: Addresses | None
    layout: str


def plan_single(
    name: str, message: Message, form: Form, text: str, named: list[str], planner: Planner,
    places: Mapping[str, Places], parameters: Mapping[str, ParameterSpec], addresses: Addresses | None, fault: Fault,
) -> SinglePlan | None:  # fmt: skip
    """The plan of a form, or None after telling what is wrong. `addresses`: where `of` leads."""
    root: Path = ("message", name)
    parts = [message.parts.get(word) for word in named]
    # a request carries no value, but is for the same parameters
    carried = parts if form != "request" else [*parts, *message.parts.values()]
    value = next((part for part in carried if isinstance(part, ValuePart)), None)
    addressed = any(isinstance(part, AddressPart) for part in parts)
    if not addressed and not any(isinstance(part, ParameterPart) for part in parts):
        fault(
            (*root, form), "The frame does not say which parameter is meant.",
            'Add parts.parameter = { is = "parameter" } or an address, and name it in the frame.',
        )  # fmt: skip
        return None
    if value is None:
        fault((*root, form), "The frame has no value.", 'Add parts.value = { is = "value" } and name it in the frame.')
        return None
    if addressed and message.of is None:
        fault(
            root, "The message has an address, but nothing says which parameter lies where.",
            'Write of = "MESSAGE", a message with blocks of addresses.',
        )  # fmt: skip
        return None
    if (message.layout is None) == (not message.numbers) and not addressed:
        fault(
            root, "Where the numbers of the parameters come from is not said, or said twice.",
            'Write numbers = { "filter.cutoff" = 12, ... }, or layout = "NAME" with `numbering`.',
        )  # fmt: skip
        return None
    if message.layout is not None and message.layout not in places:
        near = nearest(message.layout, places)
        remedy = f"Did you mean {near}?" if near else f"Add [layout.{message.layout}]."
        fault((*root, "layout"), f"There is no layout named {message.layout}.", remedy)
        return None
    own = places[message.layout] if message.layout is not None else None
    if addressed:
        if addresses is None or own is None:
            fault(
                root, "The message has an address, but nothing says which parameter lies where.",
                'Write layout = "NAME" and of = "MESSAGE", a message with blocks of addresses.',
            )  # fmt: skip
            return None
        singles = _stored(own, addresses)
        layout = message.layout or ""
    elif own is None:
        capacity = value.bytes * value.digit if value is not None else 7
        found = _numbered(root, message, value, capacity, parameters, fault)
        if found is None:
            return None
        singles, layout = found, ""
    else:
        laid = _laid_out(root, message, value, own, fault)
        if laid is None:
            return None
        singles, layout = laid, message.layout or ""
    frames: dict[int, Frame] = {}
    for width in sorted({each.width for each in singles}):
        frame = planner.frame(text, (*root, form), Wanted(value_size=width or None, stored=width > 0))
        if frame is None:
            return None
        frames[width] = frame
    return SinglePlan(form, frames, tuple(singles), addresses if addressed else None, layout)


def _stored(places: Places, addresses: Addresses) -> list[SingleParameter]:
    """Fields that have bytes of their own within one block (or share all of them): their bytes are the value."""
    owners: dict[int, set[tuple[int, int]]] = {}
    for each in places.fields:
        for piece in each.pieces:
            owners.setdefault(piece.at, set()).add((each.first, each.width))
    for character in places.name.characters if places.name is not None else ():
        for piece in character:
            owners.setdefault(piece.at, set()).add((0, 0))
    return [
        SingleParameter(each.id, each.first, each.coding, each.low, each.high, each.width)
        for each in places.fields
        if each.width
        and all(
            owners.get(at, set()) <= {(each.first, each.width)} for at in range(each.first, each.first + each.width)
        )
        and addresses.address_of(each.first, each.width, {}) is not None
    ]


def _numbered(
    root: Path, message: Message, value: ValuePart | None, bits: int, parameters: Mapping[str, ParameterSpec],
    fault: Fault,
) -> list[SingleParameter] | None:  # fmt: skip
    singles: list[SingleParameter] = []
    if value is not None and value.stored:
        fault((*root, "parts"), "A value is `stored` only where a layout says how.", "Take `stored` away.")
        return None
    if bits > 32:
        fault((*root, "parts"), f"The value has {bits} bits; a value has at most 32.", "Use fewer bytes.")
        return None
    coding = Coding(bits, value.coding or "plain", value.zero) if value is not None else Coding(bits)
    low, high = coding.limits()
    for identity, number in message.numbers.items():
        path = (*root, "numbers", identity)
        spec = parameters.get(identity)
        if spec is None:
            near = nearest(identity, parameters)
            fault(
                path,
                f"There is no parameter {identity}.",
                f"Did you mean {near}?" if near else "Write the id of a [[parameter]].",
            )
            continue
        if spec.low < low or spec.high > high:
            fault(
                path,
                f"{identity} runs from {spec.low} to {spec.high}, but the value holds {low} to {high}.",
                "Give the value more bytes, or a coding with a sign.",
            )
            continue
        singles.append(SingleParameter(identity, number, coding, spec.low, spec.high))
    return _distinct(root, "numbers", singles, fault)


def _laid_out(
    root: Path, message: Message, value: ValuePart | None, places: Places, fault: Fault
) -> list[SingleParameter] | None:
    singles: list[SingleParameter] = []
    for order, each in enumerate(places.fields):
        number = {"number": each.number, "offset": each.first if each.width else None, "order": order}[
            message.numbering
        ]
        if number is None:
            continue
        single = _in_layout(root, value, each, number, fault)
        if single is not None:
            singles.append(single)
    if not singles:
        fault(
            (*root, "numbering"),
            "No field of the layout has a number.",
            'Give the fields `number`, or write numbering = "offset" or "order".',
        )
        return None
    return _distinct(root, "numbering", singles, fault)


def _in_layout(
    root: Path, value: ValuePart | None, each: PlacedField, number: int, fault: Fault
) -> SingleParameter | None:
    if value is not None and value.stored:
        return SingleParameter(each.id, number, each.coding, each.low, each.high, each.width) if each.width else None
    bits = value.bytes * value.digit if value is not None else 7
    coding = each.coding
    if value is not None and value.coding is not None:
        coding = Coding(min(bits, 32), value.coding, value.zero)
        low, high = coding.limits()
        if each.low < low or each.high > high:
            fault(
                (*root, "parts"),
                f"{each.id} runs from {each.low} to {each.high}, but the value holds {low} to {high}.",
                "Give the value more bytes, or another coding.",
            )
            return None
    elif max(coding.encode(each.low), coding.encode(each.high), *(coding.codes or (0,))) >> bits:
        fault(
            (*root, "parts"),
            f"{each.id} is stored in {coding.bits} bits, but the value has {bits}.",
            "Give the value more bytes, or a coding of its own.",
        )
        return None
    return SingleParameter(each.id, number, coding, each.low, each.high)


def _distinct(root: Path, key: str, singles: list[SingleParameter], fault: Fault) -> list[SingleParameter] | None:
    seen: dict[int, SingleParameter] = {}
    for each in singles:
        before = seen.setdefault(each.number, each)
        if before is not each and not (each.width and each.width == before.width):  # else they share stored bytes
            fault(
                (*root, key),
                f"{each.id} and {before.id} have the same number {each.number}.",
                "Give each parameter a number of its own; where both stand in the value, write stored = true.",
            )
            return None
    return singles
