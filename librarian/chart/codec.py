"""Values to messages and back: the dump side and the controller side of one chart behind one door."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from librarian.chart import dump
from librarian.chart.controllers.binding import Binding
from librarian.chart.controllers.encode import Burst, NullRule, encode
from librarian.chart.controllers.listener import Listener
from librarian.chart.controllers.request import ControllerRequest
from librarian.messages import Address

Side = Literal["computer", "instrument"]


class Codec:
    """Compiled once from a chart. `side`: "computer" talks to the instrument, "instrument" is the instrument itself."""

    def __init__(
        self,
        dumps: dump.DumpCodec,
        bindings: Sequence[tuple[str, tuple[Binding, ...]]],
        *,
        selectors: Mapping[str, int],
        null: NullRule,
        request: ControllerRequest | None,
    ) -> None:
        self.dumps = dumps
        self.messages: Mapping[str, dump.MessageInfo] = dumps.messages
        self._all = tuple((parameter, binding) for parameter, several in bindings for binding in several)
        self._has_singles = any(one.single_parameter for one in dumps.messages.values())
        self.selectors: Mapping[str, int] = dict(selectors)
        self._null: NullRule = null
        self._known_at: tuple[Address, tuple[Listener, Listener]] | None = None
        self._request = request
        # What the computer sends is what the instrument recognizes, and the other way round.
        self._sent = {
            "computer": _preferred(bindings, recognized=True),
            "instrument": _preferred(bindings, recognized=False),
        }

    # --- dumps: see dump.DumpCodec

    def request(self, message: str, address: Address, **slots: int) -> bytes:
        """The message that asks for a dump. Raises BadInput for an unknown name or slot."""
        return self.dumps.request(message, address, **slots)

    def requests(self, message: str, address: Address, **slots: int) -> tuple[bytes, ...]:
        """All messages that ask for a dump; an address range may need several."""
        return self.dumps.requests(message, address, **slots)

    def answers(self, message: str, **slots: int) -> tuple[int, ...]:
        """How many messages answer each of `requests`, in their order."""
        return self.dumps.answers(message, **slots)

    def packet_number(self, raw: bytes, address: Address) -> int | None:
        """The number that a packet carries, None for a message that is no numbered packet."""
        return self.dumps.packet_number(raw, address)

    def handshake(self, message: str) -> dump.Handshake | None:
        """How the packets of a message are acknowledged, None if they are not."""
        return self.dumps.handshake(message)

    def handshake_said(self, raw: bytes, address: Address) -> str:
        """What a message says in a handshake of any of its dumps: "ack", "nak", "wait", "cancel"; '' for others."""
        for message in self.messages:
            step = self.handshake(message)
            if step is not None and (said := step.read(raw, address)) is not None:
                return said[0]
        return ""

    def recognise(self, raw: bytes, address: Address) -> dump.Recognised | None:
        """Which message of the chart this is, or None when it is none of ours."""
        return self.dumps.recognise(raw, address)

    def decode(self, raw: bytes, address: Address) -> dump.Decoded:
        """The values in a dump. Raises DumpRefused with the reason."""
        return self.dumps.decode(raw, address)

    def decode_all(self, raws: Sequence[bytes], address: Address) -> dump.Decoded:
        """The values in a dump that came as several messages."""
        return self.dumps.decode_all(raws, address)

    def decode_alike(self, raws: Sequence[bytes], address: Address) -> list[dump.Alike]:
        """Very many messages of one length at once; those in none of the results have to be decoded one by one."""
        return self.dumps.decode_alike(raws, address)

    def repeater(self, raws: Sequence[bytes], address: Address) -> dump.Repeater | None:
        """Reads very many dumps like this one, which came in several messages; None where that cannot be."""
        return self.dumps.repeater(raws, address)

    def reach(self, size: int) -> int:
        """How many bytes at the beginning tell which message of this length it is; 0 where none is so long."""
        return self.dumps.reach(size)

    def decided(self, raw: bytes, address: Address, reach: int, besides: str = "") -> bool:
        """Whether all messages with its length and its first `reach` bytes are recognised as it is.

        `besides`: a message of several of which that is known.
        """
        return self.dumps.decided(raw, address, reach, besides)

    def gather(self, message: str, address: Address, **slots: int) -> dump.Gather:
        """Collects the messages of one dump."""
        return self.dumps.gather(message, address, **slots)

    def encode(
        self,
        message: str,
        values: Mapping[str, int],
        address: Address,
        *,
        base: bytes | Sequence[bytes] | None = None,
        base_program: int = 0,
        name: str | None = None,
        form: dump.Form = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """A dump from values. Bytes that no field claims come from `base` (of a bank: its program `base_program`).

        Raises UnknownValues where neither `values` nor `base` knows a parameter.
        """
        return self.dumps.encode(
            message, values, address, base=base, base_program=base_program, name=name, form=form, **slots
        )

    def encode_bank(
        self,
        message: str,
        programs: Mapping[int, dump.ProgramSource],
        address: Address,
        *,
        values: Mapping[str, int] | None = None,
        base: bytes | Sequence[bytes] | None = None,
        form: dump.Form = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """A bank from programs (number from 0 -> source); programs that are not given come from `base`.

        `values`: of what stands once for the whole bank.
        """
        return self.dumps.encode_bank(message, programs, address, values=values, base=base, form=form, **slots)

    def extract(self, bank: dump.Decoded, number: int, address: Address) -> tuple[str, tuple[bytes, ...]] | None:
        """One program of a bank as a dump of its own: message name and bytes, or None where the chart has no such."""
        return self.dumps.extract(bank, number, address)

    def device_fits(self, device: int) -> bool:
        """True when every message of the chart can carry this device ID."""
        return self.dumps.device_fits(device)

    def explain(self, raw: bytes, address: Address) -> tuple[dump.Row, ...]:
        """Byte by byte: offset, byte, field or reason, value."""
        return self.dumps.explain(raw, address)

    def set_one(
        self, parameter: str, value: int, address: Address, others: Mapping[str, int] | None = None, **slots: int
    ) -> tuple[bytes, ...]:
        """The single-parameter SysEx message that sets one parameter; () where the chart has none for it.

        `others`: known values of other parameters, for messages whose bytes several share; () where one is unknown.
        """
        return self.dumps.set_one(parameter, value, address, others, **slots)

    def tell_one(
        self, parameter: str, value: int, address: Address, others: Mapping[str, int] | None = None, **slots: int
    ) -> tuple[bytes, ...]:
        """The single-parameter SysEx message by which the instrument tells one parameter; () where it has none."""
        return self.dumps.tell_one(parameter, value, address, others, **slots)

    def ask_one(self, parameter: str, address: Address, **slots: int) -> tuple[bytes, ...]:
        """The message that asks for one parameter; () where the chart has none for it."""
        return self.dumps.ask_one(parameter, address, **slots)

    def heard(self, raw: bytes, address: Address) -> tuple[tuple[str, int], ...]:
        """What a single-parameter SysEx message says; () when it is none."""
        return self.dumps.heard(raw, address)

    @property
    def single_ids(self) -> frozenset[str]:
        """Ids of the parameters that a SysEx message of their own can set."""
        return self.dumps.single_ids

    # --- controllers

    def controllers(
        self,
        values: Mapping[str, int],
        address: Address,
        only: Iterable[str] | None = None,
        *,
        side: Side = "computer",
    ) -> tuple[Burst, ...]:
        """One burst for each known parameter that a controller message can carry, in chart order."""
        bindings: Iterable[tuple[str, Binding]] = self._sent[side].items()
        if only is not None:
            wanted = frozenset(only)
            bindings = [(parameter, binding) for parameter, binding in bindings if parameter in wanted]
        return encode(bindings, values, address, selectors=self.selectors, null=self._null)

    @property
    def null_rule(self) -> NullRule:
        """When `controllers` sends the null of RPN and NRPN."""
        return self._null

    def carried(self, side: Side = "computer") -> Mapping[str, Binding]:
        """Which parameters `controllers` can send, and by which binding."""
        return self._sent[side]

    def listener(self, address: Address, side: Side = "computer") -> Listener:
        """Hears what the other side sends: controllers, pairs, RPN and NRPN, single-parameter SysEx."""
        bindings = [
            (parameter, binding)
            for parameter, binding in self._all
            if (binding.transmitted if side == "computer" else binding.recognized)
        ]
        sysex = (lambda raw: self.heard(raw, address)) if self._has_singles else None
        return Listener(bindings, address, selectors=self.selectors, sysex=sysex)

    def is_controller(self, raw: bytes, address: Address) -> bool:
        """True for a channel message that belongs to some binding: a value, a half, a selection or a selector."""
        if self._known_at is None or self._known_at[0] != address:
            both = (self.listener(address), self.listener(address, "instrument"))
            self._known_at = (address, both)
        return any(listener.is_known(raw) for listener in self._known_at[1])

    def controller_request(self, address: Address) -> tuple[bytes, ...]:
        """What asks for a dump of controllers; () where the chart knows no such request."""
        return self._request.messages(address) if self._request is not None else ()

    def is_controller_request(self, raw: bytes, address: Address) -> bool:
        """True for the (last) message of `controller_request`."""
        asked = self.controller_request(address)
        return bool(asked) and raw == asked[-1]


def _preferred(bindings: Sequence[tuple[str, tuple[Binding, ...]]], *, recognized: bool) -> dict[str, Binding]:
    """The binding to send by: the first that carries every value, else the first."""
    chosen: dict[str, Binding] = {}
    for parameter, several in bindings:
        usable = [binding for binding in several if (binding.recognized if recognized else binding.transmitted)]
        if usable:
            chosen[parameter] = next((binding for binding in usable if binding.exact), usable[0])
    return chosen
