"""What the dump side has to know of the rest of a chart: ranges of parameters, and how the instrument is addressed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DeviceRule = Literal["plain", "nibble", "offset", "absent"]


@dataclass(frozen=True, slots=True)
class ParameterSpec:
    """One parameter as far as a dump is concerned; `low` and `high` are inclusive, in the instrument's own units."""

    id: str
    low: int
    high: int
    default: int | None = None
    setup: bool = False
    positions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AddressRule:
    """How the instrument is addressed.

    `rule`: plain (the byte is the device ID), nibble (`base` | ID), offset (`base` + ID), absent (no such byte).
    `programs`, `banks`: size of its memory, 0 when it has none.
    """

    manufacturer: bytes | None = None
    channel: int = 0
    device: int = 0x7F
    rule: DeviceRule = "plain"
    base: int = 0
    programs: int = 0
    banks: int = 0
