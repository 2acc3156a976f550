"""What a simulated instrument does with a message that asks or writes: answer, obey, refuse, or stay silent."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from typing import TYPE_CHECKING

from librarian.chart import DumpRefused
from librarian.messages import ALL_CALL, Address, Values
from librarian.wire import universal

if TYPE_CHECKING:
    from librarian.chart import Decoded, Recognised
    from librarian.standin.instrument import Instrument

_WAIT_S = 0.1


class Answers:
    """The protocol side of one Instrument."""

    def __init__(self, owner: Instrument) -> None:
        self._owner = owner
        codec = owner.chart.codec
        addresses = {owner.address, Address(owner.address.channel, ALL_CALL)}
        self._controller_requests = {codec.controller_request(address) for address in addresses} - {()}
        longest = max((len(request) for request in self._controller_requests), default=1)
        self._last: deque[bytes] = deque(maxlen=longest)
        self._bank_msb = 0
        self._bank_lsb = 0

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
        if raw[1] in {0x7E, 0x7F}:
            asked = {universal.identity_request(device) for device in (self._own_device(), ALL_CALL)}
            if raw in asked and owner.behaviour.identity:
                self._answer((self._identity_reply(),), at)
            return True
        found = self._recognise(raw)
        if found is None:
            return False
        recognised, address = found
        if recognised.form == "request":
            self._asked(recognised, at)
            return True
        if owner.chart.codec.messages[recognised.message].single_parameter:
            return False
        self._written(raw, recognised, address, at)
        return True

    def _recognise(self, raw: bytes) -> tuple[Recognised, Address] | None:
        """The message through the chart: for its own device ID or all call, or for any device if it does not look."""
        owner = self._owner
        address = owner.address
        if not owner.behaviour.obeys_device:
            address = Address(address.channel, ALL_CALL)
        recognised = owner.chart.codec.recognise(raw, address)
        return None if recognised is None else (recognised, address)

    def _asked(self, recognised: Recognised, at: float) -> None:
        owner = self._owner
        if owner.behaviour.refuse == "nak":
            self._answer((universal.handshake("nak", self._own_device()),), at)
            return
        if owner.behaviour.refuse == "silence":
            return
        info = owner.chart.codec.messages[recognised.message]
        values, name, base = Values(owner.sound), owner.name, owner.bases.get(recognised.message)
        if info.kind == "program":
            stored = owner.memory.at(recognised.slots.get("program", 0), self._bank_slot(recognised.slots))
            if stored is None:
                return
            values, name, base = Values(stored.values), stored.name, stored.raw
        answer = owner.chart.codec.encode(
            recognised.message, values, owner.address, base=base, name=name, form="answer", **recognised.slots
        )
        self._answer(answer, at)

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
        owner = self._owner
        info = owner.chart.codec.messages[recognised.message]
        try:
            decoded = owner.chart.codec.decode(raw, address)
        except DumpRefused as problem:
            owner.refused.append(str(problem))
            self._acknowledge(False, at)
            return
        into_memory = info.kind in {"program", "bank"}
        habits = owner.behaviour
        if habits.refuse or habits.refuse_writes or (into_memory and habits.memory_protected):
            owner.refused.append("the write was refused")
            if habits.refused_write_changes and not into_memory:
                some = dict(list(decoded.values.items())[:3])
                owner.set_sound(some, at)
            if habits.refuse != "silence":
                self._answer((universal.handshake("nak", self._own_device()),), at)
            return
        if into_memory:
            self._store(decoded, raw)
        else:
            owner.set_sound(decoded.values, at)
            owner.name = decoded.name
            owner.bases[recognised.message] = raw
        if owner.behaviour.store_s > 0:
            owner.busy(at + owner.behaviour.store_s)
        self._acknowledge(True, at)

    def _store(self, decoded: Decoded, raw: bytes) -> None:
        owner = self._owner
        stored = owner.memory.at(decoded.slots.get("program", 0), self._bank_slot(decoded.slots))
        if stored is None:
            owner.refused.append("there is no such program")
            return
        stored.values.update(decoded.values)
        stored.name, stored.raw = decoded.name, raw

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
        return True

    def _bank_slot(self, slots: Mapping[str, int]) -> int:
        memory = self._owner.chart.memory
        return slots.get("bank", memory.first_bank if memory is not None else 0)

    def _bank(self) -> int:
        memory = self._owner.chart.memory
        if memory is None or memory.bank_select == "none":
            return 0 if memory is None else memory.first_bank
        number = {"msb": self._bank_msb, "lsb": self._bank_lsb, "both": self._bank_msb * 128 + self._bank_lsb}
        return number[memory.bank_select]

    # -- identity -----------------------------------------------------------------------------------------------------

    def _own_device(self) -> int:
        """The device ID it answers with; one that has none says 0."""
        return 0 if self._owner.address.device == ALL_CALL else self._owner.address.device

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
