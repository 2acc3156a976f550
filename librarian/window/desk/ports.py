"""How a link opens its line: the ports that the library names for its instrument, or why there are none yet."""

from __future__ import annotations

from collections.abc import Callable

from librarian.chart import Chart
from librarian.collection import Library
from librarian.errors import OutsideProblem
from librarian.transfer import Line
from librarian.transfer.connections import Connections, PortsNotChosen
from librarian.wire.cable import NoMidiSystem
from librarian.wire.ports import API_NAMES


class NoPortsYet(OutsideProblem):
    """No ports are chosen; how many there are to choose from, and on which system."""

    def __init__(self, found: int, system: str, any_system: bool) -> None:
        super().__init__("No ports are chosen.", "Choose the output and the input that lead to the instrument.")
        self.found, self.system, self.any_system = found, system, any_system


def opener(library: Library, connections: Connections, instrument: int, chart: Chart) -> Callable[[], Line]:
    """What opens the line to this instrument; it runs on the link's thread."""

    def open_line() -> Line:
        row = library.instrument(instrument)
        try:
            return connections.open(row, chart, others=library.instruments())
        except PortsNotChosen:
            try:
                ports, system = connections.ports(), connections.system()
            except NoMidiSystem:
                raise NoPortsYet(0, "", any_system=False) from None
            name = " and ".join(API_NAMES[api] for api in system.apis)
            found = len({(port.api, port.name) for port in ports})
            raise NoPortsYet(found, name, any_system=bool(system.apis)) from None

    return open_line
