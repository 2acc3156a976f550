"""What a simulated instrument does with a message that asks or writes: answer, obey, refuse, or stay silent."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING

from librarian.chart import DumpRefused, NotWritable, Recognised
from librarian.chart.dump import Handshake, NotAddressable, ProgramSource
from librarian.messages import ALL_CALL, Address, Values
from librarian.standin.memory import Program
from librarian.standin.packets import Incoming, Outgoing
from librarian.wire import universal

if TYPE_CHECKING:
    from librarian.chart import Decoded
    from librarian.standin.instrument import Instrument

_WAIT_S = 0.1


class Answers:
    """The protocol side of one Instrument."""

    def __init__(self, owner: Instrument) -> None:
        self._owner = owner
        codec = owner.chart.codec
        self._controller_requests = set(self._by_address(codec.controller_request)) - {()}
        longest = max((len(request) for request in self._controller_requests), default=1)
        self._last: deque[bytes] = deque(maxlen=longest)
        self._single_requests = {
            raw: name
            for name in owner.chart.parameters
            for several in self._by_address(partial(codec.ask_one, name))
            for raw in several
        }
        self._outgoing: Outgoing | None = None
        self._incoming = Incoming(codec, owner.address)
        self._bank_msb = 0
        self._bank_lsb = 0
        self._pieces: dict[str, bool] = {}

    def _by_address(self, build: Callable[[Address], tuple[bytes, ...]]) -> list[tuple[bytes, ...]]:
        """Messages to it, and the same to all devices where its protocol has an all call."""
        own, found = self._owner.address, []
        for address in (own, Address(own.channel, ALL_CALL)):
            try:
                found.append(build(address))
            except NotAddressable:
                continue
        return found

    def to(self, raw: bytes, at: float) -> bool:
        """Deal with one message that came at `at`; False when it is a controller like any other."""
        self._last.append(raw)
        last = tuple(self._last)
        if any(last[-len(request) :] == request for request in self._controller_requests):
            self._last.clear()
            self._dump_controllers(at)
            return True
        if raw[0] == 0xF0:
            return self._sysex(raw, at)
        return self._program_change(raw, at)

    # -- requests -----------------------------------------------------------------------------------------------------

    def _sysex(self, raw: bytes, at: float) -> bool:
        owner = self._owner
        if self._handshaken(raw, at):
            return True
        if raw[1] in {0x7E, 0x7F}:
            asked = {universal.identity_request(device) for device in (self._own_device(), ALL_CALL)}
            if raw in asked and owner.behaviour.identity:
                self._answer((self._identity_reply(),), at)
            if raw in asked or self._recognise(raw) is None:  # a chart may describe the standard's own dumps
                return True
        if raw in self._single_requests:
            name = self._single_requests[raw]
            self._answer(owner.chart.codec.tell_one(name, owner.sound[name], owner.address, owner.sound), at)
            return True
        found = self._recognise(raw)
        if found is None:
            return False
        recognised, address = found
        if recognised.form == "request":
            self._asked(raw, recognised, at)
            return True
        self._written(raw, recognised, address, at)
        return not owner.chart.codec.heard(raw, address)

    def _recognise(self, raw: bytes) -> tuple[Recognised, Address] | None:
        """The message through the chart: for its own device ID or all call, or for any device if it does not look."""
        owner = self._owner
        address = owner.address
        if not owner.behaviour.obeys_device:
            address = Address(address.channel, ALL_CALL)
        recognised = owner.chart.codec.recognise(raw, address)
        return None if recognised is None else (recognised, address)

    def _asked(self, raw: bytes, recognised: Recognised, at: float) -> None:
        owner = self._owner
        if owner.behaviour.refuse == "nak":
            self._answer((universal.handshake("nak", self._own_device()),), at)
        if owner.behaviour.refuse or recognised.message not in owner.chart.codec.messages:
            return
        try:
            recognised = self._with_program(raw, recognised)
            answer = self._dump(recognised)
        except NotAddressable:
            return  # it asks for a bank or a program whose number cannot be
        if not answer:
            return
        part = self._part_asked_for(raw, recognised, len(answer))
        handshake = owner.chart.codec.handshake(recognised.message)
        if handshake is None:
            self._answer(answer[part], at)
        else:
            self._outgoing = Outgoing(answer, handshake, owner.send, at + owner.behaviour.answer_delay_s)

    def _with_program(self, raw: bytes, recognised: Recognised) -> Recognised:
        """A request that tells its program by an address: the program whose request it is."""
        codec, message = self._owner.chart.codec, recognised.message
        if "program" not in codec.messages[message].slots or "program" in recognised.slots:
            return recognised
        low, high = codec.messages[message].slots["program"]
        for program in range(low, high + 1):
            if any(raw in several for several in self._by_address(partial(codec.requests, message, program=program))):
                return Recognised(message, recognised.form, {**recognised.slots, "program": program})
        return recognised

    def _dump(self, recognised: Recognised) -> tuple[bytes, ...]:
        """The whole answer to a request, () where it asks for what is not there."""
        owner, message = self._owner, recognised.message
        codec = owner.chart.codec
        kind, slots = codec.messages[message].kind, recognised.slots
        if kind == "bank":
            shared = owner.sound
            size = codec.messages[message].name_size
            places = self._places(slots)
            if not places:
                return ()
            every = {number: self._source(owner.memory[place], size) for number, place in enumerate(places)}
            for named in (True, False):  # its own letters may be others: its programs have no names then
                sources = every if named else {n: ProgramSource(one.values, None, one.base) for n, one in every.items()}
                try:
                    return codec.encode_bank(
                        message, sources, owner.address, values=shared, base=None, form="answer", **slots
                    )
                except NotWritable:
                    continue
            return ()
        values, name, base = Values(owner.sound), owner.name, owner.bases.get(message)
        several = [owner.bases.get(member) for member in codec.messages[message].sequence]
        if several and None not in several:
            base = tuple(raw for each in several if each is not None for raw in each)
        if kind == "program":
            stored = owner.memory.at(slots.get("program", 0), self._bank_slot(slots))
            if stored is None:
                return ()
            values, name, base = Values(stored.values), stored.name, stored.raw
        name = name[: codec.messages[message].name_size]
        try:
            return codec.encode(message, values, owner.address, base=base, name=name, form="answer", **slots)
        except NotWritable:  # its own letters are others: it has no name then
            return codec.encode(message, values, owner.address, base=base, name=None, form="answer", **slots)

    @staticmethod
    def _source(stored: Program, size: int) -> ProgramSource:
        return ProgramSource(stored.values, stored.name[:size], stored.raw)

    def _part_asked_for(self, raw: bytes, recognised: Recognised, total: int) -> slice:
        """Which of all answering messages this request is for: a range of addresses brings only its own."""
        owner = self._owner
        codec, message = owner.chart.codec, recognised.message
        slots = {word: number for word, number in recognised.slots.items() if word != "version"}
        for requests in self._by_address(lambda address: codec.requests(message, address, **slots)):
            if len(requests) > 1 and raw in requests:
                counts = codec.answers(message, **slots)
                first = sum(counts[: requests.index(raw)])
                return slice(first, first + counts[requests.index(raw)])
        return slice(0, total)

    def _handshaken(self, raw: bytes, at: float) -> bool:
        """Deal with an ACK, NAK, WAIT or cancel for the dump that is being sent."""
        if self._outgoing is None:
            return False
        said = self._owner.chart.codec.handshake_said(raw, self._owner.address)
        if said:
            self._outgoing.said(said, at)
        return bool(said)

    @property
    def wakes_at(self) -> float | None:
        """When something happens without input: a packet is not acknowledged in time."""
        return None if self._outgoing is None else self._outgoing.wakes_at

    def wake(self, now: float) -> None:
        """Let that happen if it is time."""
        outgoing = self._outgoing
        if outgoing is not None and outgoing.wakes_at is not None and outgoing.wakes_at <= now:
            outgoing.wake(now)
        if outgoing is not None and outgoing.done:
            self._outgoing = None

    def forget(self) -> None:
        """Its power failed: dumps on their way are over."""
        self._outgoing = None
        self._incoming = Incoming(self._owner.chart.codec, self._owner.address)

    def _dump_controllers(self, at: float) -> None:
        owner = self._owner
        if owner.behaviour.refuse == "nak":
            self._answer((universal.handshake("nak", self._own_device()),), at)
        if owner.behaviour.refuse:
            return
        way = next(way for way in owner.chart.ways_in if way.kind == "controllers")
        order = [name for name in owner.chart.parameters if name in way.carries]
        if way.end is not None and way.end.last in order:
            order.remove(way.end.last)
            order.append(way.end.last)
        messages: list[bytes] = []
        for name in order:
            for burst in owner.chart.codec.controllers(
                Values(owner.sound), owner.address, only=[name], side="instrument"
            ):
                messages += burst.messages
        self._answer(tuple(messages), at)

    def _answer(self, messages: tuple[bytes, ...], at: float) -> None:
        owner = self._owner
        ends = at
        for raw in messages:
            ends = owner.send(raw, at + owner.behaviour.answer_delay_s)
        if owner.behaviour.deaf_until_answered:
            owner.busy(ends)

    # -- writes -------------------------------------------------------------------------------------------------------

    def _written(self, raw: bytes, recognised: Recognised, address: Address, at: float) -> None:
        owner, message = self._owner, recognised.message
        codec = owner.chart.codec
        info = codec.messages.get(message)
        if info is None or info.single_parameter or info.kind == "command":
            return
        whole: tuple[bytes, ...] | None = (raw,)
        handshake = codec.handshake(message)
        packet = codec.packet_number(raw, address) or 0
        try:
            if info.messages > 1 and not info.each and self._obeys_pieces(message):
                whole = self._among_what_is_there(message, raw, address)
            elif info.messages > 1 and not info.each:
                whole = self._incoming.take(message, raw, at)
            decoded = None if whole is None else codec.decode_all(whole, address)
        except DumpRefused as problem:
            owner.refused.append(str(problem))
            if handshake is not None and (nak := handshake.make("nak", owner.address, packet)) is not None:
                self._answer((nak,), at)
            else:
                self._acknowledge(False, at)
            return
        own_nak = None if handshake is None else handshake.make("nak", owner.address, packet)
        if decoded is None or whole is None or self._refuses(info.kind, decoded, at, own_nak):
            if handshake is not None and whole is None:
                self._acknowledge_packet(handshake, packet, at)
            elif whole is None:
                self._acknowledge(True, at)  # each message is answered, the last one when all of it is taken
            return
        if info.kind in {"program", "bank"}:
            self._store(decoded, whole)
        else:
            owner.set_sound(decoded.values, at)
            if info.has_name:
                owner.name = decoded.name
            owner.bases[message] = whole
        if owner.behaviour.store_s > 0:
            owner.busy(at + owner.behaviour.store_s)
        if handshake is not None:
            self._acknowledge_packet(handshake, packet, at)
        else:
            self._acknowledge(True, at)

    def _among_what_is_there(self, message: str, raw: bytes, address: Address) -> tuple[bytes, ...]:
        """The dump that is there already, with this one message of it as it came. Raises DumpRefused."""
        codec, memory = self._owner.chart.codec, self._owner.chart.memory
        places: list[dict[str, int]] = [{}]
        if codec.messages[message].kind == "program" and memory is not None:
            places = [{"program": n, "bank": bank} for bank in range(memory.banks) for n in range(memory.programs)]
        has, refused = codec.messages[message].slots, DumpRefused("incomplete", "There is nothing at its address.")
        for place in places:
            there = self._dump(Recognised(message, "answer", {word: n for word, n in place.items() if word in has}))
            if raw in there:
                return there
            for index in range(len(there)):
                whole = (*there[:index], raw, *there[index + 1 :])
                if self._trouble_with((*there[:index], *there[index + 1 :]), address) is None:
                    continue  # a frame around the others, which stand without it
                trouble = self._trouble_with(whole, address)
                if trouble is None:
                    return whole
                refused = trouble
        raise refused

    def _trouble_with(self, whole: tuple[bytes, ...], address: Address) -> DumpRefused | None:
        try:
            self._owner.chart.codec.decode_all(whole, address)
        except DumpRefused as problem:
            return problem
        return None

    def _obeys_pieces(self, message: str) -> bool:
        """True for an instrument that obeys each message alone, where each says itself where it belongs."""
        if message not in self._pieces:
            self._pieces[message] = self._owner.behaviour.takes_pieces and self._are_pieces(message)
        return self._pieces[message]

    def _are_pieces(self, message: str) -> bool:
        owner, codec = self._owner, self._owner.chart.codec
        if codec.handshake(message) is not None:
            return False
        slots = {word: limits for word, limits in codec.messages[message].slots.items() if word != "version"}
        lowest = {word: low for word, (low, _) in slots.items()}
        there = self._dump(Recognised(message, "answer", lowest))
        if any(codec.packet_number(raw, owner.address) is not None for raw in there):
            return False
        low, high = slots.get("program", (0, 0))
        if low == high:
            return True
        other = self._dump(Recognised(message, "answer", {**lowest, "program": low + 1}))
        for index in range(len(there)):
            before, after = there[:index], there[index + 1 :]
            is_needed = self._trouble_with((*before, *after), owner.address) is not None
            if is_needed and self._trouble_with((*before, other[index], *after), owner.address) is None:
                return False  # nothing in it says of which program it is
        return True

    def _refuses(self, kind: str, decoded: Decoded, at: float, own_nak: bytes | None) -> bool:
        """True when its habits do not let this write pass; it says so (`own_nak`: in its protocol's words), or not."""
        owner, habits = self._owner, self._owner.behaviour
        into_memory = kind in {"program", "bank"}
        if not (habits.refuse or habits.refuse_writes or (into_memory and habits.memory_protected)):
            return False
        owner.refused.append("the write was refused")
        if habits.refused_write_changes and not into_memory:
            owner.set_sound(dict(list(decoded.values.items())[:3]), at)
        if habits.refuse != "silence":
            self._answer((own_nak or universal.handshake("nak", self._own_device()),), at)
        return True

    def _store(self, decoded: Decoded, whole: tuple[bytes, ...]) -> None:
        owner = self._owner
        if decoded.programs:
            places = self._places(decoded.slots)
            for one in decoded.programs:
                if one.number < len(places):
                    found = owner.chart.codec.extract(decoded, one.number, owner.address)
                    self._replace(owner.memory[places[one.number]], one.values, one.name, found[1] if found else None)
            return
        stored = owner.memory.at(decoded.slots.get("program", 0), self._bank_slot(decoded.slots))
        if stored is None:
            owner.refused.append("there is no such program")
        else:
            self._replace(stored, decoded.values, decoded.name, whole)

    def _places(self, slots: Mapping[str, int]) -> range:
        """The places of the memory that a bank message is about: those of its bank, or all of them."""
        memory, size = self._owner.chart.memory, self._owner.memory.size
        if memory is None or "bank" not in slots:
            return range(size)
        first = slots["bank"] * memory.programs
        return range(min(first, size), min(first + memory.programs, size))

    @staticmethod
    def _replace(stored: Program, values: Values, name: str, raw: tuple[bytes, ...] | None) -> None:
        stored.values.update(values)
        stored.name, stored.raw = name, raw

    def _acknowledge_packet(self, handshake: Handshake, packet: int, at: float) -> None:
        wait = handshake.make("wait", self._owner.address, packet)
        waits = [] if wait is None else [wait] * self._owner.behaviour.waits
        for count, raw in enumerate(waits):
            self._owner.send(raw, at + count * _WAIT_S)
        ack = handshake.make("ack", self._owner.address, packet)
        if ack is not None:
            self._owner.send(ack, at + len(waits) * _WAIT_S)

    def _acknowledge(self, well: bool, at: float) -> None:
        owner = self._owner
        declared = any(way.acknowledged for way in owner.chart.ways_out)
        if owner.behaviour.acknowledge or declared:
            device = self._own_device()
            for count in range(owner.behaviour.waits):
                owner.send(universal.handshake("wait", device), at + count * _WAIT_S)
            said = universal.handshake("ack" if well else "nak", device)
            self._answer((said,), at + owner.behaviour.store_s + owner.behaviour.waits * _WAIT_S)

    def _program_change(self, raw: bytes, at: float) -> bool:
        owner = self._owner
        if raw[0] & 0x0F != owner.address.channel:
            return raw[0] & 0xF0 == 0xC0
        if raw[0] & 0xF0 == 0xB0 and raw[1] in {0, 32} and owner.chart.memory is not None:
            if raw[1] == 0:
                self._bank_msb = raw[2]
            else:
                self._bank_lsb = raw[2]
            return False
        if raw[0] & 0xF0 != 0xC0 or not owner.memory.size:
            return False
        stored = owner.memory.at(raw[1], self._bank())
        if stored is not None:
            owner.load(stored, at)
        # A parameter may travel as a program change as well; then its listener has to hear it.
        return not any(one.travels == "program" for one in owner.chart.codec.carried().values())

    @staticmethod
    def _bank_slot(slots: Mapping[str, int]) -> int:
        return slots.get("bank", 0)

    def _bank(self) -> int:
        memory = self._owner.chart.memory
        if memory is None or memory.bank_select == "none":
            return 0
        number = {"msb": self._bank_msb, "lsb": self._bank_lsb, "both": self._bank_msb * 128 + self._bank_lsb}
        return number[memory.bank_select] - memory.first_bank

    # -- identity -----------------------------------------------------------------------------------------------------

    def _own_device(self) -> int:
        """The device ID it answers with."""
        return self._owner.address.device

    def _identity_reply(self) -> bytes:
        owner = self._owner
        rule = owner.chart.identity
        revision = owner.behaviour.revision
        return universal.identity_reply(
            universal.IdentityReply(
                self._own_device(),
                rule.manufacturer or b"\x7d",
                rule.family or 0,
                rule.member or 0,
                revision if revision is not None else rule.example_revision(),
            )
        )
