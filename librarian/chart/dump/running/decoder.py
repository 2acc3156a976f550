"""Reading: which message some bytes are, and the values in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress

from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.refusal import DumpRefused
from librarian.chart.dump.results import Decoded, Program, Recognised
from librarian.chart.dump.running.alike import Alike, AlikeReader, is_simple
from librarian.chart.dump.running.diagnose import refuse_damaged, refuse_size, refuse_unknown
from librarian.chart.dump.running.frame import Content, FrameCodec
from librarian.chart.dump.running.gather import refuse_incomplete
from librarian.chart.dump.running.message import FormCodec, MessageCodec
from librarian.chart.dump.running.parts import DataParts, Held
from librarian.chart.dump.running.recogniser import Match, Recogniser
from librarian.chart.dump.running.repeated import Member, Repeater
from librarian.chart.dump.running.single import SingleForm
from librarian.chart.dump.running.spread import SpreadForm
from librarian.chart.dump.specs import AddressRule
from librarian.messages import Address, Values


def _programs(held: Held) -> list[Program]:
    images = [held.program(index) for index in range(held.parts.count)]
    numbers = held.numbers or range(held.parts.count)
    read = held.parts.read_bank(images)
    singly = held.singly or (b"",) * len(images)
    return [
        Program(number, Values(values), name, odd, own, raw)
        for number, own, (values, name, odd), raw in zip(numbers, images, read, singly, strict=True)
    ]


_NO_PARTS = DataParts({})


def _told(word: str) -> bool:
    """A number of the message that means something to people, not one of one program, or of the address."""
    return word[0] != "#" and word[-1] != "]" and word != CHANNEL


class Decoder:
    """Reads the messages of one chart."""

    def __init__(self, messages: Mapping[str, MessageCodec], recogniser: Recogniser, rule: AddressRule) -> None:
        self._messages = messages
        self._recogniser = recogniser
        self._rule = rule
        self._alike = AlikeReader(messages, recogniser.match, _told)
        self._sequences = {
            name: tuple(each.message.sequence) for name, each in messages.items() if each.message.sequence is not None
        }

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
        if frame is not None and frame.has_groups and len(raw) == frame.size:
            content = Content()
            with suppress(DumpRefused):
                frame.read(raw, None, content)
            slots |= {word: number for word, number in content.slots.items() if _told(word)}
        spread = form if isinstance(form, SpreadForm) else self._messages[form.message].spread
        if spread is not None:
            slots |= {word: number for word, number in spread.cutting.slots(addresses).items() if word != CHANNEL}
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

    def decided(self, raw: bytes, address: Address, reach: int, besides: str = "") -> bool:
        """See `Recogniser.decided`."""
        return raw[:1] != b"\xf0" or self._recogniser.decided(raw, address, reach, besides)

    def reach(self, size: int) -> int:
        """See `Recogniser.reach`."""
        return self._recogniser.reach(size)

    # --- decoding --------------------------------------------------------------------------------------------------

    def decode_all(self, raws: Sequence[bytes], address: Address | None) -> Decoded:
        """One dump, in one message or several. `address` None: whichever device it is for."""
        held = self.hold(raws, address)
        parts = held.parts
        images = held.once()
        values, name, odd = parts.read(images)
        return Decoded(
            held.message,
            held.form,
            {word: value for word, value in held.slots.items() if _told(word)},
            Values({**held.extra, **values} if held.extra else values),
            name,
            held.raws[0] if len(held.raws) == 1 else b"".join(held.raws),
            held.raws,
            odd,
            tuple(_programs(held)) if parts.repeated else (),
            images,
            parts.labels,
        )

    def decode_alike(self, raws: Sequence[bytes], address: Address) -> list[Alike]:
        """See `AlikeReader.read`."""
        return self._alike.read(raws, address)

    def repeater(self, raws: Sequence[bytes], address: Address) -> Repeater | None:
        """For more dumps like this one, which came in several messages; None where it has to be read each time.

        Raises `DumpRefused` when this one is not whole.
        """
        held = self.hold(raws, address)
        form, collected = held.spread, held.collected
        if form is None or collected is None or held.parts.repeated or not held.parts.once:
            return None
        several = self._messages[form.message].spreads[form.form]
        if len(several) > 1 or not is_simple(form.stream.payload.frame):
            return None  # which version a dump has may be told by its data
        members = []
        for raw, at in zip(collected.raws, collected.where, strict=True):
            frame = form.around(raw, None) if at is None else form.frame_of(raw)
            if frame is None or frame.has_groups:
                return None
            members.append(Member(raw, frame, at))
            if not self._recogniser.decided(raw, address, members[-1].reach, form.message):
                return None
        slots = {word: value for word, value in collected.slots.items() if _told(word)}
        return Repeater(form.message, members, form.stream, held.parts, slots, address)

    def hold(self, raws: Sequence[bytes], address: Address | None) -> Held:
        """The same without reading the values. Raises `DumpRefused` with the reason."""
        if not raws:
            raise DumpRefused("incomplete", "There is no message to read.")
        first = self._match(raws[0], address)
        if len(raws) > 1 and self._sequences:
            found = self._hold_sequence(raws, address)
            if found is not None:
                return found
        if isinstance(first.form, SpreadForm):
            return self._hold_spread(first.form, raws, address)
        if len(raws) == 1:
            return self._hold_one(raws[0], first, address)
        return self._hold_many(raws, address)

    def _match(self, raw: bytes, address: Address | None) -> Match:
        if raw[:1] != b"\xf0" or raw[-1:] != b"\xf7" or not raw[1:-1].isascii():
            refuse_damaged(raw)
        match = self._recogniser.match(raw, address)
        if match is None:
            refuse_unknown(raw, self._recogniser.frames(), self._rule, address)
        if match.form.form == "request":
            raise DumpRefused("other message", f"This asks for the {match.form.message} dump; it is no dump itself.")
        return match

    def _hold_one(self, raw: bytes, match: Match, address: Address | None) -> Held:
        if isinstance(match.form, SingleForm):
            values, slots = match.form.read(raw, address)
            return Held(match.form.message, match.form.form, slots, _NO_PARTS, {}, (raw,), extra=values)
        if not isinstance(match.form, FormCodec) or match.frame is None:
            raise DumpRefused("other message", f"This is no {match.form.message} dump.")
        frame, content = self._read(raw, match.form, match.frame, address)
        parts = self._messages[match.form.message].parts_of(frame)
        slots = content.slots
        numbers = self._numbers(parts, slots)
        return Held(match.form.message, match.form.form, slots, parts, content.images, (raw,), numbers)

    @staticmethod
    def _numbers(parts: DataParts, slots: Mapping[str, int]) -> tuple[int, ...]:
        """The numbers of the programs of a bank, where every program says its own."""
        if not parts.repeated or "program[0]" not in slots:
            return ()
        numbers = tuple(slots[f"program[{index}]"] for index in range(parts.count))
        if len(set(numbers)) < len(numbers):
            raise DumpRefused("out of range", "Two programs of the bank have the same number.")
        return numbers

    def _read(
        self, raw: bytes, form: FormCodec, frame: FrameCodec, address: Address | None
    ) -> tuple[FrameCodec, Content]:
        """Reads with the frame that was matched; a version inside packed data may need another of the same length."""
        if len(raw) != frame.size:
            refuse_size(raw, form.message, [each.size for each in form.frames])
        others = [each for each in form.fitting(raw) if each is not frame]
        wrong_version: DumpRefused | None = None
        for each in (frame, *others):
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

    def _hold_spread(self, form: SpreadForm, raws: Sequence[bytes], address: Address | None) -> Held:
        """A dump in several messages; refused unless it is complete. Which version it has may show late."""
        versions = self._messages[form.message].spreads[form.form]
        refusals: list[DumpRefused] = []
        for each in (form, *(other for other in versions if other is not form)):
            try:
                return self._hold_version(each, raws, address)
            except DumpRefused as refused:
                refusals.append(refused)
        others = [refused for refused in refusals if refused.reason != "version"]
        if others or len(versions) == 1:
            raise (others or refusals)[0]
        known = " and ".join(str(each.version) for each in versions)
        raise DumpRefused(
            "version",
            f"{str(refusals[0]).split(';', maxsplit=1)[0]}; the chart knows {known}.",
            "Use a chart for this version of the instrument.",
        )

    def _hold_version(self, form: SpreadForm, raws: Sequence[bytes], address: Address | None) -> Held:
        collected = form.start()
        for raw in raws:
            match = self._match(raw, address)
            if (match.form.message, match.form.form) != (form.message, form.form):
                said = f"A {match.form.message} message stands in the {form.message} dump"
                if self._messages[match.form.message].message.kind == "parameter":
                    said += ", as a control sends it that is moved"
                raise DumpRefused("other message", f"{said}.")
            form.add(collected, raw, address)
        missing = form.missing(collected)
        if missing:
            raise refuse_incomplete(form.message, tuple(missing))
        parts = self._messages[form.message].parts_of_spread(form)
        content = form.stream.read(bytes(collected.stream))
        slots = {**content.slots, **collected.slots}
        if form.version is not None:
            slots["version"] = form.version
        return Held(
            form.message, form.form, slots, parts, content.images, tuple(raws), self._numbers(parts, slots),
            collected=collected, spread=form,
        )  # fmt: skip

    def _hold_sequence(self, raws: Sequence[bytes], address: Address | None) -> Held | None:
        """Messages of different kinds that are one sound together; None where they are all of one kind."""
        sorted_out: dict[str, list[bytes]] = {}
        for raw in raws:
            sorted_out.setdefault(self._match(raw, address).form.message, []).append(raw)
        if len(sorted_out) < 2:
            return None
        name = next((each for each, members in self._sequences.items() if sorted_out.keys() <= set(members)), None)
        if name is None:
            return None
        members = self._sequences[name]
        missing = tuple(f"the {member} message" for member in members if member not in sorted_out)
        if missing:
            raise refuse_incomplete(name, missing)
        held = {member: self.hold(sorted_out[member], address) for member in members}
        slots: dict[str, int] = {}
        for member, each in held.items():
            for word, value in each.slots.items():
                if _told(word) and word != "version" and slots.setdefault(word, value) != value:
                    raise DumpRefused("packet", f"{member} is for {word} {value}, another message for {slots[word]}.")
        parts = DataParts(
            {
                f"{member}: {part}": (layout, each.parts.times[part])
                for member, each in held.items()
                for part, layout in each.parts.layouts.items()
            }
        )
        images = {
            (f"{member}: {part}", index): image
            for member, each in held.items()
            for (part, index), image in each.images.items()
        }
        extra = {identity: value for each in held.values() for identity, value in each.extra.items()}
        form = held[members[0]].form
        return Held(name, form, slots, parts, images, tuple(raws), extra=extra, members=held)

    def _hold_many(self, raws: Sequence[bytes], address: Address | None) -> Held:
        """A bank as one message for every program; or single-parameter messages, the last of each counts."""
        all_held = [self.hold((raw,), address) for raw in raws]
        first = all_held[0]
        if any(each.message != first.message for each in all_held):
            raise DumpRefused("other message", "The messages belong to different dumps.", "Decode each for itself.")
        if self._messages[first.message].message.kind == "parameter":
            extra = {identity: value for each in all_held for identity, value in each.extra.items()}
            return Held(first.message, first.form, first.slots, _NO_PARTS, {}, tuple(raws), extra=extra)
        bank = next((each for each in self._messages.values() if each.message.each == first.message), None)
        if bank is None:
            raise DumpRefused(
                "other message", f"{len(raws)} {first.message} dumps are no dump together.", "Decode each for itself."
            )
        numbered = {each.slots.get("program", order): each for order, each in enumerate(all_held)}
        numbers = tuple(sorted(numbered))
        parts = DataParts.of_bank(first.parts, len(numbers))
        images = {
            (part, index): numbered[number].images[(part, 0)]
            for index, number in enumerate(numbers)
            for part in parts.repeated
        }
        slots = {word: value for word, value in first.slots.items() if word != "program"}
        singly = tuple(numbered[number].raws[0] for number in numbers)
        return Held(bank.name, first.form, slots, parts, images, tuple(raws), numbers, singly)

    def heard(self, raw: bytes, address: Address) -> tuple[tuple[str, int], ...]:
        """Parameter and value of a single-parameter message."""
        if raw[:1] != b"\xf0" or raw[-1:] != b"\xf7" or not raw[1:-1].isascii():
            return ()
        form = self._recogniser.single(raw, address)
        if form is None:
            return ()
        try:
            values, _slots = form.read(raw, address)
        except DumpRefused:
            return ()
        return tuple(values.items())
