"""One kind of message, compiled: its forms, their frames and data parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from librarian.chart.dump.model import Message, VersionPart
from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.results import Form, MessageInfo
from librarian.chart.dump.running.frame import FrameCodec
from librarian.chart.dump.running.handshake import Handshake
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.parts import DataParts
from librarian.chart.dump.running.single import SingleForm
from librarian.chart.dump.running.spread import SpreadForm
from librarian.chart.dump.running.varying import VaryingForm

MOST_SHORT = 256
_SENT_FIRST: tuple[Form, ...] = ("answer", "write")


@dataclass(frozen=True, slots=True)
class FormCodec:
    """One form of a message that is one message: a frame for every version of its layout.

    `varying`: of those that can be shorter; `frames` has them at their longest.
    """

    message: str
    form: Form
    frames: tuple[FrameCodec, ...]
    varying: tuple[VaryingForm, ...] = ()

    def fitting(self, raw: bytes) -> list[FrameCodec]:
        """The frames that a message of this length can have."""
        fixed = [frame for frame in self.frames if frame.size == len(raw)]
        return fixed + [frame for each in self.varying if (frame := each.fitting(raw)) is not None]


def together(whole: MessageInfo, members: Sequence[MessageInfo]) -> MessageInfo:
    """What can be done with a sequence: what can be done with all of its messages."""
    forms: set[Form] = set.intersection(*(set(each.forms) - {"request"} for each in members))
    if "request" in whole.forms or all("request" in each.forms for each in members):
        forms.add("request")
    lengths = [each.length for each in members]
    known = [length for length in lengths if length is not None]
    return replace(
        whole,
        forms=frozenset(forms),
        carries=frozenset().union(*(each.carries for each in members)),
        slots={**whole.slots, **{word: limits for each in members for word, limits in each.slots.items()}},
        has_name=any(each.has_name for each in members),
        name_size=max(each.name_size for each in members),
        length=sum(known) if len(known) == len(lengths) else None,
        messages=sum(each.messages for each in members),
    )


class MessageCodec:
    """A message with its forms: as one message, as several, or for one parameter."""

    def __init__(
        self,
        name: str,
        message: Message,
        forms: Mapping[Form, FormCodec],
        spreads: Mapping[Form, tuple[SpreadForm, ...]],
        singles: Mapping[Form, SingleForm],
        layouts: Mapping[str, LayoutCodec],
        handshake: Handshake | None,
    ) -> None:
        self.name = name
        self.message = message
        self.forms = forms
        self.spreads = spreads
        self.singles = singles
        self.handshake = handshake
        self.default_version = next(
            (part.default for part in message.parts.values() if isinstance(part, VersionPart)), None
        )
        self._layouts = layouts
        self._several = {
            part.name for form in forms.values() for each in form.varying for part in each.parts if part.area.times > 1
        }
        self._parts = {frame: self._parts_in(frame) for form in forms.values() for frame in form.frames}
        self._short_parts: dict[FrameCodec, DataParts] = {}
        self._spread_parts = {
            form: DataParts(
                {
                    part: (layouts[layout], times)
                    for part, (layout, times) in form.stream.payload.frame.layouts().items()
                }
            )
            for several in spreads.values()
            for form in several
        }

    def different_spreads(self, form: Form) -> tuple[SpreadForm, ...]:
        """The form as several messages, one for each version; a write that looks like the answer counts once."""
        several = self.spreads.get(form, ())
        return () if form == "write" and several is self.spreads.get("answer") else several

    @property
    def spread(self) -> SpreadForm | None:
        """The dump in several messages as the instrument usually sends it (of the default version), if it does."""
        several = self.spreads.get("answer") or self.spreads.get("write") or ()
        return self.spread_of(several, self.default_version) if several else None

    @staticmethod
    def spread_of(several: tuple[SpreadForm, ...], version: int | None) -> SpreadForm | None:
        """The form of a version, None if there is none; of the highest where no version is said."""
        if version is None:
            return max(several, key=lambda each: each.version or 0)
        return next((each for each in several if each.version in (version, None)), None)

    def varies(self, form: Form) -> bool:
        """The length of the message varies."""
        return form in self.forms and bool(self.forms[form].varying)

    def parts_of(self, frame: FrameCodec) -> DataParts:
        """The data parts of a frame."""
        if frame in self._parts:
            return self._parts[frame]
        if frame not in self._short_parts:
            if len(self._short_parts) >= MOST_SHORT:
                self._short_parts.clear()
            self._short_parts[frame] = self._parts_in(frame)
        return self._short_parts[frame]

    def _parts_in(self, frame: FrameCodec) -> DataParts:
        areas = {area.name: area for area in frame.areas}
        parts: dict[str, tuple[LayoutCodec, int]] = {}
        for part, (layout, times) in frame.frame.layouts().items():
            codec = self._layouts[layout]
            area = areas.get(part)
            if area is not None and area.count == 1 and area.layout and area.raw_size < codec.size:
                codec = codec.cut(area.raw_size)
            parts[part] = (codec, times)
        names = {part for part in parts if part in self._several}
        for area in frame.areas:
            if area.name in self._several and area.inner is not None:
                names |= area.inner.layouts().keys()
        return DataParts(parts, frozenset(names))

    def parts_of_spread(self, form: SpreadForm) -> DataParts:
        """The one data part of a dump in several messages."""
        return self._spread_parts[form]

    def shapes(self) -> list[tuple[Form, int | None, DataParts]]:
        """The forms that carry data, as the instrument sends it where the chart says so: form, version, data parts."""
        for form in _SENT_FIRST:
            if form in self.spreads:
                return [(form, each.version, self._spread_parts[each]) for each in self.spreads[form]]
            if form in self.forms:
                return [(form, frame.frame.version, self._parts[frame]) for frame in self.forms[form].frames]
        return []

    def info(self, programs_of_memory: int) -> MessageInfo:
        """What can be done with it."""
        carries: set[str] = set()
        slots: dict[str, tuple[int, int]] = {}
        programs, name_size = 1, 0
        for parts in (*self._parts.values(), *self._spread_parts.values()):
            programs = max(programs, parts.count)
            for layout in parts.layouts.values():
                carries.update(layout.ids)
                name_size = layout.name.coding.size if layout.name is not None else name_size
        for single in self.singles.values():
            carries.update(single.parameters)
        for frame in self._all_frames():
            slots |= {
                number.word: (number.low, number.high)
                for number in frame.all_numbers()
                if number.role == "slot" or (number.role == "version" and number.fixed is None)
            }
        for spread in (each for several in self.spreads.values() for each in several):
            slots |= {word: limits for word, limits in spread.cutting.ranges().items() if word != CHANNEL}
        length, messages = self._extent()
        forms: set[Form] = {*self.forms, *self.spreads, *self.singles}
        if self.message.each is not None:
            programs = messages = self.message.times or programs_of_memory
            forms |= {"answer", "write"} if self.message.writable else {"answer"}
        sequence = tuple(self.message.sequence or ())
        return MessageInfo(
            name=self.name,
            kind=self.message.kind,
            label=self.message.label or self.name,
            forms=frozenset(forms),
            carries=frozenset(carries),
            slots=slots,
            has_name=name_size > 0,
            single_parameter=self.message.kind == "parameter",
            programs=programs,
            length=length,
            messages=messages,
            each=self.message.each or "",
            name_size=name_size,
            sequence=sequence,
            versions=self._versions(),
            is_sysex=all(frame.blank[:1] == b"\xf0" for frame in self._all_frames()),
        )

    def _versions(self) -> tuple[int, ...]:
        found = [frame.frame.version for form in self.forms.values() for frame in form.frames]
        found += [spread.version for several in self.spreads.values() for spread in several]
        return tuple(sorted({version for version in found if version is not None}))

    def _all_frames(self) -> list[FrameCodec]:
        frames = [frame for form in self.forms.values() for frame in form.frames]
        frames += [frame for single in self.singles.values() for frame in single.frames.values()]
        spreads = [spread for several in self.spreads.values() for spread in several]
        around = [frame for each in spreads for frame in (each.begin, each.end) if frame is not None]
        return frames + [each.header for each in spreads] + around

    def _extent(self) -> tuple[int | None, int]:
        """Bytes of the whole answer (None when they vary) and the number of its messages."""
        spread = self.spread
        if spread is not None:
            return spread.length, spread.messages
        form = self.forms.get("answer") or self.forms.get("write")
        sizes = {frame.size for frame in form.frames} if form is not None and not form.varying else set()
        return (sizes.pop() if len(sizes) == 1 else None), 1
