"""Messages that carry a single parameter, compiled: value to message, message to value."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.plan_single import SingleParameter, SinglePlan
from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.planning.segments import Number
from librarian.chart.dump.refusal import DumpRefused, NotStorable, UnknownValues
from librarian.chart.dump.results import Form
from librarian.chart.dump.running.frame import Content, FrameCodec
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.steps.number import read_pieces, write_pieces
from librarian.messages import Address


class SingleForm:
    """One form of a single-parameter message."""

    def __init__(self, message: str, plan: SinglePlan, layout: LayoutCodec | None) -> None:
        self.message = message
        self.form: Form = plan.form
        self.frames = {width: FrameCodec(frame, {}) for width, frame in plan.frames.items()}
        self.parameters: Mapping[str, SingleParameter] = {each.id: each for each in plan.parameters}
        self._by_number: dict[tuple[int, int], tuple[SingleParameter, ...]] = {}
        for each in plan.parameters:  # several where they share the bytes of the value
            key = (each.number, each.width)
            self._by_number[key] = (*self._by_number.get(key, ()), each)
        self._addresses: Addresses | None = plan.addresses
        self._layout = layout
        self._value = {width: _value_of(frame) for width, frame in self.frames.items()}

    def frame_of(self, raw: bytes) -> tuple[int, FrameCodec] | None:
        """The frame with the length of `raw`, and the width of its value."""
        return next(((width, frame) for width, frame in self.frames.items() if frame.size == len(raw)), None)

    def fits(self, raw: bytes, address: Address | None) -> bool:
        """`raw` is such a message, for this address, and of a parameter of the chart."""
        found = self.frame_of(raw)
        if (
            found is None
            or not found[1].begins(raw)
            or (address is not None and not found[1].device_fits(raw, address))
        ):
            return False
        return bool(self._meant(found[0], found[1], raw, address))

    def _meant(self, width: int, frame: FrameCodec, raw: bytes, address: Address | None) -> tuple[SingleParameter, ...]:
        for number in frame.numbers:
            if number.role == "parameter":
                return self._by_number.get((frame.number(raw, number), width), ())
            if number.role == "address" and self._addresses is not None:
                at = {"#address": frame.number(raw, number)}
                if address is not None and self._addresses.slots(at).get(CHANNEL, address.channel) != address.channel:
                    return ()
                offset = self._addresses.place(at, 1, 0)
                widths = self.frames if self._value[width] is None else (width,)  # a request fits any width
                found = (self._by_number.get((offset, each), ()) for each in widths if offset is not None)
                return next((each for each in found if each), ())
        return ()

    def read(self, raw: bytes, address: Address | None) -> tuple[dict[str, int], dict[str, int]]:
        """Values (of one parameter, or of all that share its bytes) and other numbers. Raises `DumpRefused`."""
        found = self.frame_of(raw)
        if found is None:
            raise DumpRefused("too short", f"No {self.message} message has {len(raw)} bytes.")
        width, frame = found
        content = Content()
        frame.read(raw, address, content)
        meant = self._meant(width, frame, raw, address)
        if not meant:
            raise DumpRefused("out of range", "The message is for a parameter that the chart does not know.")
        values: dict[str, int] = {}
        for each in meant:
            value = self._stored_value(each, content, width) if width else each.coding.decode(content.slots["#value"])
            if value is not None and each.low <= value <= each.high:
                values[each.id] = value
            elif len(meant) == 1:
                raise DumpRefused(
                    "out of range",
                    f"The value of {each.id} in the message is none of its values ({each.low} to {each.high}).",
                )
        slots = {word: number for word, number in content.slots.items() if word[0] != "#"}
        if self._addresses is not None:
            slots |= {word: number for word, number in self._addresses.slots(content.slots).items() if word != CHANNEL}
        return values, slots

    def _stored_value(self, each: SingleParameter, content: Content, width: int) -> int | None:
        if self._layout is None:
            return None
        field = self._layout.fields[each.id]
        image = bytearray(self._layout.size)
        word = self._value[width].word if self._value[width] is not None else ""  # type: ignore[union-attr]
        image[field.first : field.first + width] = content.images[(word, 0)]
        return field.coding.decode(read_pieces(image, field.pieces))

    def write(
        self, parameter: str, value: int | None, address: Address, slots: Mapping[str, int],
        others: Mapping[str, int] | None = None,
    ) -> bytes:  # fmt: skip
        """The message for one parameter; `value` None where the frame has none (a request).

        `others`: values of those that share its bytes. Raises `UnknownValues` where one of them is not known.
        """
        each = self.parameters[parameter]
        frame = self.frames[each.width]
        content = Content(dict(slots))
        if self._addresses is not None:
            at = self._addresses.address_of(each.number, max(each.width, 1), {**slots, CHANNEL: address.channel})
            content.slots["#address"] = at if at is not None else 0
            content.slots["#size"] = content.slots["#wire_size"] = each.width
        else:
            content.slots["#parameter"] = each.number
        if value is not None:
            if not each.low <= value <= each.high:
                raise NotStorable(parameter, value, each.low, each.high)
            number = self._value[each.width]
            if each.width and number is not None and self._layout is not None:
                content.images[(number.word, 0)] = self._stored_bytes(each, {**(others or {}), parameter: value})
            else:
                content.slots["#value"] = each.coding.encode(value)
        for number_of in frame.numbers:
            if number_of.role == "slot":
                content.slots.setdefault(number_of.word, number_of.low)
        return frame.write(content, address, None)

    def _stored_bytes(self, each: SingleParameter, values: Mapping[str, int]) -> bytes:
        """The bytes of a parameter as the layout stores them, with all that share them."""
        if self._layout is None:
            return b""
        sharing = self._by_number[(each.number, each.width)]
        missing = tuple(other.id for other in sharing if other.id not in values)
        if missing:
            raise UnknownValues(missing)
        image = bytearray(self._layout.blank)
        for other in sharing:
            if not other.low <= values[other.id] <= other.high:
                raise NotStorable(other.id, values[other.id], other.low, other.high)
            field = self._layout.fields[other.id]
            write_pieces(image, field.pieces, field.coding.encode(values[other.id]))
        first = self._layout.fields[each.id].first
        return bytes(image[first : first + each.width])


def _value_of(frame: FrameCodec) -> Number | None:
    return next((number for number in frame.numbers if number.role == "value"), None)
