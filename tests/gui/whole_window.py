"""The whole window on a library with the demo's sounds and both stand-ins, with the hands and eyes of a person."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from PySide6.QtCore import QSettings, Qt
from pytestqt.qtbot import QtBot

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.files.demo import DemoSounds
from librarian.transfer.connections import Connections, add_stand_in
from librarian.window.main import MainWindow
from librarian.window.paint.look import Look

PATIENCE_MS = 15_000


@dataclass(frozen=True)
class Demo:
    """A library file with the demo's sounds, its charts, and the ids in it."""

    file: bytes
    charts: dict[str, Chart]
    ids: dict[str, int]
    patches: dict[str, int]


@cache
def demo_library() -> Demo:
    """Made once in a run, copied for every window."""
    charts = {name: load(path) for name, path in shipped().items()}
    with TemporaryDirectory() as folder:
        path = Path(folder) / "demo.library"
        with Library.open(path) as library:
            ids = {name: add_stand_in(library, chart) for name, chart in charts.items()}
            patches = DemoSounds(charts).keep(library, ids)
        return Demo(path.read_bytes(), charts, ids, patches)


def close(qtbot: QtBot, window: MainWindow) -> None:
    """Close it as a person does who waits until the last change is written."""
    if not window.close():
        qtbot.wait_until(lambda: not window.isVisible(), timeout=PATIENCE_MS)


class Desk:
    """A window on a library with the demo's sounds and both stand-ins, and the hands and eyes of a person."""

    def __init__(self, qtbot: QtBot, look: Look, folder: Path) -> None:
        self.qtbot = qtbot
        demo = demo_library()
        self.charts, self.ids, self.patches = demo.charts, dict(demo.ids), dict(demo.patches)
        (folder / "patches.library").write_bytes(demo.file)
        self.library = Library.open(folder / "patches.library")
        # The wire's own speed is proved elsewhere; here a person would only wait.
        self.connections = Connections(bytes_per_second=31250)
        self.settings = QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat)
        self.window = MainWindow(look, self.library, self.connections, self.settings)
        qtbot.addWidget(self.window)
        self.window.show()
        qtbot.wait_until(lambda: all(self.standing(name).ready for name in self.ids), timeout=PATIENCE_MS)
        qtbot.wait_until(lambda: self.window.desk.found is not None, timeout=PATIENCE_MS)

    def close(self) -> None:
        close(self.qtbot, self.window)
        self.connections.close()
        self.library.close()

    def standing(self, chart: str):
        return self.window.desk.instruments.standings[self.ids[chart]]

    def stand_in(self, chart: str):
        standing = self.standing(chart)
        return self.connections.stand_in(standing.row, standing.chart)

    def pull_cable(self, instrument: int) -> None:
        """The cable to this instrument is gone from now on."""
        line = self.window.desk.instruments.line(instrument)
        assert line is not None
        line.cable.lose("The embedded cable is gone.")  # type: ignore[attr-defined]

    def capture_one_control_by_hand(self) -> None:
        """Begin a capture by hand of the Lanternfish, and turn one knob until it is heard."""
        self.window.commands.run("capture_by_hand")
        self.wait_for(lambda: self.standing("lanternfish").transfer == "capture by hand")

        def turned() -> bool:
            # What is turned before it listens is not heard, so the hand goes on.
            for value in (0, 100, 50):
                self.stand_in("lanternfish").turn("filter.resonance", value, self.connections.clock.now())
            return "1 of 52" in self.sentence

        self.wait_for(turned)

    @property
    def sentence(self) -> str:
        return self.window.areas.chain.sentence.said

    @property
    def notice(self) -> str:
        foot = self.window.areas.collection.notice
        return foot.sentence.said if foot.isVisible() else ""

    @property
    def listed(self) -> list[str]:
        model = self.window.areas.collection.list.rows
        return [model.line(row).name for row in range(model.rowCount())]

    def press(self, keys: str, widget=None) -> None:
        """Keys to the widget with the focus, as shortcuts reach it."""
        self.window.activateWindow()
        target = widget or self.window.focusWidget() or self.window
        *held, key = keys.split("+")
        modifier = Qt.KeyboardModifier.NoModifier
        for word in held:
            modifier |= {"Ctrl": Qt.KeyboardModifier.ControlModifier, "Alt": Qt.KeyboardModifier.AltModifier,
                         "Shift": Qt.KeyboardModifier.ShiftModifier}[word]
        self.qtbot.keyClick(target, getattr(Qt.Key, f"Key_{key}"), modifier)

    def choose(self, name: str) -> None:
        self.window.areas.collection.list.select_id(self.patches[name])
        self.window.desk.choose_a(self.patches[name])

    def click_row(self, name: str) -> None:
        """Click a row of the list."""
        view = self.window.areas.collection.list
        index = view.rows.index(self.listed.index(name), 0)
        view.scrollTo(index)
        self.qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, pos=view.visualRect(index).center())

    def settle(self) -> None:
        """Until everything that was handed to the worker is done and shown."""
        self.qtbot.wait_until(lambda: not self.window.desk.work.busy, timeout=PATIENCE_MS)
        self.qtbot.wait(1)  # what follows an edit has a turn of the event loop to itself

    def lines(self, drawer) -> list:
        """The rows of a drawer's list."""
        return drawer.list.lines()

    def wait_for(self, what, message: str = "") -> None:
        def seen() -> None:
            assert what(), f"{message} The chain says: {self.sentence}"

        self.qtbot.wait_until(seen, timeout=PATIENCE_MS)
