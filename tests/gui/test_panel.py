"""The front panel: the chart's rows at any size, one Tab stop, arrows by position, names that fit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QApplication

from librarian.chart import load, shipped
from librarian.messages import Values
from librarian.sounds import compare
from librarian.window.paint.text import fit_label, fit_value
from librarian.window.panel.grid import EDGE, NARROWEST, WIDEST, Texts, arrange
from librarian.window.panel.panel import FrontPanel
from librarian.window.shown.sheet import Sheet
from librarian.window.shown.state import Shown
from tests.gui import demo

CHART = demo.lanternfish()
GROUPS = [(section.row, section.id, [parameter.id for parameter in section.parameters]) for section in CHART.sections]


@pytest.fixture
def panel(house, look):
    made = house(FrontPanel(look))
    made.resize(960, 354)
    made.show_sheet(Sheet(CHART, demo.one_sound(CHART)))
    return made


# -- where it stands


@pytest.mark.parametrize(("width", "height", "diameter"), [(776, 316, 28), (960, 348, 35), (1100, 500, 49.4),
                                                           (1520, 500, 59.5)])
def test_diameters_are_the_designs(width, height, diameter):
    """The grid's table: 1024, 1280, 1920 with a drawer, 1920 without."""
    made = arrange(GROUPS, width, height)
    assert made.diameter == pytest.approx(diameter, abs=0.1)
    assert len(made.rows) == made.visible_rows == 4


sections = st.lists(st.tuples(st.integers(0, 6), st.integers(1, 40)), min_size=1, max_size=14).map(
    lambda rows: [(row, f"s{place}", [f"s{place}_{number}" for number in range(count)])
                  for place, (row, count) in enumerate(sorted(rows))])


@given(sections, st.integers(200, 2600), st.integers(60, 1400))
def test_any_chart_fits_any_width(groups, width, height):
    """Every control once, in order, none outside, none over another, none narrower than 52 px (or the panel)."""
    made = arrange(groups, width, height)
    placed = [name for row in made.rows for piece in row for name in piece.parameters]
    assert placed == [name for _, _, names in groups for name in names]
    assert NARROWEST <= made.cell_width <= WIDEST
    assert 28 <= made.diameter <= 60
    assert made.row_height >= made.diameter + Texts().beside_control - 1
    for row in made.rows:
        right = 0.0
        for piece in row:
            assert piece.left >= right - 1e-6
            assert piece.right == pytest.approx(piece.left + len(piece.parameters) * made.cell_width)
            right = piece.right
        assert right <= max(width, 2 * EDGE + NARROWEST) + 1e-6
    assert 1 <= made.visible_rows <= len(made.rows)


def test_a_section_longer_than_the_panel_goes_on_in_the_next_row():
    made = arrange([(0, "long", [str(number) for number in range(30)])], 776, 400)
    assert [len(row[0].parameters) for row in made.rows] == [14, 14, 2]
    assert [row[0].first for row in made.rows] == [True, False, False]


def test_rows_scroll_as_a_whole_when_there_is_no_room(qtbot, panel):
    panel.resize(960, 200)
    made = panel.arrangement
    assert made.scrolls
    assert made.visible_rows == 2
    assert panel.cells["o1_wave"].isVisible()
    assert not panel.cells["fe_attack"].isVisible()
    for _ in range(2):
        turn = QWheelEvent(QPointF(50, 50), QPointF(50, 50), QPoint(), QPoint(0, -120), Qt.MouseButton.NoButton,
                           Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False)
        QApplication.sendEvent(panel, turn)
    assert not panel.cells["o1_wave"].isVisible()
    assert panel.cells["fe_attack"].isVisible()
    assert panel.cells["lfo_rate_1"].isVisible()
    panel.resize(960, 354)
    assert all(cell.isVisible() for cell in panel.cells.values())


def test_the_arrows_bring_hidden_rows_into_view(qtbot, panel):
    panel.resize(960, 200)
    panel.take_focus()
    for _ in range(3):
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Down)
    focused = QApplication.focusWidget()
    assert focused.parameter == "lfo_rate_1"
    assert focused.isVisible()


# -- hands


def test_one_tab_stop_and_arrows_to_the_nearest_control(qtbot, panel):
    panel.take_focus()
    steps = [(Qt.Key.Key_Right, "o1_octave"), (Qt.Key.Key_Down, "mix_osc_2"), (Qt.Key.Key_Down, "fe_decay"),
             (Qt.Key.Key_Up, "mix_osc_2"), (Qt.Key.Key_Left, "mix_osc_1"), (Qt.Key.Key_Left, "mix_osc_1"),
             (Qt.Key.Key_End, "v_key_scale"), (Qt.Key.Key_Right, "v_key_scale"), (Qt.Key.Key_Down, "v_key_scale"),
             (Qt.Key.Key_Up, "mod_velocity"), (Qt.Key.Key_Home, "o1_wave"), (Qt.Key.Key_Up, "o1_wave")]
    for key, wanted in steps:
        qtbot.keyClick(QApplication.focusWidget(), key)
        assert QApplication.focusWidget().parameter == wanted
    stops = [name for name, cell in panel.cells.items() if cell.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert stops == ["o1_wave"]


def test_the_gap_between_sections_is_crossed(qtbot, panel):
    panel.cells["mix_ring"].setFocus()
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Right)
    assert QApplication.focusWidget().parameter == "f_mode"


def test_pressing_a_control_selects_it_and_tells_once(qtbot, panel):
    told: list[str] = []
    panel.selected.connect(told.append)
    qtbot.mouseClick(panel.cells["f_cutoff"], Qt.MouseButton.LeftButton)
    qtbot.mouseClick(panel.cells["f_cutoff"], Qt.MouseButton.LeftButton)
    assert told == ["f_cutoff"]
    assert panel.current == "f_cutoff"


def test_selecting_from_outside_tells_nobody_and_leaves_the_focus(qtbot, panel):
    panel.take_focus()
    with qtbot.assertNotEmitted(panel.selected):
        panel.select("v_volume")
    assert panel.cells["v_volume"].is_selected
    assert not panel.cells["v_volume"].hasFocus()


def test_enter_opens(qtbot, panel):
    panel.take_focus()
    with qtbot.waitSignal(panel.opened) as told:
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert told.args == ["o1_wave"]


def test_focus_and_selection_have_frames_of_different_weight(qtbot, panel):
    cell = panel.cells["f_drive"]
    plain = cell.grab().toImage()
    panel.select("f_drive")
    selected = cell.grab().toImage()
    cell.setFocus()
    focused = cell.grab().toImage()
    assert plain != selected != focused

    def frame(image):
        return [image.pixelColor(x, image.height() // 2).lightness() < 100 for x in range(3)]

    assert frame(plain) == [False, False, False]
    assert frame(selected) == [True, False, False]
    assert frame(focused) == [True, True, False]


# -- what is shown


def test_another_sound_keeps_the_selection_another_chart_does_not(panel):
    panel.select("f_cutoff")
    panel.show_sheet(Sheet(CHART, demo.two_sounds(CHART)))
    assert panel.current == "f_cutoff"
    other = demo.chart_of("Bell", ("Only", 0, (demo.knob("x", "Pitch"), demo.knob("x", "Decay"))))
    panel.show_sheet(Sheet(other, Shown(a={"x_pitch": 3})))
    assert panel.current == ""
    assert set(panel.cells) == {"x_pitch", "x_decay"}
    panel.show_sheet(None)
    assert panel.cells == {}


def test_marks_move_in_120_ms_and_jump_with_reduced_motion(qtbot, panel, look):
    look.reduced_motion = False
    start = panel.cells["mix_noise"].cell.control.a
    panel.show_sheet(Sheet(CHART, demo.with_unknowns(CHART)))
    assert panel.cells["mix_noise"]._control().a == pytest.approx(start, abs=0.2)
    end = panel.cells["mix_noise"].cell.control.a
    qtbot.waitUntil(lambda: panel.cells["mix_noise"]._control().a == end, timeout=1000)
    look.reduced_motion = True
    panel.show_sheet(Sheet(CHART, demo.one_sound(CHART)))
    assert panel.cells["mix_noise"]._control().a == start


def test_every_control_has_its_spoken_name_and_full_name_in_the_tip(panel):
    cell = panel.cells["f_resonance"]
    assert cell.accessibleName() == "Filter, Resonance, A 28 percent, panel now 36 percent, changed"
    assert "Filter, Resonance: 28 % · CC 71" in cell.toolTip()


def test_names_from_outside_are_no_markup(house, look):
    chart = demo.chart_of("x", ("<i>Sec</i>", 0, (demo.knob("x", "<b>Cut</b>\n&"),)))
    panel = house(FrontPanel(look))
    panel.show_sheet(Sheet(chart, Shown(a={})))
    cell = next(iter(panel.cells.values()))
    assert "&lt;b&gt;Cut&lt;/b&gt; &amp;" in cell.toolTip()
    assert "\n" not in cell.accessibleName()


def test_a_label_too_wide_falls_back_in_order(look):
    fonts = look.fonts

    def wide(text: str, *, condensed: bool = False) -> float:
        return fonts.metrics(11, condensed=condensed).horizontalAdvance(text)

    full, short = "Resonance depth", "Reso depth"
    assert fit_label(fonts, full, short, wide(full) + 1, 11, bold=False).text == full
    assert fit_label(fonts, full, short, wide(short) + 1, 11, bold=False).text == short
    condensed = fit_label(fonts, full, short, wide(short, condensed=True) + 0.5, 11, bold=False)
    assert (condensed.text, condensed.condensed) == (short, True)
    cut = fit_label(fonts, full, short, wide(short, condensed=True) - 8, 11, bold=False)
    assert "…" in cut.text
    assert cut.text[0] == "R"
    assert cut.text[-1] == "h"
    assert cut.shortened


def test_a_number_is_made_small_before_it_is_cut(look):
    fonts = look.fonts
    room = fonts.metrics(10, bold=True, condensed=True).horizontalAdvance("−1087 ms") + 0.5
    fit = fit_value(fonts, "−1087 ms", "", room, bold=True)
    assert (fit.text, fit.px) == ("−1087 ms", 10)


@pytest.mark.parametrize("name", sorted(shipped()))
@pytest.mark.parametrize("width", [776, 960, 1520])
def test_no_label_or_value_of_the_shipped_charts_is_cut(house, look, name, width):
    chart = load(shipped()[name])
    panel = house(FrontPanel(look))
    panel.resize(width, 354)
    lows = {parameter.id: parameter.low for parameter in chart.parameters.values()}
    highs = {parameter.id: parameter.high for parameter in chart.parameters.values()}
    between = compare(chart, Values(lows), Values(highs))
    for shown in (Shown(a=lows), Shown(a=highs), Shown(a=lows, b=highs, comparison=between), Shown(a={})):
        panel.show_sheet(Sheet(chart, shown))
        room = panel.arrangement.cell_width - 2
        for cell in panel.sheet.cells.values():
            label = fit_label(look.fonts, cell.label, cell.short, room, 11, bold=cell.label_bold)
            value = fit_value(look.fonts, cell.value, cell.value_short, room, bold=cell.value_bold)
            assert "…" not in label.text, cell.label
            assert "…" not in value.text, f"{cell.label}: {cell.value}"


@pytest.mark.parametrize("width", [776, 960, 1520])
def test_no_label_of_the_demo_is_cut_at_the_three_sizes(look, width):
    room = arrange(GROUPS, width, 350).cell_width - 2
    for sheet in (Sheet(CHART, demo.one_sound(CHART)), Sheet(CHART, demo.two_sounds(CHART))):
        for cell in sheet.cells.values():
            fit = fit_value(look.fonts, cell.value, cell.value_short, room, bold=cell.value_bold)
            assert "…" not in fit.text, cell.value
