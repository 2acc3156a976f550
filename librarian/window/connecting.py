"""Connecting an instrument from the window: the page with charts and ports, asking every port, the stand-in."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QFileDialog

from librarian.chart import Chart, load, shipped
from librarian.collection import InstrumentRow
from librarian.errors import Cancelled, LibrarianError
from librarian.sounds.carrying import behind
from librarian.transfer import Cancel
from librarian.transfer.connections import Connections, add_stand_in
from librarian.transfer.finding import Asked, ask_every_port
from librarian.window.desk.asker import Asker
from librarian.window.desk.desk import Desk
from librarian.window.pages.connect import Chosen, ConnectPage, Offer
from librarian.window.paint.look import Look
from librarian.window.words import figures
from librarian.wire.ports import Port
from librarian.wire.process import SystemState

_LOOK_MS = 1000
KEPT = "the chart it has"


class Connecting(QObject):
    """Fills the page with what is there, looks again every second while it is open, and does what it asks for.

    `opened`: the page wants to be shown; `finished`: it is done with; `looked`: ports or MIDI system are others now.
    `active` while the page is shown.
    """

    opened = Signal()
    looked = Signal()
    finished = Signal()

    def __init__(self, look: Look, desk: Desk, connections: Connections, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.page = ConnectPage(look)
        self.active = False
        self.system: SystemState | None = None
        self._desk, self._connections = desk, connections
        self._row: InstrumentRow | None = None
        self._files: dict[str, Path] = {}
        self._ports: tuple[Port, ...] = ()
        self._cancel: Cancel | None = None
        self._looker, self._searcher = Asker(self), Asker(self)
        self._looker.answered.connect(self._looked)
        self._looker.failed.connect(lambda _number, problem: self.page.say(f"{problem} {problem.hint}".strip()))
        self._searcher.answered.connect(self._searched)
        self._searcher.failed.connect(lambda _number, problem: self.page.say(f"{problem} {problem.hint}".strip()))
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look)
        QTimer.singleShot(0, self, self._look)
        self.page.accepted.connect(self._accept)
        self.page.asked.connect(self._ask)
        self.page.file_asked.connect(self._choose_file)
        self.page.left.connect(self.leave)
        self._timer.start()

    def begin(self, instrument: int | None) -> None:
        """Open the page for a new instrument, or to choose other ports for one."""
        standing = self._desk.instruments.standings.get(instrument) if instrument is not None else None
        self._row = standing.row if standing is not None else None
        self._files = dict(shipped())
        self.active = True
        self._offer()
        self._look()
        self.opened.emit()
        self.page.take_focus()

    def leave(self) -> None:
        """Close the page; what was not accepted is forgotten."""
        self._stop()
        self.finished.emit()

    def close(self) -> None:
        """End the threads."""
        self._timer.stop()
        self._stop()
        self._looker.close()
        self._searcher.close()

    def _stop(self) -> None:
        self.active = False
        if self._cancel is not None:
            self._cancel.set()
            self._cancel = None

    @property
    def ports_found(self) -> int:
        """How many ports there are; an input and an output of one name are one."""
        return len({(port.api, port.name) for port in self._ports})

    def start_stand_in(self) -> None:
        """The two demo instruments as stand-ins on the embedded cable; an empty library gets the demo's sounds too."""
        self._desk.edit(self._add_stand_ins, "")

    def _add_stand_ins(self) -> None:
        from librarian.files.demo import DemoSounds

        library = self._desk.library
        charts = {name: load(path) for name, path in shipped().items()}
        present = {row.chart for row in library.instruments()}
        empty = library.total() == 0
        with library.together("Start the stand-ins"):
            made = {name: add_stand_in(library, chart) for name, chart in charts.items() if name not in present}
            if empty and made:
                DemoSounds({name: charts[name] for name in made}).keep(library, made)

    # -- the page --------------------------------------------------------------------------------------------------

    def _offer(self) -> None:
        charts = [(name, name.capitalize() if path.parent.name == "charts" else path.name)
                  for name, path in self._files.items()]
        row = self._row
        if row is not None:
            charts.insert(0, (KEPT, f"{row.chart_name}, revision {row.revision}, as now"))
        self.page.show_offer(
            Offer(
                charts=charts,
                outputs=_offered(self._ports, "out"), inputs=_offered(self._ports, "in"),
                instrument=row.id if row is not None else None, name=row.name if row is not None else "",
                chart=KEPT if row is not None else "", output=row.output if row is not None else "",
                input=row.input if row is not None else "",
            )
        )

    def _look(self) -> None:
        # Lines that are open, or closed, look for themselves; nothing else needs the list of ports.
        if not self.active and self._desk.instruments.standings:
            return
        self._looker.ask(lambda: (self._connections.ports(), self._connections.system()))

    def _looked(self, _number: int, found: object) -> None:
        ports: tuple[Port, ...]
        before = self.system
        ports, self.system = found  # type: ignore[misc]
        if ports != self._ports or before != self.system:
            self._ports = ports
            self._offer()
            self.looked.emit()
        if not ports and self.active and self.system is not None:
            self.page.say(self.system.sentence)

    def _choose_file(self) -> None:
        name, _kind = QFileDialog.getOpenFileName(self.page, "Chart of the instrument", "", "Charts (*.toml)")
        if name:
            self.use_file(Path(name))

    def use_file(self, path: Path) -> None:
        """Offer a chart of the person's own, and choose it; says what is wrong with a faulty one."""
        chart = self._chart(path)
        if chart is not None:
            self._files[str(path)] = path
            self._offer()
            self.page.choose_chart(str(path))
            self.page.say(f"{chart.name}, revision {chart.revision}: {len(chart.parameters)} parameters.")

    def _chart(self, path: Path) -> Chart | None:
        try:
            return load(path)
        except LibrarianError as problem:
            self.page.say(f"{problem} {problem.hint}".strip())
            return None

    def _accept(self, chosen: Chosen) -> None:
        row = self._row
        if row is not None:
            other = None if chosen.chart == KEPT else self._chart(self._files[chosen.chart])
            if chosen.chart != KEPT and other is None:
                return
            self._stop()
            library, name = self._desk.library, chosen.name or row.name

            def change() -> int:
                library.update_instrument(row.id, chart=other, name=name, output=chosen.output, input=chosen.input)
                return 0 if other is None else len(behind(library, row.id))

            self._desk.edit(change, lambda count: _left_behind(name, count))
            self.finished.emit()
            return
        chart = self._chart(self._files[chosen.chart])
        if chart is None:
            return
        self._stop()
        self._desk.edit(
            lambda: self._desk.library.add_instrument(
                chart, chosen.name or chart.name, chart.default_address, chosen.output, chosen.input
            ),
            then=self._desk.instruments.choose,
        )
        self.finished.emit()

    def _ask(self, chosen: Chosen) -> None:
        if self._row is not None and chosen.chart == KEPT:
            chart: Chart | None = self._desk.instruments.chart(self._row.chart, self._row.revision)
        else:
            chart = self._chart(self._files[chosen.chart])
        if chart is None:
            return
        cancel = self._cancel = Cancel()
        ports, described = self._ports, chart
        self.page.say(f"Asking {len(ports)} ports for {chart.name}…")
        self._searcher.ask(_search(ports, described, self._connections, cancel))

    def _searched(self, _number: int, answers: object) -> None:
        asked: tuple[Asked, ...] = answers  # type: ignore[assignment]
        found = next((one for one in asked if one.found is not None and one.found.fits == "fits"), None)
        if found is not None and found.found is not None:
            self.page.choose_ports(found.output.fingerprint, found.input.fingerprint)
            self.page.say(found.found.sentence)
            return
        others = [one.found.sentence for one in asked if one.found is not None]
        self.page.say(
            " ".join(others) or f"None of {len(asked)} pairs of ports answered. Check its power and both cables, then "
            "ask again; or choose ports by hand."
        )


def _search(
    ports: tuple[Port, ...], chart: Chart, connections: Connections, cancel: Cancel
) -> Callable[[], Any]:
    def question() -> tuple[Asked, ...]:
        try:
            return ask_every_port(ports, chart, connections.open_ports, cancel=cancel)
        except Cancelled:
            return ()

    return question


def _left_behind(name: str, count: int) -> str:
    """What a new revision of a chart asks for: its sounds cannot be recalled until they are carried over."""
    if not count:
        return ""
    were = "1 sound of it was" if count == 1 else f"{figures(count)} sounds of it were"
    return (
        f"{name} uses another revision of its chart now, and {were} kept with an earlier one. Choose them, then carry "
        "them over (Patch menu)."
    )


def _offered(ports: tuple[Port, ...], direction: str) -> list[tuple[str, str]]:
    return [(port.fingerprint, port.name) for port in ports if port.direction == direction]
