"""The request for a dump of controllers: CC, NRPN, program change or SysEx."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from librarian.chart.dump import AddressRule
from librarian.chart.language.ways import RequestTable
from librarian.messages import Address


@dataclass(frozen=True, slots=True)
class ControllerRequest:
    """The messages to send, one after another."""

    tables: tuple[RequestTable, ...]
    rule: AddressRule

    def messages(self, address: Address) -> tuple[bytes, ...]:
        """The bytes for an instrument at this address."""
        found: list[bytes] = []
        for table in self.tables:
            found += _messages(table, address, self.rule)
        return tuple(found)


def build_request(tables: Sequence[RequestTable], rule: AddressRule) -> ControllerRequest:
    """Compile the request tables of a way."""
    return ControllerRequest(tuple(tables), rule)


def _messages(table: RequestTable, address: Address, rule: AddressRule) -> list[bytes]:
    cc = 0xB0 | address.channel
    if table.cc is not None:
        return [bytes((cc, table.cc, table.value))]
    if table.nrpn is not None:
        number = table.nrpn
        return [
            bytes((cc, 99, number >> 7)),
            bytes((cc, 98, number & 0x7F)),
            bytes((cc, 6, table.value)),
            bytes((cc, 99, 0x7F)),
            bytes((cc, 98, 0x7F)),
        ]
    if table.program is not None:
        return [bytes((0xC0 | address.channel, table.program))]
    text = table.sysex or ""
    device = device_byte(rule, address.device)
    return [bytes.fromhex(text.replace("{device}", f"{device:02X}").replace("{channel}", f"{address.channel:02X}"))]


def device_byte(rule: AddressRule, device: int) -> int:
    """How the device ID stands in the instrument's own messages."""
    if rule.rule == "nibble":
        return rule.base | (device & 0x0F)
    if rule.rule == "offset":
        return (rule.base + device) & 0x7F
    return device
