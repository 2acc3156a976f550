"""The codec of a chart's dumps: bytes of whole messages to values, and back to the byte."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property

from librarian.chart.dump.diagnose import refuse_damaged, refuse_size, refuse_unknown
from librarian.chart.dump.frame import Content, FrameCodec, NotAddressable
from librarian.chart.dump.layout import LayoutCodec
from librarian.chart.dump.message import FormCodec, MessageCodec
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.results import Decoded, Form, MessageInfo, Recognised
from librarian.chart.dump.specs import AddressRule
from librarian.chart.nearest import nearest
from librarian.errors import BadInput
from librarian.messages import Address, Values

Base = bytes | Sequence[bytes] | None
Match = tuple[FormCodec, FrameCodec]


class DumpCodec:
    """All dump messages of one chart, compiled once. Immutable, may be shared between threads."""

    def __init__(
        self,
        messages: Mapping[str, MessageCodec],
        layouts: Mapping[str, LayoutCodec],
        rule: AddressRule,
        display: Mapping[str, Callable[[int], str]],
    ) -> None:
        self._messages = messages
        self._layouts = layouts
        self._rule = rule
        self._display = display
        self._by_size: dict[int, list[Match]] = {}
        for form, frame in self._frames():
            self._by_size.setdefault(frame.size, []).append((form, frame))

    def _frames(self) -> Iterator[Match]:
        """Every frame once, answers before writes that look the same, requests last."""
        order: tuple[Form, ...] = ("answer", "write", "request")
        for wanted in order:
            for message in self._messages.values():
                form = message.forms.get(wanted)
                if form is None:
                    continue
                answers = message.forms["answer"].frames if wanted == "write" and "answer" in message.forms else ()
                for frame in form.frames:
                    if frame not in answers:
                        yield form, frame

    @cached_property
    def messages(self) -> Mapping[str, MessageInfo]:
        """What can be done with each message."""
        return {name: message.info() for name, message in self._messages.items()}

    # --- recognising -----------------------------------------------------------------------------------------------

    def recognise(self, raw: bytes, address: Address) -> Recognised | None:
        """Which message of the chart `raw` is, for this instrument; None when it is none (or of another device)."""
        match = self._match(raw, address)
        if match is None:
            return None
        form, frame = match
        slots = {
            number.word: frame.number(raw, number)
            for number in frame.numbers
            if number.role in ("slot", "version") and number.at + number.size <= len(raw)
        }
        return Recognised(form.message, form.form, slots)

    def _match(self, raw: bytes, address: Address | None) -> Match | None:
        for form, frame in self._by_size.get(len(raw), ()):
            if (
                frame.begins(raw)
                and not frame.number_faults(raw)
                and (address is None or frame.device_fits(raw, address))
            ):
                return form, frame
        best: tuple[tuple[int, int], Match] | None = None
        for form, frame in self._frames():
            if (
                len(raw) >= frame.header_size
                and frame.begins(raw)
                and (address is None or frame.device_fits(raw, address))
            ):
                rank = (frame.number_faults(raw), abs(len(raw) - frame.size))
                if best is None or rank < best[0]:
                    best = rank, (form, frame)
        return None if best is None else best[1]

    # --- decoding --------------------------------------------------------------------------------------------------

    def decode(self, raw: bytes, address: Address) -> Decoded:
        """The dump explained. Raises `DumpRefused` with the reason; nothing of a refused dump is used."""
        return self._decode(raw, address)

    def _decode(self, raw: bytes, address: Address | None) -> Decoded:
        form, frame, content = self._read(raw, address)
        message = self._messages[form.message]
        whole, images, programs = message.programs(frame, content)
        return Decoded(
            message=form.message,
            form=form.form,
            slots={word: value for word, value in content.slots.items() if word[0] != "#"},
            values=Values(whole.values),
            name=whole.name,
            raw=raw,
            raws=(raw,),
            odd=whole.odd,
            programs=programs,
            images=images,
        )

    def _read(self, raw: bytes, address: Address | None) -> tuple[FormCodec, FrameCodec, Content]:
        if raw[:1] != b"\xf0" or raw[-1:] != b"\xf7" or not raw[1:-1].isascii():
            refuse_damaged(raw)
        match = self._match(raw, address)
        if match is None:
            refuse_unknown(raw, [frame for _form, frame in self._frames()], self._rule, address)
        form, frame = match
        if form.form == "request":
            raise DumpRefused("other message", f"This asks for the {form.message} dump; it is no dump itself.")
        if len(raw) != frame.size:
            refuse_size(raw, form.message, [each.size for each in form.frames])
        content = Content()
        frame.read(raw, address, content)
        return form, frame, content

    # --- encoding --------------------------------------------------------------------------------------------------

    def requests(self, message: str, address: Address, **slots: int) -> tuple[bytes, ...]:
        """The messages that ask for a dump; an address map may need several."""
        form = self._form(message, "request")
        frame = form.frames[0]
        return (frame.write(Content(dict(slots)), address, None),)

    def request(self, message: str, address: Address, **slots: int) -> bytes:
        """The one message that asks for a dump."""
        requests = self.requests(message, address, **slots)
        if len(requests) > 1:
            raise BadInput(f"The {message} dump is asked for in {len(requests)} messages.", "Use all of them.")
        return requests[0]

    def encode(
        self,
        message: str,
        values: Mapping[str, int],
        address: Address,
        *,
        base: Base = None,
        name: str | None = None,
        form: Form = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """The messages that carry these values.

        `base`: a dump that was received; what `values` does not say, and every byte that the chart does not explain,
        is taken from it. Without it every value of the layout is needed (`UnknownValues` names the missing ones).
        `slots`: program, bank and other numbers of the message.
        """
        target = self._form(message, form)
        codec = self._messages[message]
        before = None if base is None else self._decode(base if isinstance(base, bytes) else base[0], None)
        frame = self._version_of(target, codec, before, slots)
        same = (
            before is not None
            and before.message == message
            and len(before.raw) == frame.size
            and frame.begins(before.raw)
        )
        known = {**before.values, **values} if before is not None else values
        content = Content(dict(slots))
        for part, (layout, times) in codec.parts_of(frame).items():
            if times != 1:
                raise BadInput(f"The {message} message holds {times} programs.", "Encode it as a bank.")
            image = _base_image(before, part, layout, self._layouts_of(before))
            if image is None:
                content.images[(part, 0)] = _named(layout, layout.write_new(known), name, fresh=True)
            else:
                content.images[(part, 0)] = _named(layout, layout.write(image, known), name, fresh=False)
        if codec.default_version is not None:
            content.slots.setdefault("version", codec.default_version)
        return (frame.write(content, address, before.raw if same and before is not None else None),)

    def _layouts_of(self, before: Decoded | None) -> Mapping[str, str]:
        if before is None:
            return {}
        frames = self._messages[before.message].forms[before.form].frames
        frame = next(each for each in frames if each.size == len(before.raw) and each.begins(before.raw))
        return {part: layout for part, (layout, _times) in frame.frame.layouts().items()}

    def _version_of(
        self, form: FormCodec, codec: MessageCodec, before: Decoded | None, slots: Mapping[str, int]
    ) -> FrameCodec:
        frames = {frame.frame.version: frame for frame in form.frames}
        if None in frames:
            return frames[None]
        wanted = slots.get("version")
        if wanted is None and before is not None and before.message == form.message:
            wanted = before.slots.get("version")
        if wanted is None:
            wanted = codec.default_version
        if wanted is None:
            return form.frames[-1]
        if wanted not in frames:
            raise NotAddressable(
                f"The {form.message} dump has no version {wanted}.",
                f"Choose one of {', '.join(str(version) for version in frames)}.",
            )
        return frames[wanted]

    def _form(self, message: str, form: Form) -> FormCodec:
        codec = self._messages.get(message)
        if codec is None:
            near = nearest(message, self._messages)
            raise BadInput(
                f"The chart has no message {message}.",
                f"Did you mean {near}?" if near else f"It has: {', '.join(self._messages) or 'none'}.",
            )
        if form not in codec.forms:
            what = {"request": "asked for", "answer": "received", "write": "written"}[form]
            raise BadInput(f"The chart does not say how {message} is {what}.", "Use another way.")
        return codec.forms[form]


def _base_image(before: Decoded | None, part: str, layout: LayoutCodec, layouts: Mapping[str, str]) -> bytes | None:
    """The received bytes that stand behind a data part: of the same part, else of another with the same layout."""
    if before is None:
        return None
    if layouts.get(part) == layout.label and part in before.images:
        return before.images[part]
    return next((image for other, image in before.images.items() if layouts.get(other) == layout.label), None)


def _named(layout: LayoutCodec, image: bytes, name: str | None, *, fresh: bool) -> bytes:
    return image if name is None else layout.write_name(image, name, fresh=fresh)
