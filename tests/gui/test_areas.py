"""All areas together: the grid at three sizes, F6, drawers, one selection for panel and table, larger text."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLineEdit, QMainWindow, QPushButton, QVBoxLayout, QWidget
from shiboken6 import delete

from librarian.window.areas import Areas
from librarian.window.grid import drawer_for, grid_for
from librarian.window.parts.notice import loudness_notice
from librarian.window.shown.sheet import Sheet
from tests.gui import demo
from tests.gui.pictures import SCENES, window_of

CHART = demo.lanternfish()
ROWS = [(section.row, section.id, [parameter.id for parameter in section.parameters]) for section in CHART.sections]


@pytest.mark.parametrize(("width", "height", "collection", "tag_rows", "panel", "history", "values_rows"), [
    (1024, 700, 248, 2, 316, 56, (2, 3)), (1280, 800, 320, 3, 348, 72, (4.8, 5)),
    (1920, 1080, 400, 3, 500, 80, (9, 10)),
])
def test_the_grid_is_the_designs(width, height, collection, tag_rows, panel, history, values_rows):
    made = grid_for(width, height, rows=ROWS)
    assert (made.collection, made.tag_rows, made.history) == (collection, tag_rows, history)
    assert made.panel_height - 6 == pytest.approx(panel, abs=1)
    room = height - 126 - 76 - made.header_air - history - made.panel_height
    least, most = values_rows
    assert least <= (room - 56) / 24 <= most


def test_drawers_have_their_place_by_width():
    assert drawer_for(1024) == (360, "over")
    assert drawer_for(1280) == (400, "instead")
    assert drawer_for(1680) == (420, "column")


@pytest.fixture
def window(qtbot, look):
    made = QMainWindow()
    qtbot.addWidget(made)
    areas = Areas(look, demo.Source())
    demo.show_one_sound(areas)
    made.setCentralWidget(areas)
    made.resize(1280, 774)
    made.show()
    settle()
    return made


def settle():
    for _ in range(6):
        QApplication.processEvents()


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize(("width", "height"), [(1024, 700), (1280, 800), (1920, 1080)])
def test_every_area_has_its_room_and_none_is_cut(qtbot, look, scene, width, height):
    made = window_of(look, SCENES[scene], width, height)
    qtbot.addWidget(made)
    settle()
    areas = made.centralWidget()
    assert made.height() == height, "the window did not have to grow"
    assert areas.chain.height() == 100
    assert areas.history.geometry().bottom() == areas.height() - 1
    assert areas.panel.arrangement is None or not areas.panel.arrangement.scrolls
    for cell in areas.panel.cells.values():
        assert areas.panel.rect().contains(cell.geometry())
    if scene != "first-start":
        top = areas.header.mapTo(areas, areas.header.rect().topLeft())
        assert (top.x(), top.y()) == ({1024: 248, 1280: 320, 1920: 400}[width], 100)


def test_good_and_faulty_pictures_lie_over_each_other(qtbot, look):
    """The list and the panel start at the same pixel whatever the chain says."""
    places = set()
    for scene in ("one-sound", "broken", "compare"):
        made = window_of(look, SCENES[scene], 1280, 800)
        qtbot.addWidget(made)
        settle()
        areas = made.centralWidget()
        places.add(tuple(widget.mapTo(made, widget.rect().topLeft()).toTuple() for widget in (
            areas.collection.list, areas.panel, areas.values, areas.history, areas.chain.panic)))
    assert len(places) == 1


def test_f6_goes_round_all_areas_and_back(qtbot, window):
    areas = window.centralWidget()
    areas.focus_area("chain")
    visited = [areas.area_of_focus()]
    for _ in range(8):
        areas.next_area()
        visited.append(areas.area_of_focus())
    assert visited == ["chain", "search", "tags", "list", "header", "panel", "values", "history", "chain"]
    areas.next_area(-1)
    assert areas.area_of_focus() == "history"


def test_an_area_that_cannot_take_the_focus_is_passed_over(window):
    areas = window.centralWidget()
    demo.show_first_start(areas)
    settle()
    areas.focus_area("search")
    areas.next_area()
    assert areas.area_of_focus() in {"list", "panel"}


def test_panel_and_table_follow_each_other(qtbot, window):
    areas = window.centralWidget()
    told: list[str] = []
    areas.parameter_selected.connect(told.append)
    qtbot.mouseClick(areas.panel.cells["f_cutoff"], Qt.MouseButton.LeftButton)
    assert areas.values.model.rows[areas.values.table.currentIndex().row()].id == "f_cutoff"
    areas.values.take_focus()
    qtbot.keyClick(areas.values.table, Qt.Key.Key_Down)
    assert areas.panel.current == "f_resonance"
    assert told == ["f_cutoff", "f_resonance"]


def drawer_of(window: QMainWindow) -> QWidget:
    drawer = QWidget()
    QVBoxLayout(drawer).addWidget(QPushButton("inside"))
    drawer.take_focus = lambda: drawer.findChild(QPushButton).setFocus()  # type: ignore[attr-defined]
    window.centralWidget().add_drawer("traffic", drawer)
    return drawer


@pytest.mark.parametrize(("width", "place"), [(1024, "over"), (1280, "instead"), (1920, "column")])
def test_a_drawer_opens_where_the_grid_has_it_and_gives_the_focus_back(qtbot, window, width, place):
    areas = window.centralWidget()
    window.resize(width, 900)
    settle()
    drawer = drawer_of(window)
    areas.collection.list.take_focus()
    panel = areas.panel.width()
    areas.open_drawer("traffic")
    settle()
    wide, found = drawer_for(width)
    assert found == place
    assert drawer.isVisible()
    assert areas.drawers.width() == pytest.approx(wide, abs=2)
    assert areas.area_of_focus() == "drawer"
    assert areas.collection.isVisible() == (place != "instead")
    left = areas.drawers.mapTo(areas, areas.drawers.rect().topLeft()).x()
    assert left == (0 if place != "column" else width - areas.drawers.width())
    if place == "over":
        assert areas.panel.width() == panel, "it lies over the collection, nothing moves"
    assert areas.chain.panic.isVisible()
    assert areas.drawers.mapTo(areas, areas.drawers.rect().topLeft()).y() >= areas.chain.height(), "Panic is free"
    with qtbot.waitSignal(areas.drawer_closed) as told:
        areas.close_drawer()
    settle()
    assert told.args == ["traffic"]
    assert areas.collection.list.hasFocus()
    assert not drawer.isVisible()
    assert areas.panel.width() == panel


def test_a_drawer_closes_although_what_had_the_focus_before_is_gone(window):
    areas = window.centralWidget()
    areas.add_drawer("traffic", QLineEdit())
    button = QPushButton("Traffic", areas)
    button.show()
    button.setFocus()
    assert QApplication.focusWidget() is button
    areas.open_drawer("traffic")
    settle()
    delete(button)
    closed = []
    areas.drawer_closed.connect(closed.append)
    areas.close_drawer()
    settle()
    assert closed == ["traffic"]
    assert areas.drawer == ""
    assert areas.collection.list.hasFocus()


def test_a_drawer_opens_again_after_the_window_has_changed(window):
    areas = window.centralWidget()
    drawer = drawer_of(window)
    for width in (1920, 1024, 1280, 1920):
        window.resize(width, 900)
        areas.open_drawer("traffic")
        settle()
        assert drawer.isVisible()
        assert areas.drawers.width() == pytest.approx(drawer_for(width)[0], abs=2)
    areas.close_drawer()
    settle()
    assert areas.collection.isVisible()
    assert areas.collection.width() == 399


def test_a_drawer_over_the_list_goes_down_with_a_sentence_that_needs_a_third_line(window):
    areas = window.centralWidget()
    drawer_of(window)
    window.resize(1024, 700)
    areas.open_drawer("traffic")
    settle()
    shown = areas.chain.state
    for rest in ("Written into the memory. " * 12, shown.rest):
        areas.chain.show_state(replace(shown, rest=rest))
        settle()
        assert areas.drawers.y() == areas.level.y() >= areas.chain.geometry().bottom() + 1
        assert areas.drawers.height() == areas.level.height()


def test_a_band_stands_where_the_values_are_and_the_rest_stays(window):
    areas = window.centralWidget()
    areas.show_band(loudness_notice())
    settle()
    assert areas.band.isVisible()
    assert not areas.values.isVisible()
    assert areas.panel.isVisible()
    assert areas.collection.list.isVisible()
    areas.show_band(None)
    assert areas.values.isVisible()


def test_joints_moved_by_hand_stay_when_the_window_grows(window):
    areas = window.centralWidget()
    areas.level.setSizes([500, 780, 0])
    areas.level.splitterMoved.emit(500, 1)
    window.resize(1500, 900)
    settle()
    assert areas.collection.width() == pytest.approx(500, abs=30)


@pytest.mark.parametrize("base", [13, 16, 18])
def test_larger_text_is_not_cut(qtbot, look, base):
    look.set_base(base)
    made = window_of(look, SCENES["one-sound"], 1600, 1000)
    qtbot.addWidget(made)
    settle()
    areas = made.centralWidget()
    metrics = look.fonts.metrics(11)
    texts = areas.panel.texts
    assert texts.label >= metrics.height() - 1
    assert areas.collection.list.visualRect(areas.collection.list.rows.index(0, 0)).height() >= metrics.height() * 2.5
    assert areas.values.table.rowHeight(0) >= look.fonts.metrics(12).height()
    assert areas.chain.height() >= 100 * base / 13 - 1


def test_the_theme_changes_under_a_living_window(qtbot, look, window):
    areas = window.centralWidget()
    look.choose("dark")
    settle()
    image = areas.grab().toImage()
    bright = sum(image.pixelColor(x, y).lightness() > 140 for x in range(0, image.width(), 4)
                 for y in range(0, image.height(), 4))
    assert bright < 0.12 * (image.width() // 4) * (image.height() // 4), "something stayed light"


def test_nothing_is_shown_of_a_sound_that_is_gone(window):
    areas = window.centralWidget()
    areas.show_sheet(None)
    assert areas.panel.cells == {}
    assert areas.values.model.rowCount() == 0
    areas.show_sheet(Sheet(CHART, demo.two_sounds(CHART)))
    assert len(areas.panel.cells) == 52


def test_no_text_field_is_left_without_a_name(window):
    assert all(field.accessibleName() for field in window.findChildren(QLineEdit))
