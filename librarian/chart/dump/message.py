"""One kind of message, compiled: images of its data parts to values and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from librarian.chart.dump.frame import Content, FrameCodec
from librarian.chart.dump.layout import LayoutCodec
from librarian.chart.dump.model import Message, VersionPart
from librarian.chart.dump.results import Form, MessageInfo, Program
from librarian.messages import Values


@dataclass(frozen=True, slots=True)
class FormCodec:
    """One form of a message: a frame for every version of its layout."""

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
    """A message with its forms and the layouts of its data parts."""

    def __init__(
        self, name: str, message: Message, forms: Mapping[Form, FormCodec], layouts: Mapping[str, LayoutCodec]
    ) -> None:
        self.name = name
        self.message = message
        self.forms = forms
        self.layouts = layouts
        self.default_version = next(
            (part.default for part in message.parts.values() if isinstance(part, VersionPart)), None
        )

    def parts_of(self, frame: FrameCodec) -> dict[str, tuple[LayoutCodec, int]]:
        """Data part -> (layout, number of programs)."""
        return {part: (self.layouts[layout], times) for part, (layout, times) in frame.frame.layouts().items()}

    def info(self) -> MessageInfo:
        """What can be done with it."""
        carries: set[str] = set()
        slots: dict[str, tuple[int, int]] = {}
        programs, name_size = 1, 0
        for form in self.forms.values():
            for frame in form.frames:
                for number in frame.numbers:
                    if number.role == "slot":
                        slots[number.word] = (number.low, number.high)
                for layout, times in self.parts_of(frame).values():
                    carries.update(layout.ids)
                    programs = max(programs, times)
                    if layout.name is not None:
                        name_size = layout.name.coding.size
        return MessageInfo(
            name=self.name,
            kind=self.message.kind,
            label=self.message.label or self.name,
            forms=frozenset(self.forms),
            carries=frozenset(carries),
            slots=slots,
            has_name=name_size > 0,
            single_parameter=self.message.kind == "parameter",
            programs=programs,
            name_size=name_size,
        )

    # --- reading ---------------------------------------------------------------------------------------------------

    def programs(self, frame: FrameCodec, content: Content) -> tuple[Read, dict[str, bytes], tuple[Program, ...]]:
        """What stands once in the message, its images, and the programs of a bank (none unless there are several)."""
        parts = self.parts_of(frame)
        single = {part: content.images[(part, 0)] for part, (_layout, times) in parts.items() if times == 1}
        whole = self._read(parts, single)
        count = max((times for _layout, times in parts.values()), default=1)
        if count == 1:
            return whole, single, ()
        programs = []
        for index in range(count):
            images = {part: content.images[(part, index)] for part, (_layout, times) in parts.items() if times > index}
            images = {part: image for part, image in images.items() if part not in single}
            read = self._read(parts, images)
            programs.append(Program(index, Values(read.values), read.name, read.odd, images))
        return whole, single, tuple(programs)

    def _read(self, parts: Mapping[str, tuple[LayoutCodec, int]], images: Mapping[str, bytes]) -> Read:
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
