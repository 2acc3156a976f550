"""The codec of a chart's dumps: bytes of whole messages to values, and back to the byte."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

from librarian.chart.dump.planning.plan_spread import CHANNEL
from librarian.chart.dump.refusal import UnknownValues
from librarian.chart.dump.results import Decoded, Form, MessageInfo, ProgramSource, Recognised, Row
from librarian.chart.dump.running.alike import Alike
from librarian.chart.dump.running.decoder import Decoder
from librarian.chart.dump.running.encoder import Base, Encoder
from librarian.chart.dump.running.explain import Explainer
from librarian.chart.dump.running.frame import Content, FrameCodec
from librarian.chart.dump.running.gather import Gather, Sequenced, WholeMessages, pieces_of
from librarian.chart.dump.running.handshake import Handshake
from librarian.chart.dump.running.layout import LayoutCodec
from librarian.chart.dump.running.legend import Cell
from librarian.chart.dump.running.many import ManyReader, ManyValues
from librarian.chart.dump.running.message import MessageCodec, together
from librarian.chart.dump.running.recogniser import Recogniser
from librarian.chart.dump.running.repeated import Repeater
from librarian.chart.dump.running.spread import SpreadForm
from librarian.chart.dump.specs import AddressRule
from librarian.chart.nearest import nearest
from librarian.errors import BadInput
from librarian.messages import Address


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
        self._many: dict[str, ManyReader] = {}
        self._rule = rule
        recogniser = Recogniser(messages)
        self._devices = [
            number for frame in recogniser.frames() for number in frame.numbers if number.role == "device"
        ]  # fmt: skip
        self._decoder = Decoder(messages, recogniser, rule)
        self._explainer = Explainer(layouts, display)
        self._encoder = Encoder(messages, self._decoder, self.message)

    @cached_property
    def messages(self) -> Mapping[str, MessageInfo]:
        """What can be done with each message."""
        infos = {name: message.info(self._rule.programs) for name, message in self._messages.items()}
        for name, info in list(infos.items()):
            if info.sequence:
                infos[name] = together(info, [infos[member] for member in info.sequence])
                for member in info.sequence:
                    infos[member] = replace(infos[member], part_of=name)
        return infos

    def message(self, name: str) -> MessageCodec:
        """A message by its name. Raises `BadInput` with the nearest name."""
        if name not in self._messages:
            near = nearest(name, self._messages)
            raise BadInput(
                f"The chart has no message {name}.",
                f"Did you mean {near}?" if near else f"It has: {', '.join(self._messages) or 'none'}.",
            )
        return self._messages[name]

    def device_fits(self, device: int) -> bool:
        """True when every message of the chart can carry this device ID."""
        return all(number.low <= device <= number.high for number in self._devices)

    # --- reading ---------------------------------------------------------------------------------------------------

    def recognise(self, raw: bytes, address: Address) -> Recognised | None:
        """Which message of the chart `raw` is, for this instrument; None when it is none (or of another device)."""
        return self._decoder.recognise(raw, address)

    def decode(self, raw: bytes, address: Address) -> Decoded:
        """The dump explained. Raises `DumpRefused` with the reason; nothing of a refused dump is used."""
        return self._decoder.decode_all((raw,), address)

    def decode_all(self, raws: Sequence[bytes], address: Address) -> Decoded:
        """The same of a dump that came as several messages, in any order."""
        return self._decoder.decode_all(raws, address)

    def decode_alike(self, raws: Sequence[bytes], address: Address) -> list[Alike]:
        """The same of very many messages of one length at once; those in none of the results: read them one by one."""
        return self._decoder.decode_alike(raws, address)

    def repeater(self, raws: Sequence[bytes], address: Address) -> Repeater | None:
        """Reads very many dumps like this one, which came in several messages; None where that cannot be."""
        return self._decoder.repeater(raws, address)

    def reach(self, size: int) -> int:
        """How many bytes at the beginning tell which message of this length it is; 0 where none is so long."""
        return self._decoder.reach(size)

    def decided(self, raw: bytes, address: Address, reach: int, besides: str = "") -> bool:
        """Whether all messages with its length and its first `reach` bytes are recognised as it is.

        `besides`: a message of several of which that is known.
        """
        return self._decoder.decided(raw, address, reach, besides)

    def gather(self, message: str, address: Address, **slots: int) -> Gather:
        """Collects the messages of one dump as they arrive. `slots`: the program (or part, ...) that was asked for."""
        codec = self.message(message)
        info = self.messages[message]
        if info.sequence:
            return Sequenced([self.gather(member, address, **slots) for member in info.sequence])
        several = codec.spreads.get("answer") or codec.spreads.get("write")
        if several:
            return pieces_of(several, codec.spread, address, slots)
        each = self.message(info.each).name if info.each else message
        return WholeMessages(
            each,
            info.messages,
            lambda raw: self.recognise(raw, address),
            lambda raw: self.decode(raw, address),
            slots,
        )

    def explain(self, raw: bytes, address: Address) -> tuple[Row, ...]:
        """Every byte of a message: what it is, its value, checksums as computed and received. Never refuses."""
        match = self._decoder.match(raw, address) if raw[:1] == b"\xf0" else None
        trouble = self._decoder.trouble(raw, address)
        if match is None:
            return tuple(self._explainer.damaged(raw, trouble))
        form = match.form
        frame = match.frame
        if isinstance(form, SpreadForm):
            frame = form.around(raw, None) or frame or form.header
        if frame is None:
            return tuple(self._explainer.damaged(raw, trouble))
        told = trouble or self._explainer.pairs(self.heard(raw, address))
        title = f"{form.message} ({form.form})" + (f": {told}" if told else "")
        inside = self._inside(form, frame, raw) if isinstance(form, SpreadForm) else []
        return tuple(self._explainer.frame(raw, frame, title, inside))

    def _inside(self, form: SpreadForm, frame: FrameCodec, raw: bytes) -> list[Cell]:
        """What the data of one message of several is, where its place in the whole can be told."""
        place = form.place_of(frame, raw)
        return [] if place is None else self._explainer.part_of_whole(form.stream.payload, *place)

    def packet_number(self, raw: bytes, address: Address) -> int | None:
        """The number that a packet carries, None for a message that is no numbered packet."""
        match = self._decoder.match(raw, address)
        frame = None if match is None else match.frame
        if match is not None and isinstance(match.form, SpreadForm):
            if match.form.around(raw, address) is not None:
                return None
            frame = frame or match.form.frame_of(raw)
        numbers = [] if frame is None else [number for number in frame.numbers if number.role == "packet"]
        return frame.number(raw, numbers[0]) if frame is not None and numbers else None

    def handshake(self, message: str) -> Handshake | None:
        """How the packets of a message are acknowledged, None if they are not."""
        return self.message(message).handshake

    def decode_many(self, layout: str, images: Sequence[bytes] | bytes) -> ManyValues:
        """The values of many images of a layout at once (`Decoded.images`, or a bank's unpacked bytes)."""
        if layout not in self._layouts:
            raise BadInput(f"The chart has no layout {layout}.", f"It has: {', '.join(self._layouts) or 'none'}.")
        if layout not in self._many:
            self._many[layout] = ManyReader(self._layouts[layout])
        return self._many[layout].read(images)

    # --- writing ---------------------------------------------------------------------------------------------------

    def requests(self, message: str, address: Address, **slots: int) -> tuple[bytes, ...]:
        """The messages that ask for a dump; an address map needs one for every range."""
        codec = self.message(message)
        if "request" not in codec.forms and codec.message.sequence is not None:
            members = codec.message.sequence
            return tuple(raw for member in members for raw in self.requests(member, address, **slots))
        if "request" not in codec.forms:
            raise BadInput(f"The chart does not say how {message} is asked for.", "Start the dump at the instrument.")
        frame = codec.forms["request"].frames[0]
        spread = codec.spread
        if spread is None or not any(number.role == "address" for number in frame.numbers):
            return (frame.write(Content(dict(slots)), address, None),)
        slots = {**slots, CHANNEL: address.channel}
        return tuple(
            frame.write(Content({**slots, **spread.cutting.numbers(block)}), address, None)
            for block in spread.cutting.blocks_of(slots)
        )

    def answers(self, message: str, **slots: int) -> tuple[int, ...]:
        """How many messages answer each of `requests`, in their order; frames around packets count as well."""
        codec = self.message(message)
        if codec.message.sequence is not None:
            members = [self.answers(member, **slots) for member in codec.message.sequence]
            counts = tuple(count for several in members for count in several)
            return (sum(counts),) if "request" in codec.forms else counts
        spread = codec.spread
        if spread is None:
            return (self.messages[message].messages,)
        pieces = spread.cutting.pieces(slots)
        blocks = spread.cutting.blocks_of(slots)
        around = (spread.begin is not None) + (spread.end is not None)
        request = codec.forms["request"].frames[0] if "request" in codec.forms else None
        if len(blocks) == 1 or request is None or not any(number.role == "address" for number in request.numbers):
            return (len(pieces) + around,)
        inside = [[piece for piece in pieces if 0 <= piece.offset - block.offset < block.size] for block in blocks]
        return tuple(len(several) for several in inside)

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
        base_program: int = 0,
        name: str | None = None,
        form: Form = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """The messages that carry these values.

        `base`: a dump that was received (the messages of it, or one of a bank with `base_program`); what `values` does
        not say, and every byte that the chart does not explain, is taken from it. Without it every value of the layout
        is needed (`UnknownValues` names the missing ones). `slots`: program, bank and other numbers of the message.
        """
        return self._encoder.encode(
            message, values, address, base=base, base_program=base_program, name=name, form=form, slots=slots
        )

    def encode_bank(
        self,
        message: str,
        programs: Mapping[int, ProgramSource],
        address: Address,
        *,
        values: Mapping[str, int] | None = None,
        base: Base = None,
        form: Form = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """The messages of a whole bank: program number -> what it is to hold.

        Programs that are not given stay as they are in `base`, a bank received. `values`: of what stands once for the
        whole bank.
        """
        return self._encoder.encode_bank(
            message, programs, address, values=values or {}, base=base, form=form, slots=slots
        )

    def extract(self, bank: Decoded, number: int, address: Address) -> tuple[str, tuple[bytes, ...]] | None:
        """One program of a bank as a dump of its own, to the bit; None if no message of the chart can hold it.

        Gives the name of the message and its bytes in the form in which the instrument would send it.
        """
        return self._encoder.extract(bank, number, address)

    # --- single parameters -----------------------------------------------------------------------------------------

    @cached_property
    def single_ids(self) -> frozenset[str]:
        """Parameters that can be written by a message of their own."""
        return frozenset(
            identity
            for message in self._messages.values()
            if "write" in message.singles
            for identity in message.singles["write"].parameters
        )

    @cached_property
    def askable_ids(self) -> frozenset[str]:
        """Parameters that can be asked for by a message of their own."""
        return frozenset(
            identity
            for message in self._messages.values()
            if "request" in message.singles
            for identity in message.singles["request"].parameters
        )

    def set_one(
        self, parameter: str, value: int, address: Address, others: Mapping[str, int] | None = None, **slots: int
    ) -> tuple[bytes, ...]:
        """The message that sets one parameter; none if the chart has no such message for it.

        `others`: what is known of other parameters; some share their bytes in such a message, and without all of
        them there is none (nothing unknown is sent).
        """
        return self._one_of("write", parameter, value, address, others, slots)

    def tell_one(
        self, parameter: str, value: int, address: Address, others: Mapping[str, int] | None = None, **slots: int
    ) -> tuple[bytes, ...]:
        """The message by which the instrument itself tells one parameter; none if the chart has none for it."""
        told = self._one_of("answer", parameter, value, address, others, slots)
        return told or self._one_of("write", parameter, value, address, others, slots)

    def _one_of(
        self,
        form: Form,
        parameter: str,
        value: int,
        address: Address,
        others: Mapping[str, int] | None,
        slots: Mapping[str, int],
    ) -> tuple[bytes, ...]:
        for message in self._messages.values():
            single = message.singles.get(form)
            if single is not None and parameter in single.parameters:
                try:
                    return (single.write(parameter, value, address, slots, others),)
                except UnknownValues:
                    continue
        return ()

    def ask_one(self, parameter: str, address: Address, **slots: int) -> tuple[bytes, ...]:
        """The message that asks for one parameter; none if the chart has no such message for it."""
        for message in self._messages.values():
            single = message.singles.get("request")
            if single is not None and parameter in single.parameters:
                return (single.write(parameter, None, address, slots),)
        return ()

    def heard(self, raw: bytes, address: Address) -> tuple[tuple[str, int], ...]:
        """Parameter and value of a single-parameter message; nothing for any other message, or a damaged one."""
        return self._decoder.heard(raw, address)
