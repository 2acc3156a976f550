"""What is painted once and put there again is never an old state, and whole at every resolution."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from librarian.window.areas import Areas
from librarian.window.paint.look import Look
from librarian.window.paint.picture import Picture
from tests.gui import demo
from tests.gui.pictures import window_of

GROUND = QColor("#FAFBF9")


class Scaled(QWidget):
    """A widget on a screen of 125 %, with a kept picture of one colour."""

    def __init__(self) -> None:
        super().__init__()
        self.picture = Picture()

    def devicePixelRatioF(self) -> float:
        return 1.25

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        self.picture.show(painter, GROUND, "one", self._paint)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor("#FAFBF9"))


@pytest.mark.parametrize("side", [60, 61, 62, 63])
def test_it_is_whole_where_a_widget_ends_within_a_pixel(qtbot: QtBot, side: int) -> None:
    widget = Scaled()
    qtbot.addWidget(widget)
    widget.resize(side, side)
    widget.grab()
    image = widget.picture._pixels.toImage()
    assert image.width() in {int(side * 1.25), int(side * 1.25) + 1}
    colours = {image.pixelColor(x, y).name() for x in range(image.width()) for y in range(image.height())}
    assert colours == {GROUND.name()}


def same(_areas: Areas) -> None:
    pass


CHANGES: dict[str, tuple[Callable[[Look], object], Callable[[Areas], object]]] = {
    "dark": (lambda look: look.choose("dark"), same),
    "larger text": (lambda look: look.set_base(18), same),
    "dimmer": (lambda look: look.dim(True), same),
    "high contrast": (lambda look: look.set_contrast(True), same),
    "two sounds": (lambda _look: None, demo.show_two_sounds),
    "broken": (lambda _look: None, demo.show_broken),
    "narrower": (lambda _look: None, lambda areas: areas.window().resize(1100, 740)),
    "another control": (lambda _look: None, lambda areas: areas.select_parameter(list(areas.panel.cells)[4])),
}


def seen(qtbot: QtBot, areas: Areas) -> list[QImage]:
    """Chain and panel, once everything that has its own turn of the loop is through."""
    for _ in range(6):
        QApplication.processEvents()
    qtbot.wait_until(lambda: areas.panel.updatesEnabled() and areas.values.updatesEnabled())
    QApplication.processEvents()
    return [place.grab().toImage() for place in (areas.chain, areas.panel)]


Begin = Callable[[], Areas]


@pytest.fixture
def begin(qtbot: QtBot, look: Look) -> Iterator[Begin]:
    """A window with one sound; it lives until the test ends."""
    windows = []

    def make() -> Areas:
        windows.append(window_of(look, demo.show_one_sound, 1280, 800))
        qtbot.addWidget(windows[-1])
        areas = windows[-1].centralWidget()
        assert isinstance(areas, Areas)
        return areas

    yield make
    windows.clear()


@pytest.mark.parametrize("change", CHANGES)
def test_what_changed_is_shown_as_by_a_window_that_never_showed_anything_else(
    qtbot: QtBot, begin: Begin, look: Look, change: str
) -> None:
    in_look, in_areas = CHANGES[change]
    old = begin()
    before = seen(qtbot, old)
    in_look(look)
    in_areas(old)
    after = seen(qtbot, old)
    assert after != before
    fresh = begin()
    in_areas(fresh)
    assert seen(qtbot, fresh) == after


def test_the_focus_is_seen_and_goes(qtbot: QtBot, desk) -> None:
    areas = desk.window.areas
    desk.choose("Harbour before the storm")
    desk.settle()
    areas.focus_area("search")
    cell = next(iter(areas.panel.cells.values()))
    areas.select_parameter(cell.parameter)
    before = cell.grab().toImage()
    areas.focus_area("panel")
    qtbot.wait_until(cell.hasFocus)
    focused = cell.grab().toImage()
    assert focused != before
    areas.focus_area("search")
    assert cell.grab().toImage() == before
