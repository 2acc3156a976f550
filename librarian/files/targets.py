"""Whose sounds may lie in a file: the instruments of a library, and charts that have no instrument there yet."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from librarian.chart import Chart, Recognised, loads
from librarian.collection import Library
from librarian.messages import ALL_CALL, Address

ReadChart = Callable[[str], Chart]
_REMEMBERED = 4096
_BEGINNING = 12


@dataclass(frozen=True, slots=True)
class Hit:
    """A message of a chart; `address` is the one that it can be decoded with."""

    recognised: Recognised
    address: Address


@dataclass(frozen=True)
class Target:
    """`instrument`: its id in the library; None: the chart has no instrument yet, an import will add one."""

    instrument: int | None
    name: str
    chart: Chart
    address: Address
    _other: dict[tuple[bytes, int], Address | None] = field(default_factory=dict, repr=False, compare=False)

    def own(self, raw: bytes) -> Hit | None:
        """A message of this very instrument: its chart, device ID and channel."""
        found = self.chart.codec.recognise(raw, self.address)
        return None if found is None else Hit(found, self.address)

    def recognise(self, raw: bytes) -> Hit | None:
        """A message of this chart, whichever device ID and channel it was sent with: files travel."""
        if raw[:1] != b"\xf0" or not self.chart.codec.messages:
            return None
        key = (raw[: max(_BEGINNING, self.chart.codec.reach(len(raw)))], len(raw))
        if key in self._other:
            address = self._other[key]
            if address is None:
                return None
            found = self.chart.codec.recognise(raw, address)
            return None if found is None else Hit(found, address)
        for address in self._addresses():
            found = self.chart.codec.recognise(raw, address)
            if found is not None:
                self._remember(key, address)
                return Hit(found, address)
        self._remember(key, None)
        return None

    def own_is_decided(self, raw: bytes, reach: int, besides: str = "") -> bool:
        """Whether `own` says the same of all messages with this length and these first `reach` bytes.

        `besides`: a message of the chart of which that is known.
        """
        return self.chart.codec.decided(raw, self.address, reach, besides)

    def is_decided(self, raw: bytes, reach: int, besides: str = "") -> bool:
        """The same of `own` and `recognise`."""
        codec = self.chart.codec
        others = all(codec.decided(raw, each, reach, besides) for each in self._addresses())
        return others and self.own_is_decided(raw, reach, besides)

    def _addresses(self) -> Iterable[Address]:
        yield Address(self.address.channel, ALL_CALL)
        for channel in range(16):
            if channel != self.address.channel:
                yield Address(channel, ALL_CALL)

    def _remember(self, key: tuple[bytes, int], address: Address | None) -> None:
        if len(self._other) >= _REMEMBERED:
            self._other.clear()
        self._other[key] = address


def targets_of(library: Library, charts: Iterable[Chart] = (), read_chart: ReadChart = loads) -> tuple[Target, ...]:
    """The library's instruments, then those of `charts` that none of them uses."""
    compiled: dict[tuple[str, int], Chart] = {}
    found = []
    for row in library.instruments():
        key = (row.chart, row.revision)
        if key not in compiled:
            compiled[key] = read_chart(library.chart_text(*key))
        found.append(Target(row.id, row.name, compiled[key], row.address))
    used = {chart for chart, _ in compiled}
    for chart in charts:
        if chart.id not in used:
            used.add(chart.id)
            found.append(Target(None, chart.name, chart, chart.default_address))
    return tuple(found)
