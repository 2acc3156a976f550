"""Small parts: buttons, notices, progress, first start, legend, outside text made harmless."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QImage, QPainter, QTextDocument
from PySide6.QtWidgets import QApplication

from librarian.window.pages.first_start import FirstStart
from librarian.window.paint.text import hairline, one_line, plain_tip, runs_of, sentence_markup
from librarian.window.parts.button import FRAME, Button
from librarian.window.parts.notice import Band, NoticeState, loudness_notice
from librarian.window.parts.progress import Progress, ProgressState
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import count_word, figures, listed, seconds_left


@given(st.text(), st.text())
def test_a_sentence_is_read_back_as_it_was_said(first, rest):
    """Whatever comes from outside: no markup, no second line, nothing that turns the direction of reading."""
    document = QTextDocument()
    document.setHtml(sentence_markup(first, rest))
    shown = document.toPlainText()
    assert shown.split() == one_line(f"{first} {rest}").split()
    assert "\n" not in shown


@given(st.text())
def test_one_line_keeps_what_can_be_seen(text):
    made = one_line(text)
    assert len(made) == len(text)
    assert not any(letter in made for letter in "\n\r\t\x00\x1b\u202e\u2066")
    assert one_line(made) == made


def test_a_tip_that_looks_like_markup_is_shown_as_it_is():
    document = QTextDocument()
    document.setHtml(plain_tip("<b>1 < 2</b> & more"))
    assert document.toPlainText() == "<b>1 < 2</b> & more"
    assert plain_tip("") == ""


@given(st.text(max_size=30), st.lists(st.tuples(st.integers(-3, 40), st.integers(-3, 40)), max_size=6))
def test_hits_never_lose_or_double_a_letter(text, hits):
    assert "".join(run.text for run in runs_of(text, hits)) == text


def test_words():
    assert count_word(2, capital=True) == "Two"
    assert count_word(13) == "13"
    assert listed([]) == ""
    assert listed(["A"]) == "A"
    assert listed(["A", "B", "C", "D"]) == "A, B, C and D"
    assert figures(1234567) == "1\u2009234\u2009567"
    assert seconds_left(0.2) == ", about 1 s left"


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0])
def test_a_hairline_is_one_device_pixel_at_every_scale(qapp, ratio):
    image = QImage(QSize(round(40 * ratio), round(20 * ratio)), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(ratio)
    image.fill(Qt.GlobalColor.white)
    painter = QPainter(image)
    hairline(painter, Qt.GlobalColor.black, 0, 7, 40, 7)  # type: ignore[arg-type]
    painter.end()
    column = [image.pixelColor(5, y).lightness() for y in range(image.height())]
    assert column.count(0) == 1
    assert column.count(255) == len(column) - 1


# -- buttons


def test_a_button_keeps_its_size_and_word_whatever_its_state(house, look):
    button = house(Button(look, ButtonSpec("recall", "Recall", primary=True, key="Ctrl+R")))
    usual = button.sizeHint()
    button.set_spec(ButtonSpec("recall", "Recall", primary=True, key="Ctrl+R", reason="It does not answer."))
    assert button.sizeHint() == usual
    assert button.accessibleName() == "Recall"
    button.set_hint_shown(shown=False)
    assert button.sizeHint().width() < usual.width()


def test_states_of_a_button_differ_without_colour(house, look):
    def grey(spec: ButtonSpec) -> bytes:
        button = house(Button(look, spec))
        button.resize(button.sizeHint())
        return bytes(button.grab().toImage().convertToFormat(QImage.Format.Format_Grayscale8).constBits())

    pictures = {grey(ButtonSpec("x", "Recall", primary=primary, reason=reason))
                for primary in (False, True) for reason in ("", "no")}
    assert len(pictures) == 4


def test_focus_is_a_frame_outside_the_shape(house, look):
    button = house(Button(look, ButtonSpec("x", "Recall", primary=True)))
    button.resize(button.sizeHint())
    button.clearFocus()
    plain = button.grab().toImage()
    button.setFocus()
    focused = button.grab().toImage()
    middle = plain.height() // 2
    assert plain.pixelColor(0, middle) != focused.pixelColor(0, middle)
    assert plain.pixelColor(FRAME + 2, middle) == focused.pixelColor(FRAME + 2, middle)


def test_an_ampersand_in_a_name_is_no_mnemonic(house, look):
    button = house(Button(look, ButtonSpec("use", "Use Bell & Fog")))
    assert button.shortcut().isEmpty()
    assert button.accessibleName() == "Use Bell & Fog"


# -- notices


def test_the_loudness_notice_asks_and_focuses_what_changes_nothing(qtbot, house, look):
    band = house(Band(look))
    band.resize(960, 140)
    band.show_state(loudness_notice())
    assert "hearing damage is permanent" in band.first.said
    assert "venue’s sound engineer" in band.rest.said
    band.take_focus()
    assert band.buttons["not_now"].hasFocus()
    with qtbot.waitSignal(band.pressed) as told:
        qtbot.mouseClick(band.buttons["monitors_down"], Qt.MouseButton.LeftButton)
    assert told.args == ["monitors_down"]
    band.show_state(None)
    assert not band.isVisible()


def test_buttons_of_a_band_wrap_and_are_never_cut(house, look):
    band = house(Band(look))
    many = tuple(ButtonSpec(f"b{number}", f"A choice with number {number}") for number in range(6))
    band.show_state(NoticeState("Which one?", "One of them.", many))
    band.resize(420, 20)
    band.resize(420, band.minimumHeight())
    QApplication.processEvents()
    for button in band.buttons.values():
        assert button.geometry().right() < 420
        assert button.geometry().bottom() < band.height()


def test_progress_is_seen_after_half_a_second_with_count_time_and_cancel(qtbot, house, look):
    progress = house(Progress(look))
    progress.hide()
    state = ProgressState("Reading Lanternfish’s memory", 23, 64, 11.2, "23 kept so far; cancel keeps them")
    progress.show_state(state)
    assert not progress.isVisible()
    qtbot.waitUntil(progress.isVisible, timeout=2000)
    assert progress.first.said == "Reading Lanternfish’s memory: 23 of 64"
    assert progress.rest.said == "11 s left · 23 kept so far; cancel keeps them"
    with qtbot.waitSignal(progress.cancelled):
        qtbot.mouseClick(progress.button, Qt.MouseButton.LeftButton)
    progress.show_state(None)
    assert not progress.isVisible()


def test_what_is_over_soon_is_never_seen(qtbot, house, look):
    progress = house(Progress(look))
    progress.hide()
    progress.show_state(ProgressState("Reading", 1, 2))
    progress.show_state(None)
    qtbot.wait(600)
    assert not progress.isVisible()


# -- first start


def test_first_start_says_the_two_ways_and_focuses_the_first(qtbot, house, look):
    page = house(FirstStart(look))
    page.resize(960, 602)
    page.take_focus()
    assert page.connect_button.hasFocus()
    for button, name in ((page.connect_button, "connect"), (page.stand_in_button, "standin")):
        with qtbot.waitSignal(page.pressed) as told:
            qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
        assert told.args == [name]


@pytest.mark.parametrize(("width", "height"), [(776, 518), (960, 602), (1520, 874)])
def test_nothing_of_the_first_start_is_cut(qtbot, house, look, width, height):
    page = house(FirstStart(look))
    page.resize(width, height)
    page.layout().activate()
    for card in page.cards:
        card.layout().activate()
        assert page.rect().contains(card.geometry())
        assert card.text.height() >= card.text.heightForWidth(card.text.width())
        assert card.rect().contains(card.button.geometry())
        assert card.text.geometry().bottom() <= card.button.geometry().top()
