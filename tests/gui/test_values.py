"""The values table: columns by room and mode, order, the switch, following the panel, never out of line."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from pytestqt.modeltest import ModelTester

from librarian.window.shown.sheet import Sheet
from librarian.window.shown.state import Shown
from librarian.window.values.area import NO_VALUES, ValuesArea
from librarian.window.values.columns import columns_for
from librarian.window.values.model import ValuesModel
from tests.gui import demo

CHART = demo.lanternfish()
ONE = Sheet(CHART, demo.one_sound(CHART))
TWO = Sheet(CHART, demo.two_sounds(CHART))
UNKNOWN = Sheet(CHART, demo.with_unknowns(CHART))


@pytest.fixture
def values(house, look):
    made = house(ValuesArea(look))
    made.resize(960, 400)
    return made


def column(values: ValuesArea, name: str) -> list[str]:
    place = values.model.columns.index(name)
    return [str(values.model.index(row, place).data()) for row in range(values.model.rowCount())]


def heads(values: ValuesArea) -> list[str]:
    return [str(values.model.headerData(place, Qt.Orientation.Horizontal)) for place in
            range(values.model.columnCount())]


def test_the_model_is_a_sound_qt_model(qtmodeltester: ModelTester):
    model = ValuesModel()
    qtmodeltester.check(model)
    for sheet, scope in ((ONE, "changed"), (ONE, "all"), (TWO, "differences"), (UNKNOWN, "unknown")):
        mode = sheet.mode(scope)
        model.show_rows(sheet.rows(scope, "panel"), mode, columns_for(mode, 960).names)
        qtmodeltester.check(model)


@pytest.mark.parametrize("width", [300, 500, 767, 776, 860, 951, 1100, 1520, 2200])
@pytest.mark.parametrize("mode", ["compare", "panel", "unknown"])
def test_columns_fill_the_width_at_any_size(mode, width):
    made = columns_for(mode, width)
    assert all(wide >= 0 for wide in made.widths)
    if width >= 767:
        assert sum(made.widths) == pytest.approx(width, abs=4)


def test_shrinking_takes_the_binding_column_first_then_narrows_the_sections():
    assert columns_for("panel", 951).names[-1] == "binding"
    assert "binding" not in columns_for("panel", 800).names
    assert columns_for("panel", 800).widths[1] == 132
    assert columns_for("panel", 767).widths[1] == 96


def test_one_sound_shows_what_has_changed(values):
    values.show_sheet(ONE)
    assert values.scope == "changed"
    assert heads(values) == ["", "Section", "Parameter", "A stored", "Panel now", "Panel − A", "Range", "Binding"]
    assert column(values, "parameter") == ["Noise", "Cutoff", "Resonance"]
    assert column(values, "second") == ["20 %", "3.6 kHz", "36 %"]
    assert column(values, "difference") == ["+13 %", "+573 Hz", "+8 %"]


def test_two_sounds_show_their_differences_largest_first(values):
    values.show_sheet(TWO)
    assert heads(values)[3:6] == ["A", "B", "B − A"]
    assert len(column(values, "parameter")) == 10
    assert column(values, "parameter")[:2] == ["Wave", "Shape 1"]
    assert values.orders.label == "largest share of the range first"


def test_unknown_ones_say_why(values):
    values.show_sheet(UNKNOWN)
    assert heads(values) == ["", "Section", "Parameter", "A stored", "Why it is unknown", "Binding"]
    assert column(values, "a") == ["unknown", "unknown"]
    assert set(column(values, "why")) == {"not moved during the capture; recall leaves it as it is"}
    assert not values.orders.isVisible()


def test_the_switch_shows_all_and_stays_there(qtbot, values):
    values.show_sheet(ONE)
    assert [button.text() for button in values.segments.buttons.values()] == ["Changed 3", "All 52"]
    qtbot.mouseClick(values.segments.buttons["all"], Qt.MouseButton.LeftButton)
    assert values.model.rowCount() == 52
    values.show_sheet(UNKNOWN)
    assert values.scope == "all"
    qtbot.keyClick(values.segments.buttons["all"], Qt.Key.Key_Left)
    assert values.scope == "unknown"
    assert values.segments.buttons["unknown"].isChecked()


def test_numbers_stand_right_with_a_real_minus_and_their_unit(values):
    values.show_sheet(TWO)
    differences = column(values, "difference")
    assert any(text.startswith("−") for text in differences)
    assert not any("-" in text for text in differences)


def test_the_order_can_be_chosen(values):
    values.show_sheet(TWO)
    values.orders.menu.actions()[1].trigger()
    ids = [row.id for row in values.model.rows]
    assert ids == [name for name in CHART.parameters if name in ids]
    assert values.orders.label == "in panel order"


def test_arrows_tell_which_parameter_is_looked_at(qtbot, values):
    values.show_sheet(ONE)
    values.take_focus()
    with qtbot.waitSignal(values.selected) as told:
        qtbot.keyClick(values.table, Qt.Key.Key_Down)
    assert told.args == ["f_cutoff"]


def test_looking_from_outside_tells_nobody(qtbot, values):
    values.show_sheet(ONE)
    with qtbot.assertNotEmitted(values.selected):
        values.select("f_resonance")
        assert values.table.currentIndex().row() == 2
        values.select("o1_wave")
    assert not values.table.selectionModel().hasSelection()


def test_the_parameter_looked_at_stays_so_in_another_order(qtbot, values):
    values.show_sheet(TWO)
    values.select("mix_noise")
    with qtbot.assertNotEmitted(values.selected):
        values._order_chosen("panel")
    assert values.model.rows[values.table.currentIndex().row()].id == "mix_noise"


def test_a_moving_knob_changes_cells_and_nothing_jumps(qtbot, values):
    values.show_sheet(ONE)
    shown = demo.one_sound(CHART)
    with qtbot.assertNotEmitted(values.model.modelReset), qtbot.waitSignal(values.model.dataChanged):
        values.show_sheet(Sheet(CHART, replace(shown, now={**shown.now, "mix_noise": 60})))
    assert column(values, "second")[0] == "47 %"


def test_empty_says_what_will_stand_there(values):
    values.show_sheet(None)
    assert values.table.words == NO_VALUES
    same = demo.harbour(CHART)
    values.show_sheet(Sheet(CHART, Shown(a=same, b=same, comparison=demo.compared(CHART, same, same))))
    assert values.scope == "differences"
    assert "every control that can be compared is equal" in values.table.words


def test_tab_leaves_the_table(qtbot, values):
    values.show_sheet(ONE)
    values.take_focus()
    qtbot.keyClick(values.table, Qt.Key.Key_Tab)
    assert not values.table.hasFocus()


def test_it_folds_to_its_title_line(values):
    assert values.minimumSizeHint().height() == 33
