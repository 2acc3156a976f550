"""The same job through the window, over python-rtmidi and JACK, with the instrument in a process of its own."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from librarian.collection import Library
from librarian.transfer.connections import Connections
from librarian.window.main import MainWindow
from librarian.window.paint.look import Look
from tests.gui.whole_window import close
from tests.jackd import JackServer
from tests.standins import StandInProcess

pytestmark = pytest.mark.jack

Start = Callable[..., StandInProcess]
PATIENCE_MS = 20_000


class Seat:
    """A window on an empty library, and what a person before it does and sees."""

    def __init__(self, qtbot: QtBot, folder: Path) -> None:
        self.qtbot = qtbot
        self.library = Library.open(folder / "patches.library")
        self.connections = Connections()
        self.look = Look("light", 13)
        settings = QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat)
        self.window = MainWindow(self.look, self.library, self.connections, settings)
        qtbot.addWidget(self.window)
        self.window.show()

    def close(self) -> None:
        close(self.qtbot, self.window)
        self.connections.close()
        self.library.close()

    @property
    def sentence(self) -> str:
        return self.window.areas.chain.sentence.said

    def wait_for(self, what: Callable[[], object]) -> None:
        def seen() -> None:
            page = self.window.connecting.page.saying.said
            assert what(), f"the chain says: {self.sentence}; the page says: {page}"

        self.qtbot.wait_until(seen, timeout=PATIENCE_MS)

    def connect(self, chart: str) -> int:
        """Through the page: choose the chart, have every port asked, take what was found."""
        self.window.commands.run("connect")
        page = self.window.connecting.page
        self.wait_for(page.ask_button.isEnabled)
        page.choose_chart(chart)
        page.ask_button.click()
        self.wait_for(lambda: "answered on" in page.saying.said)
        self.wait_for(page.connect_button.isEnabled)
        page.connect_button.click()
        standings = self.window.desk.instruments.standings
        self.wait_for(lambda: [row for row in self.library.instruments() if row.chart == chart and row.id in standings])
        found = next(row.id for row in self.library.instruments() if row.chart == chart)
        self.wait_for(lambda: standings[found].ready)
        return found

    def chain_button(self, name: str) -> None:
        self.window.areas.chain.buttons[name].click()

    def recall(self, patch: int) -> None:
        self.window.desk.choose_a(patch)
        self.window.commands.run("recall")
        if self.window.areas.band.isVisible():
            self.window.areas.band.buttons["monitors_down"].click()


@pytest.fixture
def seat(qtbot: QtBot, jack_server: JackServer, tmp_path: Path) -> Iterator[Seat]:
    made = Seat(qtbot, tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize(("chart_id", "known", "equal"), [("lanternfish", 52, 50), ("fogbell", 22, 22)])
def test_the_whole_job_through_the_window(seat: Seat, standin: Start, chart_id: str, known: int, equal: int) -> None:
    stand_in = standin(chart_id, f"Pit {chart_id}")
    instrument = seat.connect(chart_id)
    desk = seat.window.desk
    chart = desk.instruments.standings[instrument].chart
    assert desk.instruments.current == instrument

    before = stand_in.state()["sound"]
    seat.window.commands.run("capture")
    seat.wait_for(lambda: f"{known} of {known} parameters received" in seat.sentence)
    seat.wait_for(lambda: desk.choice.a is not None)
    first = desk.choice.a
    assert first is not None
    assert first.patch is not None
    assert dict(first.values) == before
    seat.window.areas.header.renamed.emit("Harbour before the storm")
    desk.set_tags([first.patch.id], ("act 1", "harbour"), ())

    turned = [name for name in chart.sound_ids if chart.parameters[name].kind == "continuous"][:3]
    for name in turned:
        parameter = chart.parameters[name]
        # Past the sounding value from both sides, so that a control that waits takes over as well.
        away = parameter.low if before[name] * 2 > parameter.low + parameter.high else parameter.high
        for position in (parameter.low, parameter.high, away):
            stand_in.turn(name, position)
    seat.wait_for(lambda: set(desk.instruments.standings[instrument].now) >= set(turned))
    seat.window.commands.run("capture")
    seat.wait_for(lambda: desk.library.total() == 2)
    seat.wait_for(lambda: desk.choice.a is not None and desk.choice.a.patch.id != first.patch.id)
    second = desk.choice.a
    assert second is not None
    assert second.patch is not None

    desk.search(text="tag:harbour")
    seat.wait_for(lambda: desk.found is not None and list(desk.found.ids) == [first.patch.id])
    desk.choose_a(first.patch.id)
    desk.choose_b(second.patch.id)
    comparison = desk.choice.comparison()
    assert comparison is not None
    assert {row.parameter for row in comparison.different} == set(turned)
    sheet = seat.window.areas.panel.sheet
    assert sheet is not None
    assert sheet.counts.differ == 3
    for row in sheet.rows("differences", "panel"):
        assert row.a == chart.parameters[row.id].display(first.values[row.id])
        assert row.second == chart.parameters[row.id].display(second.values[row.id])

    desk.end_compare()
    seat.recall(first.patch.id)
    seat.wait_for(lambda: f"{equal} of {equal} sound parameters read back equal" in seat.sentence)
    assert seat.window.areas.chain.state.plate.mark == "equal"
    after = stand_in.state()["sound"]
    assert {name: after[name] for name in chart.sound_ids} == {name: before[name] for name in chart.sound_ids}


def test_an_instrument_that_vanishes_breaks_the_chain_and_comes_back(seat: Seat, standin: Start) -> None:
    stand_in = standin("lanternfish", "Pit away")
    instrument = seat.connect("lanternfish")
    standing = seat.window.desk.instruments.standings[instrument]
    stand_in.close()
    seat.wait_for(lambda: not standing.ready)
    assert "Pit away" in seat.sentence or "does not answer" in seat.sentence
    standin("lanternfish", "Pit away")
    seat.wait_for(lambda: seat.window.desk.instruments.standings[instrument].ready)
    assert "answered on" in seat.sentence


def test_a_killed_server_is_said_and_the_window_goes_on(
    qtbot: QtBot, own_jack_server: JackServer, tmp_path: Path
) -> None:
    seat = Seat(qtbot, tmp_path)
    try:
        from librarian.shipped import folder

        with StandInProcess(folder("assets/charts") / "lanternfish.toml", "Pit lost"):
            instrument = seat.connect("lanternfish")
            os.kill(own_jack_server.pid, signal.SIGKILL)
            seat.wait_for(lambda: not seat.window.desk.instruments.standings[instrument].open)
            seat.wait_for(lambda: "MIDI system of this computer stopped" in seat.sentence)
            assert seat.window.areas.chain.state.plate is None, "a proof that has aged is still shown"
            # Everything that needs no cable goes on.
            seat.window.desk.search(text="anything")
            QApplication.processEvents()
    finally:
        seat.close()
