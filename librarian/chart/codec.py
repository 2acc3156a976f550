"""Values to messages and back: the dump side and the controller side of one chart behind one door."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal

from librarian.chart import dump
from librarian.chart.controllers.binding import Binding
from librarian.chart.controllers.encode import Burst, NullRule, encode
from librarian.chart.controllers.listener import Listener
from librarian.chart.controllers.request import ControllerRequest
from librarian.messages import Address, Values

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
        self.single_ids = single_ids(dumps)
        self._selectors = dict(selectors)
        self._null: NullRule = null
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

    def recognise(self, raw: bytes, address: Address) -> dump.Recognised | None:
        """Which message of the chart this is, or None when it is none of ours."""
        return self.dumps.recognise(raw, address)

    def decode(self, raw: bytes, address: Address) -> dump.Decoded:
        """The values in a dump. Raises DumpRefused with the reason."""
        return self.dumps.decode(raw, address)

    def decode_all(self, raws: Sequence[bytes], address: Address) -> dump.Decoded:
        """The values in a dump that came as several messages."""
        return self.dumps.decode_all(raws, address)

    def gather(self, message: str, address: Address, **slots: int) -> Any:
        """Collects the messages of one dump; see dump.DumpCodec.gather."""
        return self.dumps.gather(message, address, **slots)

    def encode(
        self,
        message: str,
        values: Mapping[str, int],
        address: Address,
        *,
        base: bytes | Sequence[bytes] | None = None,
        name: str | None = None,
        form: Literal["request", "answer", "write"] = "write",
        **slots: int,
    ) -> tuple[bytes, ...]:
        """A dump from values. Bytes that no field claims come from `base`; raises UnknownValues where neither knows."""
        known = values if isinstance(values, Values) else Values(values)
        return self.dumps.encode(message, known, address, base=base, name=name, form=form, **slots)

    def explain(self, raw: bytes, address: Address) -> Any:
        """Byte by byte: offset, byte, field or reason, value."""
        return self.dumps.explain(raw, address)

    def set_one(self, parameter: str, value: int, address: Address) -> tuple[bytes, ...]:
        """The single-parameter SysEx message that sets one parameter; () where the chart has none for it."""
        if parameter not in self.single_ids:
            return ()
        return self.dumps.set_one(parameter, value, address)

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
        return encode(bindings, values, address, selectors=self._selectors, null=self._null)

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
        dumps = self.dumps
        sysex = (lambda raw: dumps.heard(raw, address)) if self.single_ids else None
        return Listener(bindings, address, selectors=self._selectors, sysex=sysex)

    def is_controller(self, raw: bytes, address: Address) -> bool:
        """True for a channel message that belongs to some binding: a value, a half, a selection or a selector."""
        return self.listener(address).is_known(raw) or self.listener(address, "instrument").is_known(raw)

    def controller_request(self, address: Address) -> tuple[bytes, ...]:
        """What asks for a dump of controllers; () where the chart knows no such request."""
        return self._request.messages(address) if self._request is not None else ()

    def is_controller_request(self, raw: bytes, address: Address) -> bool:
        """True for the (last) message of `controller_request`."""
        asked = self.controller_request(address)
        return bool(asked) and raw == asked[-1]


def single_ids(dumps: dump.DumpCodec) -> frozenset[str]:
    """Ids of the parameters that a SysEx message of their own can set."""
    return frozenset(name for one in dumps.messages.values() if one.single_parameter for name in one.carries)


def _preferred(bindings: Sequence[tuple[str, tuple[Binding, ...]]], *, recognized: bool) -> dict[str, Binding]:
    """The binding to send by: the first that carries every value, else the first."""
    chosen: dict[str, Binding] = {}
    for parameter, several in bindings:
        usable = [binding for binding in several if (binding.recognized if recognized else binding.transmitted)]
        if usable:
            chosen[parameter] = next((binding for binding in usable if binding.exact), usable[0])
    return chosen
