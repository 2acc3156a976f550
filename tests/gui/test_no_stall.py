"""Twenty thousand patches: typing in the search, and everything that writes very much, never holds the window up."""

from __future__ import annotations

import gc
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest
from PySide6.QtCore import QEvent, QObject, QTimer
from PySide6.QtWidgets import QApplication

from librarian.collection import Library, NewPatch
from librarian.window.desk.work import favour_the_window
from tests.gui.whole_window import PATIENCE_MS, Desk

MANY = 20_000
HELD_UP = 0.4
"""Of something that takes a second or more: the share that one turn of the event loop has where it does all of it."""


@contextmanager
def pulse() -> Iterator[list[float]]:
    """The gaps between turns of the event loop, s."""
    gaps: list[float] = []
    last = time.perf_counter()

    def beat() -> None:
        nonlocal last
        now = time.perf_counter()
        gaps.append(now - last)
        last = now

    timer = QTimer()
    timer.setInterval(5)
    timer.timeout.connect(beat)
    timer.start()
    try:
        yield gaps
    finally:
        timer.stop()


@pytest.fixture
def crowded(desk: Desk) -> Desk:
    """The window with twenty thousand more patches."""
    version = desk.library.version(desk.library.patch(desk.patches["Harbour before the storm"]).latest)
    cutoff = desk.charts["lanternfish"].parameters["filter.cutoff"]
    span = cutoff.high - cutoff.low + 1
    versions = [
        replace(version, values=version.values.with_values({"filter.cutoff": cutoff.low + number % span}), received=())
        for number in range(200)
    ]
    words = ("storm", "harbour", "lamp", "stair", "fog", "gull", "rope", "tide")
    desk.library.keep_many(
        NewPatch(desk.ids["lanternfish"], f"{words[number % 8]} {words[number // 8 % 8]} {number}",
                 versions[number % 200], (f"tag {number % 40}",))
        for number in range(MANY)
    )
    desk.qtbot.wait_until(lambda: desk.window.desk.found.total > MANY, timeout=4 * PATIENCE_MS)
    desk.qtbot.wait(500)
    return desk


@pytest.fixture
def favoured() -> Iterator[None]:
    """As the program itself sets it when it starts."""
    before = sys.getswitchinterval()
    favour_the_window()
    yield
    gc.unfreeze()
    sys.setswitchinterval(before)


def longest(act: Callable[[], object]) -> float:
    """The longest turn of the event loop during this, as a share of the whole."""
    with pulse() as gaps:
        act()
    return max(gaps) / sum(gaps)


@pytest.mark.slow
def test_typing_tagging_and_deleting_twenty_thousand_never_hold_the_window_up(crowded: Desk, favoured: None):
    desk, window = crowded, crowded.window
    window.areas.focus_area("search")
    edit = window.areas.collection.search.field.edit
    desk.qtbot.wait_until(edit.hasFocus)
    line = "storm cutoff > 300 Hz"

    def type_it() -> None:
        edit.clear()
        for letter in line:
            desk.qtbot.keyClicks(edit, letter)
            desk.qtbot.wait(60)
        desk.wait_for(lambda: window.desk.found.text == line)

    assert longest(type_it) < HELD_UP
    assert len(window.desk.found) > 100
    window.show_all()
    desk.wait_for(lambda: len(window.desk.found) > MANY)
    everything = [int(patch) for patch in window.desk.found.ids]

    def worked(act: Callable[[], object]) -> Callable[[], None]:
        def do() -> None:
            act()
            desk.qtbot.wait_until(lambda: not window.desk.work.busy, timeout=8 * PATIENCE_MS)
            desk.qtbot.wait(300)

        return do

    tag = worked(lambda: window.desk.set_tags(everything, ["weather"], []))
    assert longest(tag) < HELD_UP
    assert len(desk.library.find("tag:weather")) > MANY
    assert longest(worked(lambda: window.desk.delete(everything))) < HELD_UP
    assert desk.library.total() == 0
    assert longest(worked(window.desk.undo)) < HELD_UP
    assert desk.library.total() > MANY


def test_what_the_window_asks_the_library_again_and_again_is_asked_beside_it(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What undo would take back and whether another program wrote is read by no turn of the event loop."""
    asked: list[str] = []

    def noted(name: str) -> Callable[..., object]:
        real = getattr(Library, name)

        def method(self: Library, *words: object) -> object:
            asked.append(threading.current_thread().name)
            return real(self, *words)

        return method

    for name in ("undo_label", "redo_label", "stamp"):
        monkeypatch.setattr(Library, name, noted(name))
    desk.window.desk.rename(desk.patches["Harbour before the storm"], "Harbour after it")
    desk.settle()
    desk.qtbot.wait_until(lambda: len(asked) >= 5, timeout=PATIENCE_MS)
    assert threading.main_thread().name not in asked


def test_panel_and_table_are_not_painted_in_one_turn(desk: Desk) -> None:
    areas = desk.window.areas
    turns: list[set[str]] = []

    class Painted(QObject):
        def eventFilter(self, widget: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint:
                turns[-1].add("table" if widget is table else "panel")
            return False

    desk.window.desk.choose_a(desk.patches["Harbour before the storm"])
    desk.qtbot.wait_until(areas.panel.updatesEnabled, timeout=PATIENCE_MS)
    table, painted = areas.values.table.viewport(), Painted()
    for widget in (table, areas.panel):
        widget.installEventFilter(painted)
    desk.window.desk.choose_a(next(one for name, one in desk.patches.items() if name != "Harbour before the storm"))
    give_up = time.monotonic() + PATIENCE_MS / 1000
    while not {"table", "panel"} <= set().union(*turns) and time.monotonic() < give_up:
        turns.append(set())
        QApplication.processEvents()
    assert [turn for turn in turns if turn][:2] == [{"table"}, {"panel"}]
