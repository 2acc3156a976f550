"""One kind of message, compiled: images of its data parts to values and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from librarian.chart.dump.frame import Cell, FrameCodec
from librarian.chart.dump.layout import LayoutCodec
from librarian.chart.dump.model import Message, VersionPart
from librarian.chart.dump.results import Form, MessageInfo, Program
from librarian.chart.dump.single import SingleForm
from librarian.chart.dump.spread import SpreadForm
from librarian.messages import Values

Parts = Mapping[str, tuple[LayoutCodec, int]]
"""Data part -> (layout, number of programs)."""


@dataclass(frozen=True, slots=True)
class FormCodec:
    """One form of a message that is one message: a frame for every version of its layout."""

    message: str
    form: Form
    frames: tuple[FrameCodec, ...]


@dataclass(frozen=True, slots=True)
class Read:
    """What the images of one program say."""

    values: dict[str, int]
    name: str
    odd: tuple[str, ...]


class MessageCodec:
    """A message with its forms (as one message, as several, for one parameter) and the layouts of its data parts."""

    def __init__(
        self,
        name: str,
        message: Message,
        forms: Mapping[Form, FormCodec],
        spreads: Mapping[Form, SpreadForm],
        singles: Mapping[Form, SingleForm],
        layouts: Mapping[str, LayoutCodec],
    ) -> None:
        self.name = name
        self.message = message
        self.forms = forms
        self.spreads = spreads
        self.singles = singles
        self._layouts = layouts
        self.default_version = next(
            (part.default for part in message.parts.values() if isinstance(part, VersionPart)), None
        )

    def spread(self, form: Form) -> SpreadForm | None:
        """The form as several messages; a write that looks like the answer counts once."""
        each = self.spreads.get(form)
        return None if form == "write" and each is self.spreads.get("answer") else each

    def parts_of(self, frame: FrameCodec) -> Parts:
        """The data parts of a frame."""
        return {part: (self._layouts[layout], times) for part, (layout, times) in frame.frame.layouts().items()}

    @staticmethod
    def parts_of_spread(form: SpreadForm) -> Parts:
        """The one data part of a dump in several messages."""
        return {form.stream.part_name: (form.stream.layout, form.stream.times)}

    def parts_by_form(self, form: Form) -> list[Parts]:
        """The data parts of a form, for every version."""
        if form in self.spreads:
            return [self.parts_of_spread(self.spreads[form])]
        return [self.parts_of(frame) for frame in self.forms[form].frames] if form in self.forms else []

    def shapes(self) -> list[tuple[Form, int | None, Parts]]:
        """The forms that carry data, as the instrument sends it where the chart says so: form, version, data parts."""
        for form in ("answer", "write"):
            if form in self.spreads:
                return [(form, None, self.parts_of_spread(self.spreads[form]))]
            if form in self.forms:
                return [(form, frame.frame.version, self.parts_of(frame)) for frame in self.forms[form].frames]
        return []

    def info(self, programs_of_memory: int) -> MessageInfo:
        """What can be done with it."""
        carries: set[str] = set()
        slots: dict[str, tuple[int, int]] = {}
        programs, name_size = 1, 0
        for form in ("answer", "write", "request"):
            for parts in self.parts_by_form(form):
                for layout, times in parts.values():
                    carries.update(layout.ids)
                    programs = max(programs, times)
                    name_size = layout.name.coding.size if layout.name is not None else name_size
        for single in self.singles.values():
            carries.update(single.parameters)
        for frame in self._all_frames():
            slots |= {number.word: (number.low, number.high) for number in frame.numbers if number.role == "slot"}
        for spread in self.spreads.values():
            slots |= spread.cutting.ranges()
        length, messages = self._extent()
        if self.message.each is not None:
            programs = messages = self.message.times or programs_of_memory
        forms: set[Form] = {*self.forms, *self.spreads, *self.singles}
        return MessageInfo(
            name=self.name,
            kind=self.message.kind,
            label=self.message.label or self.name,
            forms=frozenset({*forms, "answer"} if self.message.each is not None else forms),
            carries=frozenset(carries),
            slots=slots,
            has_name=name_size > 0,
            single_parameter=self.message.kind == "parameter",
            programs=programs,
            length=length,
            messages=messages,
            each=self.message.each or "",
            name_size=name_size,
        )

    def _all_frames(self) -> list[FrameCodec]:
        frames = [frame for form in self.forms.values() for frame in form.frames]
        frames += [frame for single in self.singles.values() for frame in single.frames.values()]
        return frames + [spread.header for spread in self.spreads.values()]

    def _extent(self) -> tuple[int | None, int]:
        """Bytes of the whole answer (None when they vary) and the number of its messages."""
        spread = self.spreads.get("answer") or self.spreads.get("write")
        if spread is not None:
            return spread.length, spread.messages
        form = self.forms.get("answer") or self.forms.get("write")
        sizes = {frame.size for frame in form.frames} if form is not None else set()
        return (sizes.pop() if len(sizes) == 1 else None), 1

    # --- reading ---------------------------------------------------------------------------------------------------

    def programs(
        self, parts: Parts, images: Mapping[Cell, bytes]
    ) -> tuple[Read, dict[str, bytes], tuple[Program, ...]]:
        """What stands once in the message, its images, and the programs of a bank (none unless there are several)."""
        single = {part: images[(part, 0)] for part, (_layout, times) in parts.items() if times == 1}
        whole = read_images(parts, single)
        count = max((times for _layout, times in parts.values()), default=1)
        if count == 1:
            return whole, single, ()
        programs = []
        for index in range(count):
            own = {
                part: images[(part, index)]
                for part, (_layout, times) in parts.items()
                if times > index and part not in single
            }
            read = read_images(parts, own)
            programs.append(Program(index, Values(read.values), read.name, read.odd, own))
        return whole, single, tuple(programs)


def read_images(parts: Parts, images: Mapping[str, bytes]) -> Read:
    """The values of several images together: of one program, spread over several data parts."""
    values: dict[str, int] = {}
    odd: tuple[str, ...] = ()
    name = ""
    for part, image in images.items():
        layout = parts[part][0]
        reading = layout.read(image)
        values = {**values, **reading.values} if values else reading.values
        odd += reading.odd
        name = name or layout.read_name(image)
    return Read(values, name, odd)
