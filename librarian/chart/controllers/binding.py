"""One compiled binding: how one parameter travels as controller messages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.chart.controllers.mapping import Mapping, build_mapping
from librarian.chart.language.parameters import BindingTable, Kind
from librarian.messages import Address

Travels = Literal["cc", "cc14", "nrpn", "rpn", "program"]


@dataclass(frozen=True, slots=True)
class Binding:
    """`number`: controller, RPN or NRPN number (cc14: the MSB's; program: 0). `partner`: LSB's number of a cc14.

    `bits`: width on the wire. `transmitted`: the instrument sends it; `recognized`: it obeys it. `under`: selector
    id -> number that must hold. `exact`: every value of the range comes back as it went.
    """

    travels: Travels
    number: int
    partner: int
    bits: int
    half: Literal["msb", "lsb"]
    order: Literal["msb_first", "lsb_first", "either"]
    bank: Literal["none", "msb", "lsb", "both"]
    mapping: Mapping
    transmitted: bool
    recognized: bool
    channel: int | None
    channel_offset: int
    under: tuple[tuple[str, int], ...] = ()

    @property
    def exact(self) -> bool:
        """True when every value of the range comes back as it went."""
        return self.mapping.exact

    def channel_of(self, address: Address) -> int:
        """Channel on the wire, 0-15."""
        if self.channel is not None:
            return self.channel
        return (address.channel + self.channel_offset) % 16

    @property
    def text(self) -> str:
        """As people write it: "CC 74", "CC 16/48", "NRPN 261", "RPN 2", "Program"."""
        if self.travels == "cc":
            return f"CC {self.number}"
        if self.travels == "cc14":
            return f"CC {self.number}/{self.partner}"
        if self.travels == "program":
            return "Program"
        return f"{self.travels.upper()} {self.number}"


def compile_binding(table: BindingTable, kind: Kind, low: int, high: int) -> Binding:
    """Compile one binding table for a parameter of this kind and range. Raises mapping.Misfit."""
    travels: Travels = table.travels  # type: ignore[assignment]  # the model names exactly these five
    number, partner = 0, 0
    if travels == "cc14":
        number, partner = pair_of(table)
    elif travels == "cc":
        number = table.cc or 0
    elif travels != "program":
        number = table.number
    bits = width(table)
    return Binding(
        travels=travels,
        number=number,
        partner=partner,
        bits=bits,
        half=table.half,
        order=table.order,
        bank=table.bank,
        mapping=build_mapping(table, kind, low, high, bits),
        transmitted=table.only != "recognized",
        recognized=table.only != "transmitted",
        channel=None if table.channel is None else table.channel - 1,
        channel_offset=table.channel_offset,
        under=tuple(sorted(table.under.items())) if table.under else (),
    )


def pair_of(table: BindingTable) -> tuple[int, int]:
    """Numbers of MSB and LSB of a cc14 binding."""
    pair = table.cc14
    if isinstance(pair, list):
        return pair[0], pair[1]
    number = int(pair or 0)
    return number, number + 32


def width(table: BindingTable) -> int:
    """How many bits this binding carries."""
    if table.cc is not None:
        return 7
    if table.program is not None:
        return {"none": 7, "msb": 14, "lsb": 14, "both": 21}[table.bank]
    return 14 if table.cc14 is not None else table.bits or 14
