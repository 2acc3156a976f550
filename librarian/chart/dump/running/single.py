"""Messages that carry a single parameter, compiled: value to message, message to value."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.planning.cutting import Addresses
from librarian.chart.dump.planning.plan_single import SingleParameter, SinglePlan
from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.planning.segments import Number
from librarian.chart.dump.refusal import DumpRefused, NotStorable
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
        self._by_number = {(each.number, each.width): each for each in plan.parameters}
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
        return self._parameter(found[0], found[1], raw, address) is not None

    def _parameter(self, width: int, frame: FrameCodec, raw: bytes, address: Address | None) -> SingleParameter | None:
        for number in frame.numbers:
            if number.role == "parameter":
                return self._by_number.get((frame.number(raw, number), width))
            if number.role == "address" and self._addresses is not None:
                at = {"#address": frame.number(raw, number)}
                if address is not None and self._addresses.slots(at).get(CHANNEL, address.channel) != address.channel:
                    return None
                offset = self._addresses.place(at, 1, 0)
                widths = self.frames if self._value[width] is None else (width,)  # a request fits any width
                found = (self._by_number.get((offset, each)) for each in widths if offset is not None)
                return next((each for each in found if each is not None), None)
        return None

    def read(self, raw: bytes, address: Address | None) -> tuple[str, int, dict[str, int]]:
        """Parameter, value and the other numbers of the message. Raises `DumpRefused`."""
        found = self.frame_of(raw)
        if found is None:
            raise DumpRefused("too short", f"No {self.message} message has {len(raw)} bytes.")
        width, frame = found
        content = Content()
        frame.read(raw, address, content)
        each = self._parameter(width, frame, raw, address)
        if each is None:
            raise DumpRefused("out of range", "The message is for a parameter that the chart does not know.")
        value = self._stored_value(each, content, width) if width else each.coding.decode(content.slots["#value"])
        if value is None or not each.low <= value <= each.high:
            raise DumpRefused(
                "out of range",
                f"The value of {each.id} in the message is none of its values ({each.low} to {each.high}).",
            )
        slots = {word: number for word, number in content.slots.items() if word[0] != "#"}
        if self._addresses is not None:
            slots |= {word: number for word, number in self._addresses.slots(content.slots).items() if word != CHANNEL}
        return each.id, value, slots

    def _stored_value(self, each: SingleParameter, content: Content, width: int) -> int | None:
        if self._layout is None:
            return None
        field = self._layout.fields[each.id]
        image = bytearray(self._layout.size)
        word = self._value[width].word if self._value[width] is not None else ""  # type: ignore[union-attr]
        image[field.first : field.first + width] = content.images[(word, 0)]
        return field.coding.decode(read_pieces(image, field.pieces))

    def write(self, parameter: str, value: int | None, address: Address, slots: Mapping[str, int]) -> bytes:
        """The message for one parameter; `value` None where the frame has none (a request)."""
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
                field = self._layout.fields[parameter]
                image = bytearray(self._layout.size)
                write_pieces(image, field.pieces, field.coding.encode(value))
                content.images[(number.word, 0)] = bytes(image[field.first : field.first + each.width])
            else:
                content.slots["#value"] = each.coding.encode(value)
        for number_of in frame.numbers:
            if number_of.role == "slot":
                content.slots.setdefault(number_of.word, number_of.low)
        return frame.write(content, address, None)


def _value_of(frame: FrameCodec) -> Number | None:
    return next((number for number in frame.numbers if number.role == "value"), None)
