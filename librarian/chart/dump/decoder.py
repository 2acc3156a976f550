"""Reading: which message some bytes are, and the values in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from librarian.chart.dump.diagnose import refuse_damaged, refuse_size, refuse_unknown
from librarian.chart.dump.frame import Content, FrameCodec
from librarian.chart.dump.gather import refuse_incomplete
from librarian.chart.dump.message import FormCodec, MessageCodec, Parts
from librarian.chart.dump.recogniser import Match, Recogniser
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.results import Decoded, Form, Program, Recognised
from librarian.chart.dump.single import SingleForm
from librarian.chart.dump.specs import AddressRule
from librarian.chart.dump.spread import Collected, SpreadForm
from librarian.messages import Address, Values


class Decoder:
    """Reads the messages of one chart."""

    def __init__(self, messages: Mapping[str, MessageCodec], recogniser: Recogniser, rule: AddressRule) -> None:
        self._messages = messages
        self._recogniser = recogniser
        self._rule = rule

    def recognise(self, raw: bytes, address: Address) -> Recognised | None:
        """Which message `raw` is, by its frame; its data is not judged."""
        match = self._recogniser.match(raw, address) if raw[:1] == b"\xf0" else None
        if match is None:
            return None
        form, frame = match.form, match.frame
        if isinstance(form, SpreadForm):
            frame = form.around(raw, None) or frame
        slots: dict[str, int] = {}
        addresses: dict[str, int] = {}
        for number in frame.numbers if frame is not None else ():
            if frame is not None and number.pieces and number.at + number.size <= len(raw):
                value = frame.number(raw, number)
                if number.role in ("slot", "version"):
                    slots[number.word] = value
                elif number.role == "address":
                    addresses["#address"] = value
        if isinstance(form, SpreadForm):
            slots |= form.cutting.slots(Content(addresses))
        return Recognised(form.message, form.form, slots)

    def match(self, raw: bytes, address: Address | None) -> Match | None:
        """The form that fits best, whatever is wrong with the message."""
        return self._recogniser.match(raw, address) or self._recogniser.match(raw, None)

    def trouble(self, raw: bytes, address: Address) -> str:
        """What is wrong with one message, '' if nothing is."""
        match = self._recogniser.match(raw, address)
        try:
            if match is not None and match.form.form == "request" and raw[-1:] == b"\xf7" and raw[1:-1].isascii():
                return ""
            if match is not None and isinstance(match.form, SpreadForm):
                match.form.read(raw, address)
            else:
                self.decode_all((raw,), address)
        except DumpRefused as refused:
            return str(refused)
        return ""

    # --- decoding --------------------------------------------------------------------------------------------------

    def decode_all(self, raws: Sequence[bytes], address: Address | None) -> Decoded:
        """One dump, in one message or several. `address` None: whichever device it is for."""
        if not raws:
            raise DumpRefused("incomplete", "There is no message to read.")
        first = self._match(raws[0], address)
        if isinstance(first.form, SpreadForm):
            return self._decode_spread(first.form, raws, address)
        if len(raws) == 1:
            return self._decode_one(raws[0], first, address)
        return self._decode_many(raws, address)

    def _match(self, raw: bytes, address: Address | None) -> Match:
        if raw[:1] != b"\xf0" or raw[-1:] != b"\xf7" or not raw[1:-1].isascii():
            refuse_damaged(raw)
        match = self._recogniser.match(raw, address)
        if match is None:
            refuse_unknown(raw, self._recogniser.frames(), self._rule, address)
        if match.form.form == "request":
            raise DumpRefused("other message", f"This asks for the {match.form.message} dump; it is no dump itself.")
        return match

    def _decode_one(self, raw: bytes, match: Match, address: Address | None) -> Decoded:
        if isinstance(match.form, SingleForm):
            identity, value, slots = match.form.read(raw, address)
            return Decoded(match.form.message, match.form.form, slots, Values({identity: value}), "", raw, (raw,))
        if not isinstance(match.form, FormCodec) or match.frame is None:
            raise DumpRefused("other message", f"This is no {match.form.message} dump.")
        frame, content = self._read(raw, match.form, match.frame, address)
        message = self._messages[match.form.message]
        return self._explained(message, match.form.form, message.parts_of(frame), content, (raw,))

    def _read(
        self, raw: bytes, form: FormCodec, frame: FrameCodec, address: Address | None
    ) -> tuple[FrameCodec, Content]:
        """Reads with the frame that was matched; a version inside packed data may need another of the same length."""
        if len(raw) != frame.size:
            refuse_size(raw, form.message, [each.size for each in form.frames])
        candidates = [frame, *(each for each in form.frames if each is not frame and each.size == len(raw))]
        wrong_version: DumpRefused | None = None
        for each in candidates:
            content = Content()
            try:
                each.read(raw, address, content)
            except DumpRefused as refused:
                if refused.reason != "version":
                    raise
                wrong_version = wrong_version or refused
            else:
                return each, content
        known = " and ".join(str(each.frame.version) for each in form.frames)
        raise DumpRefused(
            "version",
            f"{str(wrong_version).split(';', maxsplit=1)[0]}; the chart knows {known}.",
            "Use a chart for this version of the instrument.",
        )

    @staticmethod
    def _explained(
        message: MessageCodec, form: Form, parts: Parts, content: Content, raws: tuple[bytes, ...]
    ) -> Decoded:
        whole, images, programs = message.programs(parts, content.images)
        return Decoded(
            message=message.name,
            form=form,
            slots={word: value for word, value in content.slots.items() if word[0] != "#"},
            values=Values(whole.values),
            name=whole.name,
            raw=b"".join(raws) if len(raws) > 1 else raws[0],
            raws=raws,
            odd=whole.odd,
            programs=programs,
            images=images,
            layouts={part: layout.label for part, (layout, _times) in parts.items()},
        )

    def collect(self, form: SpreadForm, raws: Sequence[bytes], address: Address | None) -> Collected:
        """All messages of a dump in several; refused unless it is complete."""
        collected = form.start()
        for raw in raws:
            match = self._match(raw, address)
            if match.form is not form:
                raise DumpRefused("other message", f"A {match.form.message} message stands in the {form.message} dump.")
            form.add(collected, raw, address)
        missing = form.missing(collected)
        if missing:
            raise refuse_incomplete(form.message, tuple(missing))
        return collected

    def _decode_spread(self, form: SpreadForm, raws: Sequence[bytes], address: Address | None) -> Decoded:
        collected = self.collect(form, raws, address)
        content = Content(collected.slots, form.stream.images(bytes(collected.stream)))
        message = self._messages[form.message]
        return self._explained(message, form.form, message.parts_of_spread(form), content, tuple(raws))

    def _decode_many(self, raws: Sequence[bytes], address: Address | None) -> Decoded:
        """A bank as one message for every program; or single-parameter messages, the last of each counts."""
        dumps = [self.decode_all((raw,), address) for raw in raws]
        first = dumps[0]
        if any(each.message != first.message for each in dumps):
            raise DumpRefused("other message", "The messages belong to different dumps.", "Decode each for itself.")
        if self._messages[first.message].message.kind == "parameter":
            values = {identity: value for each in dumps for identity, value in each.values.items()}
            return Decoded(first.message, first.form, first.slots, Values(values), "", b"".join(raws), tuple(raws))
        bank = next((each for each in self._messages.values() if each.message.each == first.message), None)
        if bank is None:
            raise DumpRefused(
                "other message", f"{len(raws)} {first.message} dumps are no dump together.", "Decode each for itself."
            )
        programs = {}
        for order, each in enumerate(dumps):
            number = each.slots.get("program", order)
            programs[number] = Program(number, each.values, each.name, each.odd, each.images)
        return Decoded(
            message=bank.name,
            form=first.form,
            slots={word: value for word, value in first.slots.items() if word != "program"},
            values=Values(),
            name="",
            raw=b"".join(raws),
            raws=tuple(raws),
            programs=tuple(programs[number] for number in sorted(programs)),
            layouts=first.layouts,
        )

    def heard(self, raw: bytes, address: Address) -> tuple[tuple[str, int], ...]:
        """Parameter and value of a single-parameter message."""
        if raw[:1] != b"\xf0" or raw[-1:] != b"\xf7" or not raw[1:-1].isascii():
            return ()
        match = self._recogniser.match(raw, address)
        if match is None or not isinstance(match.form, SingleForm) or match.form.form == "request":
            return ()
        try:
            identity, value, _slots = match.form.read(raw, address)
        except DumpRefused:
            return ()
        return ((identity, value),)
