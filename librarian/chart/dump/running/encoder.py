"""Writing: values to the messages of a dump, over a dump that was received where there is one."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from librarian.chart.dump.results import Decoded, Form, ProgramSource
from librarian.chart.dump.running.decoder import Decoder
from librarian.chart.dump.running.frame import Cell, Content, FrameCodec, NotAddressable
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.message import FormCodec, MessageCodec
from librarian.chart.dump.running.parts import DataParts, Held
from librarian.chart.dump.running.spread import SpreadForm
from librarian.errors import BadInput
from librarian.messages import Address

Base = bytes | Sequence[bytes] | None


class _Before:
    """What a base dump offers for one program."""

    def __init__(self, parts: DataParts, images: Mapping[str, bytes], extra: Mapping[str, int]) -> None:
        self._parts = parts
        self._images = images
        self._extra = extra

    @cached_property
    def values(self) -> Mapping[str, int]:
        """The values, read only when they are needed."""
        return {**self._extra, **self._parts.read(self._images)[0]}

    def image(self, part: str, layout: LayoutCodec) -> bytes | None:
        """The bytes that stand behind a data part: of the same part, else of another with the same layout."""
        labels = self._parts.labels
        if labels.get(part) == layout.label and part in self._images:
            return self._images[part]
        return next((image for other, image in self._images.items() if labels.get(other) == layout.label), None)


@dataclass(frozen=True, slots=True)
class Wish:
    """What decides about the length of a dump that varies: known parameters, the name, the number of programs."""

    known: Collection[str] = ()
    name: str | None = None
    programs: int | None = None


_NOTHING = _Before(DataParts({}), {}, {})


class Encoder:
    """Writes the messages of one chart."""

    def __init__(
        self, messages: Mapping[str, MessageCodec], decoder: Decoder, find: Callable[[str], MessageCodec]
    ) -> None:
        self._messages = messages
        self._decoder = decoder
        self._find = find

    def encode(
        self,
        message: str,
        values: Mapping[str, int],
        address: Address,
        *,
        base: Base,
        base_program: int,
        name: str | None,
        form: Form,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        """See `DumpCodec.encode`."""
        codec = self._find(message)
        if form in codec.singles:
            single = codec.singles[form]
            raws = [
                single.write(parameter, values[parameter], address, slots, values)
                for parameter in single.parameters
                if parameter in values
            ]
            return tuple(dict.fromkeys(raws))  # those that share their bytes go once
        if codec.message.each is not None:
            raise BadInput(f"{message} is a bank of many messages.", "Encode it as a bank.")
        before = self._before(base)
        if codec.message.sequence is None:
            return self._one(codec, values, address, before, base_program, name, form, slots)
        several: list[bytes] = []
        for member in codec.message.sequence:
            held = before.members.get(member, before) if before is not None else None
            several += self._one(self._find(member), values, address, held, base_program, name, form, slots)
        return tuple(several)

    def _one(
        self,
        codec: MessageCodec,
        values: Mapping[str, int],
        address: Address,
        before: Held | None,
        base_program: int,
        name: str | None,
        form: Form,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        """One dump of one sound, over what is held."""
        message = codec.name
        offered = _offered(before, base_program)

        def fill(parts: DataParts) -> dict[Cell, bytes]:
            if parts.repeated:
                raise BadInput(f"The {message} message holds {parts.count} programs.", "Encode it as a bank.")
            return {
                (part, 0): _image(layout, offered.image(part, layout), values, name, offered)
                for part, layout in parts.layouts.items()
            }

        known = {**offered.values, **values} if codec.varies(form) else values
        return self._write(codec, form, fill, address, before, slots, Wish(known, name))

    def encode_bank(
        self,
        message: str,
        programs: Mapping[int, ProgramSource],
        address: Address,
        *,
        values: Mapping[str, int],
        base: Base,
        form: Form,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        """See `DumpCodec.encode_bank`."""
        codec = self._find(message)
        if codec.message.each is not None:
            return self._many(codec.message.each, programs, address, base, form, slots)
        before = self._before(base)
        sources = {number: (_offered(self._before(each.base), 0), each) for number, each in programs.items()}

        def fill(parts: DataParts) -> dict[Cell, bytes]:
            images: dict[Cell, bytes] = {}
            bank = before if before is not None and before.parts.repeated else None
            numbers = bank.numbers if bank is not None and bank.numbers else range(parts.count)
            for part in parts.once:
                layout = parts.layouts[part]
                once = _NOTHING if before is None else _Before(before.parts, before.once(), {})
                images[(part, 0)] = _image(layout, once.image(part, layout), values, None, once)
            for part in parts.repeated:
                layout = parts.layouts[part]
                for index, number in enumerate(numbers):
                    held = None if bank is None else _offered(bank, number).image(part, layout)
                    if number in sources:
                        offered, source = sources[number]
                        own = offered.image(part, layout)
                        image = own if own is not None else held
                        images[(part, index)] = _image(layout, image, source.values, source.name, offered)
                    elif held is None:
                        raise BadInput(
                            f"The {message} dump needs program {number}, and nothing says what it holds.",
                            "Read the bank first, or give every program.",
                        )
                    else:
                        images[(part, index)] = held
            return images

        return self._write(codec, form, fill, address, before, slots, Wish(programs=max(programs, default=-1) + 1))

    def _many(
        self,
        each: str,
        programs: Mapping[int, ProgramSource],
        address: Address,
        base: Base,
        form: Form,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        """A bank as one message for every program: those that are given, over those of a bank received."""
        received = {} if base is None else dict(enumerate((base,) if isinstance(base, bytes) else base))
        numbered: dict[int, bytes] = {}
        for order, raw in received.items():
            numbered[self._decoder.decode_all((raw,), None).slots.get("program", order)] = raw
        raws: list[bytes] = []
        for number in sorted({*numbered, *programs}):
            source = programs.get(number, ProgramSource({}))
            raws += self.encode(
                each,
                source.values,
                address,
                base=source.base if source.base is not None else numbered.get(number),
                base_program=0,
                name=source.name,
                form=form,
                slots={**slots, "program": number},
            )
        return tuple(raws)

    def extract(self, bank: Decoded, number: int, address: Address) -> tuple[str, tuple[bytes, ...]] | None:
        """See `DumpCodec.extract`."""
        program = next((each for each in bank.programs if each.number == number), None)
        if program is None:
            raise BadInput(f"The bank has no program {number}.", f"It has {len(bank.programs)}.")
        if program.raw:
            return self._find(bank.message).message.each or bank.message, (program.raw,)
        labels = {
            part: next(each for each in self._layouts() if each.label == label) for part, label in bank.layouts.items()
        }
        offered = _Before(DataParts({part: (layout, 1) for part, layout in labels.items()}), program.images, {})
        for kind in ("program", "edit buffer"):
            for codec in self._messages.values():
                if codec.message.kind != kind:
                    continue
                for form, version, parts in codec.shapes():
                    held = {(part, 0): offered.image(part, layout) for part, layout in parts.layouts.items()}
                    images = {cell: image for cell, image in held.items() if image is not None}
                    if held and len(images) == len(held) and not parts.repeated:
                        slots = {**bank.slots, "program": number}
                        if version is not None:
                            slots["version"] = version
                        return codec.name, self._write(codec, form, _ready(images), address, None, slots, Wish())
        return None

    # --- the steps all have in common ------------------------------------------------------------------------------

    def _layouts(self) -> Iterator[LayoutCodec]:
        for codec in self._messages.values():
            for _form, _version, parts in codec.shapes():
                yield from parts.layouts.values()

    def _before(self, base: Base) -> Held | None:
        if base is None:
            return None
        return self._decoder.hold((base,) if isinstance(base, bytes) else base, None)

    def _write(
        self,
        codec: MessageCodec,
        form: Form,
        fill: Callable[[DataParts], dict[Cell, bytes]],
        address: Address,
        before: Held | None,
        slots: Mapping[str, int],
        wish: Wish,
    ) -> tuple[bytes, ...]:
        numbers = dict(slots)
        if before is not None:
            numbers = {**{word: value for word, value in before.slots.items() if before.message == codec.name}, **slots}
        if form in codec.spreads:
            if codec.default_version is not None:
                numbers.setdefault("version", codec.default_version)
            spread = codec.spread_of(codec.spreads[form], numbers.get("version"))
            if spread is None:
                known = ", ".join(str(each.version) for each in codec.spreads[form])
                raise NotAddressable(
                    f"The {codec.name} dump has no version {numbers.get('version')}.", f"Choose one of {known}."
                )
            return self._write_spread(codec, spread, fill, address, before, numbers)
        if form not in codec.forms:
            what = {"request": "asked for", "answer": "received", "write": "written"}[form]
            raise BadInput(f"The chart does not say how {codec.name} is {what}.", "Use another way.")
        if codec.default_version is not None:
            numbers.setdefault("version", codec.default_version)
        base = before.raws[0] if before is not None and before.message == codec.name else None
        frame = _shaped(codec.forms[form], _frame_of_version(codec.forms[form], numbers), wish, base)
        content = Content(numbers, fill(codec.parts_of(frame)))
        if before is None or base is None or not _reads(frame, base):
            return (frame.write(content, address, None),)
        return (frame.write(content, address, base, held=before.images),)

    def _write_spread(
        self,
        codec: MessageCodec,
        form: SpreadForm,
        fill: Callable[[DataParts], dict[Cell, bytes]],
        address: Address,
        before: Held | None,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        images = fill(codec.parts_of_spread(form))
        collected = None
        if before is not None and before.spread is form:
            collected = before.collected
        stream = form.stream.join(images, slots, address, bytes(collected.stream) if collected is not None else None)
        return form.write(stream, slots, address, collected)


def _ready(images: dict[Cell, bytes]) -> Callable[[DataParts], dict[Cell, bytes]]:
    return lambda _parts: images


def _reads(frame: FrameCodec, raw: bytes) -> bool:
    return frame.size == len(raw) and frame.begins(raw)


def _offered(before: Held | None, program: int) -> _Before:
    if before is None:
        return _NOTHING
    parts = before.parts
    if not parts.repeated:
        return _Before(parts, before.once(), before.extra)
    numbers = before.numbers or tuple(range(parts.count))
    if program not in numbers:
        raise BadInput(f"The bank has no program {program}.", f"It has {len(numbers)}.")
    return _Before(parts, {**before.once(), **before.program(numbers.index(program))}, before.extra)


def _image(
    layout: LayoutCodec, before: bytes | None, values: Mapping[str, int], name: str | None, offered: _Before
) -> bytes:
    if before is None:
        image = layout.write_new(values, lambda: offered.values)
        return image if name is None else layout.write_name(image, name, fresh=True)
    image = layout.write(before, values)
    return image if name is None else layout.write_name(image, name, fresh=False)


def _shaped(form: FormCodec, frame: FrameCodec, wish: Wish, base: bytes | None) -> FrameCodec:
    """The frame in the length that is needed, where the length varies."""
    varying = next((each for each in form.varying if each.version == frame.frame.version), None)
    if varying is None:
        return frame
    came = None if base is None else varying.sizes_in(base)
    return varying.frame(varying.sizes_for(wish.known, wish.name, wish.programs, came))


def _frame_of_version(form: FormCodec, slots: Mapping[str, int]) -> FrameCodec:
    frames = {frame.frame.version: frame for frame in form.frames}
    if None in frames:
        return frames[None]
    wanted = slots.get("version", max(version for version in frames if version is not None))
    if wanted not in frames:
        raise NotAddressable(
            f"The {form.message} dump has no version {wanted}.",
            f"Choose one of {', '.join(str(version) for version in frames)}.",
        )
    return frames[wanted]
