"""The chain as a person meets it: sentence, buttons, Panic, focus, screen reader, bytes that move."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QTextDocument

from librarian.window.chain import transfers, troubles
from librarian.window.chain.widget import Chain
from tests.gui.test_chain_states import PEDAL, PIT, TABLE


@pytest.fixture
def chain(house, look):
    made = house(Chain(look))
    made.resize(1280, made.height())
    return made


def read(chain: Chain) -> str:
    """What stands there, as the label's own text engine reads it."""
    document = QTextDocument()
    document.setHtml(chain.sentence.text())
    return document.toPlainText()


@pytest.mark.parametrize("name", TABLE)
@pytest.mark.parametrize("width", [1024, 1280, 1920])
def test_every_state_fits_its_sentence_in_two_lines_beside_its_buttons(chain, name, width):
    state, sentence = TABLE[name]
    chain.resize(width, 100)
    chain.show_state(state)
    assert read(chain) == sentence
    assert chain.height() == 100
    line = chain.sentence.fontMetrics().lineSpacing() * 1.12
    assert chain.sentence.height() <= 2 * line + 4
    assert chain.sentence.geometry().bottom() < chain.height()
    shown = [*chain.buttons.values(), chain.panic]
    assert all(button.isVisible() for button in shown)
    assert chain.sentence.geometry().right() < min(button.x() for button in shown)
    assert max(button.geometry().right() for button in shown) <= width


def test_a_sentence_of_three_lines_pushes_the_areas_down_and_is_not_cut(chain):
    chain.resize(1024, 100)
    long = "It was a long way down the stair, and the lamp had to be carried all the way by hand. " * 3
    chain.show_state(troubles.could_not(PIT, first="The dump could not be read:", rest=long))
    assert chain.height() > 100
    assert chain.sentence.geometry().bottom() < chain.height()


def test_outside_names_are_shown_as_they_are_never_as_markup(chain):
    name = "<b>loud</b> & <img src='x'>\n\u202egnp"
    chain.show_state(transfers.proved(PIT, name=name, equal=1, of=1, at="19:42", setup_left=0))
    assert "“<b>loud</b> & <img src='x'> \ufffdgnp”" in read(chain)
    assert "\n" not in chain.accessibleName()


def test_buttons_do_what_the_sentence_proposes(qtbot, chain):
    chain.show_state(TABLE["m differ"][0])
    for name in ("show_differences", "again_slower"):
        with qtbot.waitSignal(chain.pressed) as told:
            qtbot.mouseClick(chain.buttons[name], Qt.MouseButton.LeftButton)
        assert told.args == [name]


def test_panic_stands_at_the_far_right_in_every_state(qtbot, chain):
    places = set()
    for state, _ in TABLE.values():
        chain.show_state(state)
        places.add(chain.panic.geometry().getRect())
        assert all(button.x() < chain.panic.x() for button in chain.buttons.values())
    assert len(places) == 1
    chain.show_state(TABLE["no answer"][0])
    with qtbot.waitSignal(chain.pressed) as told:
        qtbot.mouseClick(chain.panic, Qt.MouseButton.LeftButton)
    assert told.args == ["panic"]


def test_panic_that_cannot_work_names_the_reason(qtbot, chain):
    chain.show_state(TABLE["lost server"][0])
    assert not chain.panic.isEnabled()
    assert "No output port is open" in chain.panic.toolTip()
    assert "No output port is open" in chain.panic.accessibleDescription()
    with qtbot.assertNotEmitted(chain.pressed):
        qtbot.mouseClick(chain.panic, Qt.MouseButton.LeftButton)


def test_focus_is_kept_or_goes_to_the_proposed_button(qtbot, chain):
    chain.show_state(TABLE["identified"][0])
    chain.take_focus()
    qtbot.waitUntil(chain.buttons["capture"].hasFocus)
    chain.show_state(TABLE["proved"][0])
    assert chain.buttons["capture"].hasFocus()
    chain.show_state(TABLE["no answer"][0])
    assert chain.buttons["look_again"].hasFocus()


def test_keyboard_presses_the_button_in_focus(qtbot, chain):
    chain.show_state(TABLE["no answer"][0])
    chain.take_focus()
    with qtbot.waitSignal(chain.pressed) as told:
        qtbot.keyClick(chain.buttons["look_again"], Qt.Key.Key_Space)
    assert told.args == ["look_again"]


def test_a_running_transfer_is_announced_every_quarter_only(chain):
    said: list[str] = []
    chain.announced.connect(said.append)
    for received in range(53):
        chain.show_state(transfers.capturing(PIT, received=received, of=52, left_s=1))
    assert len(said) == 5
    chain.show_state(TABLE["proved"][0])
    assert said[-1] == TABLE["proved"][1]
    chain.show_state(TABLE["proved"][0])
    assert len(said) == 6


def test_bytes_move_only_while_they_do_and_never_with_reduced_motion(chain, look):
    busy = transfers.identified(replace(PIT, in_rate=40), answered_ago_s=1, revision=4)
    chain.show_state(busy)
    assert not chain._timer.isActive()
    look.reduced_motion = False
    chain.show_state(busy)
    assert chain._timer.isActive()
    chain.show_state(TABLE["identified"][0])
    assert not chain._timer.isActive()


def test_the_instruments_box_can_be_pressed_when_there_are_several(qtbot, chain):
    chain.show_state(transfers.identified(replace(PIT, count=1), answered_ago_s=1, revision=4))
    assert not chain.box.isVisible()
    chain.show_state(transfers.identified(PEDAL, answered_ago_s=1, revision=4))
    assert "Fogbell, 2 of 2" in chain.box.accessibleName()
    with qtbot.waitSignal(chain.instruments_asked):
        qtbot.mouseClick(chain.box, Qt.MouseButton.LeftButton)


@pytest.mark.parametrize("name", TABLE)
def test_only_strands_plate_sentence_and_buttons_change(chain, name):
    """The computer's drawing stands at the same pixel in good and bad days (the words beside it may differ)."""
    chain.show_state(TABLE["identified"][0])
    usual = chain.grab().toImage().copy(10, 10, 42, 44)
    chain.show_state(TABLE[name][0])
    now = chain.grab().toImage().copy(10, 10, 42, 44)
    assert (now == usual) == (name != "no MIDI system")
