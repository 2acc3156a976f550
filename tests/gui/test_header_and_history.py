"""The patch header and the history line: what is looked at, what can be done, what it was before."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from librarian.window.header.state import COMPARE, MATCH, RECALL, HeaderState, Title, detail
from librarian.window.header.widget import PatchHeader
from librarian.window.history.state import WIDEST, HistoryState, VersionMark, space
from librarian.window.history.widget import HistoryLine
from tests.gui import demo

ONE = HeaderState(a=demo.LATEST, buttons=(COMPARE, MATCH, RECALL), summary="3 controls moved since 19:42",
                  legend=("A", "panel", "changed", "setup"))


@pytest.fixture
def header(house, look):
    made = house(PatchHeader(look))
    made.resize(960, 76)
    made.show_state(ONE)
    return made


def visible(header: PatchHeader):
    return [button.geometry().adjusted(4, 4, -4, -4) for button in header.buttons.values()]


def test_the_second_line_says_whose_which_how_and_how_complete():
    assert detail(instrument="Lanternfish", number=4, latest=True, how="captured", when="12 Mar, 19:38", known=52,
                  of=52) == "Lanternfish · version 4, latest · captured 12 Mar, 19:38 · complete: 52 of 52 received"
    assert detail(instrument="Fogbell", number=1, latest=False, how="knob by knob", when="3 Mar", known=20,
                  of=22).endswith("version 1 · knob by knob 3 Mar · 20 of 22 received, 2 unknown")


def test_buttons_tell_their_names(qtbot, header):
    for name in ("compare", "match_panel", "recall"):
        with qtbot.waitSignal(header.pressed) as told:
            qtbot.mouseClick(header.buttons[name], Qt.MouseButton.LeftButton)
        assert told.args == [name]


def test_a_button_that_cannot_work_stays_at_its_place_and_names_the_reason(qtbot, header):
    places = visible(header)
    why = "Lanternfish does not answer."
    header.show_state(replace(ONE, buttons=(COMPARE, replace(MATCH, reason=why), replace(RECALL, reason=why))))
    assert visible(header) == places
    recall = header.buttons["recall"]
    assert not recall.isEnabled()
    assert why in recall.toolTip()
    assert recall.accessibleDescription() == why
    with qtbot.assertNotEmitted(header.pressed):
        qtbot.mouseClick(recall, Qt.MouseButton.LeftButton)


def test_neighbours_stand_8_px_apart_and_end_at_the_margin(header):
    shapes = visible(header)
    assert [right.left() - left.right() - 1 for left, right in pairwise(shapes)] == [8, 8]
    assert header.width() - 14 == shapes[-1].right() + 1


def test_key_hints_go_first_then_the_buttons_wrap_and_nothing_is_cut(header):
    header.resize(960, 76)
    assert all(button.show_hint for button in header.buttons.values())
    header.resize(776, 76)
    assert not any(button.show_hint for button in header.buttons.values())
    assert header.bare_height == 76
    header.resize(420, 76)
    assert header.bare_height == 76 + 36
    assert len({shape.top() for shape in visible(header)}) == 2
    assert all(shape.left() >= 14 for shape in visible(header))


def test_both_sounds_are_named_while_comparing(header):
    header.show_state(replace(ONE, b=Title("Storm, first gust", "version 2"), legend=("A", "B")))
    assert header.accessibleName() == (
        f"A {demo.LATEST.name}, {demo.LATEST.detail}; B Storm, first gust, version 2")
    assert header.legend.entries == (("A", "A"), ("B", "B"))
    header.show_state(ONE)
    assert header.legend.entries[0] == ("A", "A stored")


def test_renaming_in_place_return_takes_it_escape_leaves_it(qtbot, header):
    header.begin_rename()
    edit = header.editor.edit
    assert edit.hasFocus()
    assert edit.selectedText() == demo.LATEST.name
    qtbot.keyClicks(edit, "Harbour, calm")
    with qtbot.waitSignal(header.renamed) as told:
        qtbot.keyClick(edit, Qt.Key.Key_Return)
    assert told.args == ["Harbour, calm"]
    assert not header.editor.isVisible()
    header.begin_rename()
    qtbot.keyClicks(edit, "nothing")
    with qtbot.assertNotEmitted(header.renamed):
        qtbot.keyClick(edit, Qt.Key.Key_Escape)
    assert not header.editor.isVisible()
    assert QApplication.focusWidget() is not None


@pytest.mark.parametrize("typed", ["", "   ", demo.LATEST.name])
def test_an_empty_or_unchanged_name_renames_nothing(qtbot, header, typed):
    header.begin_rename()
    header.editor.edit.setText(typed)
    with qtbot.assertNotEmitted(header.renamed):
        qtbot.keyClick(header.editor.edit, Qt.Key.Key_Return)


def test_nothing_chosen_says_what_to_do(header):
    header.show_state(HeaderState())
    assert header.accessibleName().startswith("No sound is chosen.")
    header.begin_rename()
    assert not header.editor.isVisible()


# -- history


def versions(count: int, role: str = "A") -> HistoryState:
    return HistoryState("Harbour", tuple(
        VersionMark(100 + number, number, f"{number} Feb", "captured", role if number == count else "")
        for number in range(1, count + 1)), panel="3 moved")


@pytest.fixture
def history(house, look):
    made = house(HistoryLine(look))
    made.resize(1280, 72)
    return made


@given(st.integers(0, 400), st.integers(700, 2600), st.booleans(), st.integers(0, 500))
def test_versions_stand_evenly_in_view_the_latest_last(count, width, panel, shift):
    made = space(count, width, 128, panel=panel, shift=shift)
    steps = {round(right - left, 6) for left, right in pairwise(made.places)}
    assert len(steps) <= 1
    assert all(step <= WIDEST for step in steps)
    assert all(0 < place < width for place in made.places)
    assert 0 <= made.first <= max(0, count - len(made.places))
    if count and not shift:
        assert made.first + len(made.places) == count
    if made.panel_at is not None:
        assert made.panel_at > made.places[-1]
        assert made.panel_at < width


def test_the_places_are_the_designs():
    four = space(4, 1280, 128, panel=True)
    assert four.places == (300, 540, 780, 1020)
    assert four.panel_at == 1180
    assert space(2, 1280, 128, panel=False).places == (300, 600)


def test_a_version_chosen_is_told_by_mouse_and_keyboard(qtbot, history):
    history.show_state(versions(4))
    with qtbot.waitSignal(history.chosen) as told:
        qtbot.mouseClick(history.versions[1], Qt.MouseButton.LeftButton)
    assert told.args == [102]
    history.take_focus()
    assert QApplication.focusWidget().accessibleName() == "version 2 of 4, 2 Feb, captured" or (
        QApplication.focusWidget().accessibleName() == "version 4 of 4, latest, 4 Feb, captured, is A")
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Home)
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Right)
    with qtbot.assertNotEmitted(history.chosen):
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Right)
    with qtbot.waitSignal(history.chosen) as told:
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert told.args == [103]


def test_more_versions_than_fit_scroll_by_arrows(qtbot, history):
    history.show_state(versions(60))
    shown = [version.version.number for version in history.versions]
    assert shown[-1] == 60
    assert len(shown) < 60
    history.take_focus()
    for _ in range(59):
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Left)
    assert QApplication.focusWidget().version.number == 1
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_End)
    assert QApplication.focusWidget().version.number == 60


def test_each_version_says_what_it_is(history):
    history.show_state(HistoryState("Harbour", demo.FOUR_VERSIONS))
    assert [version.accessibleName() for version in history.versions][2:] == [
        "version 3 of 4, 1 Mar, carried over", "version 4 of 4, latest, 12 Mar, captured, is A"]
    assert history.accessibleName() == "History of Harbour, 4 versions, none ever removed"


def test_one_tab_stop(history):
    history.show_state(versions(4, role="B"))
    stops = [version for version in history.versions if version.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert stops == [history.versions[3]]


def test_before_the_first_capture_it_says_so(history):
    history.show_state(HistoryState())
    assert history.versions == []
    assert history.accessibleName() == "History, starts with the first capture"


def test_small_windows_have_one_line_of_text(history):
    history.set_height(56)
    assert history.height() == 56
    history.show_state(versions(3))
    assert all(version.low for version in history.versions)
