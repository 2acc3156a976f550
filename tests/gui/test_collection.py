"""The collection area: 200,000 rows like 20, typing, completions, a typo, tags, deleting, nothing found."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.modeltest import ModelTester

from librarian.errors import OutsideProblem
from librarian.window.collection.area import CollectionArea
from librarian.window.collection.completions import CompletionModel
from librarian.window.collection.model import LINE_ROLE, PAGE, PatchModel
from librarian.window.collection.row import RowDelegate
from librarian.window.collection.state import (
    Completion,
    Found,
    Nothing,
    PatchLine,
    Reason,
    RowMarks,
    SearchProblem,
    TagCount,
)
from librarian.window.parts.notice import undo_notice
from librarian.window.parts.spec import ButtonSpec
from tests.gui import demo

OFFERED = (
    Completion("cutoff > 1 kHz", "value", 11, "storm cutoff > 1 kHz"), Completion("tag storm", "tag", 14, "tag:storm"),
    Completion("like Storm, first gust", "likeness", 20, "like A"),
)
PROBLEM = SearchProblem(6, 5, "No chart has a parameter “cutof”. The list below still shows “storm”.", "cutoff",
                        "storm cutoff > 900 Hz")


@pytest.fixture
def source():
    return demo.Source()


@pytest.fixture
def area(house, look, source):
    made = house(CollectionArea(look, source))
    made.resize(320, 602)
    made.show_found(demo.found())
    return made


def settle():
    for _ in range(3):
        QApplication.processEvents()


# -- the model


def test_the_model_is_a_sound_qt_model(qtmodeltester: ModelTester, source):
    model = PatchModel(source)
    qtmodeltester.check(model)
    model.show_ids(range(300))
    qtmodeltester.check(model)
    model.show_ids([7])
    model.show_marks(RowMarks(a=7))
    qtmodeltester.check(model)


def test_rows_are_read_a_page_at_a_time_and_only_once(source):
    model = PatchModel(source)
    model.show_ids(range(10_000))
    assert source.asked == []
    assert model.data(model.index(130, 0)) == demo.Source.line(130).name
    assert source.asked == [list(range(2 * PAGE, 3 * PAGE))]
    model.data(model.index(131, 0), LINE_ROLE)
    assert len(source.asked) == 1
    model.refresh()
    model.data(model.index(131, 0))
    assert len(source.asked) == 2


def test_a_row_that_is_gone_meanwhile_is_said_to_be_gone(source):
    source.lines = lambda ids: [demo.Source.line(patch) for patch in ids if patch != 4]
    model = PatchModel(source)
    model.show_ids(range(10))
    assert model.data(model.index(4, 0)) == "no longer in the collection"
    assert model.data(model.index(5, 0)) == demo.Source.line(5).name


def test_rows_that_cannot_be_read_are_told_once_and_leave_the_list_standing(qtbot, source):
    def refuse(ids):
        raise OutsideProblem("The library is locked by another program.", "Close it there.")

    source.lines = refuse
    model = PatchModel(source)
    model.show_ids(range(200))
    with qtbot.waitSignal(model.failed) as told:
        assert model.data(model.index(0, 0)) == "cannot be read just now"
    assert told.args == ["The library is locked by another program.", "Close it there."]
    with qtbot.assertNotEmitted(model.failed, wait=50):
        model.data(model.index(1, 0))


def test_the_spoken_row_says_what_its_marks_say(source):
    model = PatchModel(source)
    model.show_ids(range(10))
    model.show_marks(RowMarks(a=3, b=5, changed={3: 2}))

    def said(row: int) -> str:
        return str(model.data(model.index(row, 0), Qt.ItemDataRole.AccessibleTextRole))

    assert said(3) == "Storm, first gust, Lanternfish, act 2, storm, loud, 2 unknown, 2 changed, is A"
    assert said(5).endswith("1 unknown, is B")


# -- the list


def test_200_000_rows_scroll_like_20(area, source):
    source.asked.clear()
    area.show_found(replace(demo.found(), ids=range(200_000), total=200_000))
    settle()
    bar = area.list.verticalScrollBar()
    for place in range(0, 20):
        bar.setValue(bar.maximum() * place // 19)
        area.list.viewport().repaint()
    assert bar.maximum() > 200_000 * 44 - 1000
    assert area.count_line.text == "200\u2009000 patches"
    assert len(source.asked) <= 45, "only what is painted is read"


def test_everything_selected_is_told_quickly(qtbot, area):
    area.show_found(replace(demo.found(), ids=range(200_000), total=200_000))
    area.list.take_focus()
    with qtbot.waitSignal(area.chosen_changed) as told:
        area.list.selectAll()
    assert len(told.args[0]) == 200_000


def test_arrows_look_at_another_patch_and_enter_opens_it(qtbot, area):
    area.list.select_id(0)
    area.list.take_focus()
    with qtbot.waitSignal(area.current_changed) as told:
        qtbot.keyClick(area.list, Qt.Key.Key_Down)
    assert told.args == [1]
    with qtbot.waitSignal(area.opened) as told:
        qtbot.keyClick(area.list, Qt.Key.Key_Return)
    assert told.args == [1]


def test_delete_asks_for_all_that_are_chosen(qtbot, area):
    area.list.select_id(2)
    area.list.take_focus()
    qtbot.keyClick(area.list, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    with qtbot.waitSignal(area.delete_asked) as told:
        qtbot.keyClick(area.list, Qt.Key.Key_Delete)
    assert told.args == [[2, 3]]


def test_the_patch_looked_at_stays_current_in_another_result(qtbot, area):
    area.list.select_id(40)
    with qtbot.assertNotEmitted(area.current_changed):
        area.show_found(replace(demo.found(), ids=[90, 40, 3]))
    assert area.list.current_id() == 40
    assert area.list.currentIndex().row() == 1
    area.show_found(replace(demo.found(), ids=[90, 3]))
    assert area.list.current_id() != 40


def test_selecting_from_outside_tells_nobody(qtbot, area):
    with qtbot.assertNotEmitted(area.current_changed):
        assert area.list.select_id(17)
    assert not area.list.select_id(5000)


def test_rows_are_44_or_26_px_high(area):
    settle()
    assert area.list.visualRect(area.list.rows.index(0, 0)).height() == 44
    area.set_row_height("one line")
    settle()
    assert area.list.visualRect(area.list.rows.index(0, 0)).height() == 26


def test_the_reason_stands_after_the_instrument_and_is_bold_and_underlined(look):
    rows = RowDelegate(look)
    tagged = PatchLine(1, "x", "Lanternfish", ("act 2", "storm", "loud"), tag_hits=frozenset({"storm"}))
    runs = rows.second_line(tagged, 400)
    assert "".join(run.text for run in runs) == "Lanternfish · act 2 · storm · loud"
    assert [run.text for run in runs if run.bold and run.underline] == ["storm"]
    noted = PatchLine(1, "x", "Lanternfish", ("act 2",), reason=Reason("note: “before the storm breaks”", ((18, 5),)))
    runs = rows.second_line(noted, 400)
    assert "".join(run.text for run in runs) == "Lanternfish · note: “before the storm breaks”"
    assert [run.text for run in runs if run.underline] == ["storm"]
    value = PatchLine(1, "x", "Lanternfish", reason=Reason("Cutoff 2.7 kHz", whole=True))
    assert [run.text for run in rows.second_line(value, 400) if run.underline] == ["Cutoff 2.7 kHz"]


def test_tags_are_left_out_whole_and_one_that_matched_never(look):
    rows = RowDelegate(look)
    line = PatchLine(1, "x", "Lanternfish", ("act 2", "drone", "quiet", "slow", "storm"),
                     tag_hits=frozenset({"storm"}))
    text = "".join(run.text for run in rows.second_line(line, 170))
    assert text.startswith("Lanternfish · storm")
    assert text.endswith(" …")
    assert set(text.removesuffix(" …").split(" · ")) <= {"Lanternfish", *line.tags}


# -- the search line


def test_typing_asks_after_a_rest_of_150_ms_and_once(qtbot, area):
    asked: list[str] = []
    area.query_changed.connect(asked.append)
    area.search.take_focus()
    qtbot.keyClicks(area.search.field.edit, "storm")
    assert asked == []
    qtbot.waitUntil(lambda: asked == ["storm"], timeout=1000)


def test_return_asks_at_once(qtbot, area):
    area.search.take_focus()
    qtbot.keyClicks(area.search.field.edit, "fog")
    with qtbot.waitSignal(area.query_changed, timeout=100) as told:
        qtbot.keyClick(area.search.field.edit, Qt.Key.Key_Return)
    assert told.args == ["fog"]


def test_down_enters_the_completions_tab_takes_escape_leaves_the_text(qtbot, area):
    edit = area.search.field.edit
    area.search.take_focus()
    qtbot.keyClicks(edit, "storm cutoff > 1 k")
    area.offer(OFFERED)
    offered = area.search.completions
    assert offered.isVisible()
    assert offered.parentWidget() is area.window()
    qtbot.keyClick(edit, Qt.Key.Key_Escape)
    assert not offered.isVisible()
    assert edit.text() == "storm cutoff > 1 k"
    area.offer(OFFERED)
    qtbot.keyClick(edit, Qt.Key.Key_Down)
    qtbot.keyClick(edit, Qt.Key.Key_Down)
    assert offered.current() == OFFERED[1]
    assert edit.hasFocus(), "the field keeps the keys"
    with qtbot.waitSignal(area.query_changed) as told:
        qtbot.keyClick(edit, Qt.Key.Key_Tab)
    assert told.args == ["tag:storm"]
    assert edit.text() == "tag:storm"
    assert not offered.isVisible()


def test_return_without_entering_the_completions_keeps_what_was_typed(qtbot, area):
    area.search.take_focus()
    qtbot.keyClicks(area.search.field.edit, "storm")
    area.offer(OFFERED)
    with qtbot.waitSignal(area.query_changed) as told:
        qtbot.keyClick(area.search.field.edit, Qt.Key.Key_Return)
    assert told.args == ["storm"]


def test_down_without_completions_goes_to_the_list(qtbot, area):
    area.search.take_focus()
    qtbot.keyClick(area.search.field.edit, Qt.Key.Key_Down)
    assert area.list.hasFocus()
    assert area.list.current_id() == 0


def test_a_typo_is_marked_named_and_mended_with_tab_while_the_list_stays(qtbot, area):
    edit = area.search.field.edit
    area.search.take_focus()
    edit.setText("storm cutof > 900 Hz")
    before = edit.grab().toImage()
    area.show_found(replace(demo.found(17), problem=PROBLEM))
    assert edit.grab().toImage() != before, "a zigzag below the word"
    assert area.search.problem_area.isVisible()
    assert area.search.problem_area.sentence.said == PROBLEM.sentence
    assert area.list.isVisible()
    assert area.count_line.text == "17 of 118"
    with qtbot.waitSignal(area.query_changed) as told:
        qtbot.keyClick(edit, Qt.Key.Key_Tab)
    assert told.args == [PROBLEM.query]
    area.show_found(demo.found())
    assert not area.search.problem_area.isVisible()


def test_the_zigzag_stands_below_its_word_even_when_the_text_is_scrolled(area):
    edit = area.search.field.edit

    def wave(text: str, start: int, length: int) -> list[int]:
        edit.setText(text)
        edit.setCursorPosition(len(text))
        area.search.field.mark_wrong(0, 0)
        plain = edit.grab().toImage()
        area.search.field.mark_wrong(start, length)
        marked = edit.grab().toImage()
        return [x for x in range(plain.width())
                if any(plain.pixel(x, y) != marked.pixel(x, y) for y in range(plain.height()))]

    short = wave("storm cutof", 6, 5)
    metrics = edit.fontMetrics()
    assert short[0] == pytest.approx(metrics.horizontalAdvance("storm "), abs=5)
    assert short[-1] - short[0] == pytest.approx(metrics.horizontalAdvance("cutof"), abs=5)
    long = wave("harbour " * 12 + "cutof", 96, 5)
    assert long[-1] >= edit.width() - 14, "the end of a long text is in view, and its mark with it"


def test_completions_are_a_sound_model(qtmodeltester: ModelTester):
    model = CompletionModel()
    model.show_items(OFFERED)
    qtmodeltester.check(model)
    spoken = model.data(model.index(0), Qt.ItemDataRole.AccessibleTextRole)
    assert spoken == "cutoff > 1 kHz, value, finds 11"


# -- tags


def test_tags_show_their_counts_and_tell_when_they_are_chosen(qtbot, area):
    words = {word.tag: word for word in area.tags.words}
    assert words["storm"].count == 14
    assert words["storm"].accessibleName() == "tag storm, 14 patches"
    with qtbot.waitSignal(area.tag_toggled) as told:
        qtbot.mouseClick(words["storm"], Qt.MouseButton.LeftButton)
    assert told.args == ["storm", True]
    area.show_found(replace(demo.found(14), chosen_tags=frozenset({"storm"})))
    first = area.tags.words[0]
    assert (first.tag, first.isChecked()) == ("storm", True)
    with qtbot.waitSignal(area.tag_toggled) as told:
        qtbot.mouseClick(first, Qt.MouseButton.LeftButton)
    assert told.args == ["storm", False]


def test_a_chosen_tag_that_nothing_has_now_can_be_let_go(area):
    area.show_found(Found(ids=(), total=118, tags=(), chosen_tags=frozenset({"spare"})))
    assert [(word.tag, word.count, word.isChecked()) for word in area.tags.words] == [("spare", 0, True)]


def test_the_last_word_opens_all_tags(qtbot, area):
    many = tuple(TagCount(f"scene {number}", 100 - number) for number in range(34))
    area.show_found(replace(demo.found(), tags=many, tag_total=34))
    assert area.tags.words[-1].tag == "all 34 tags"
    assert len(area.tags.words) < 34
    assert area.tags.height() == 3 * 24
    with qtbot.assertNotEmitted(area.tag_toggled):
        qtbot.mouseClick(area.tags.words[-1], Qt.MouseButton.LeftButton)
    assert area.tags.words[0].tag == "fewer tags"
    assert area.tags.height() == 10 * 24
    seen = {word.tag for word in area.tags.words}
    area.tags.take_focus()
    for _ in range(40):
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Right)
        seen.add(QApplication.focusWidget().tag)
    assert seen == {"fewer tags", *(tag.tag for tag in many)}, "the arrows reach every tag"
    area.tags.set_opened(opened=False)
    assert area.tags.height() == 3 * 24


@pytest.mark.parametrize("width", [248, 320, 400])
def test_no_tag_stands_outside_or_over_another(area, width):
    area.resize(width, 600)
    settle()
    tags = area.tags
    rects = [word.geometry() for word in tags.words]
    assert all(rect.left() >= 0 and rect.right() < tags.width() and rect.bottom() < tags.height() for rect in rects)
    assert not any(one.intersects(other) for place, one in enumerate(rects) for other in rects[:place])


def test_tags_are_one_tab_stop_then_arrows(qtbot, area):
    area.tags.take_focus()
    assert area.tags.words[0].hasFocus()
    qtbot.keyClick(area.tags.words[0], Qt.Key.Key_Right)
    assert area.tags.words[1].hasFocus()
    stops = [word for word in area.tags.words if word.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert stops == [area.tags.words[1]]
    with qtbot.waitSignal(area.tag_toggled) as told:
        qtbot.keyClick(area.tags.words[1], Qt.Key.Key_Space)
    assert told.args == ["act 2", True]


# -- counts, nothing, notice


def test_the_count_line_tells_how_many_and_in_which_order(qtbot, area):
    assert area.count_line.text == "118 patches"
    assert area.count_line.order.label == "by act, then name"
    area.show_found(replace(demo.found(1), total=1))
    assert area.count_line.text == "1 patch"
    order = area.count_line.order
    with qtbot.waitSignal(area.order_chosen) as told:
        order.menu.actions()[2].trigger()
    assert told.args == ["newest"]


def test_nothing_found_says_what_would_find_something(qtbot, area):
    without = ButtonSpec("without", "Search without “loud”")
    area.show_found(Found(total=118, nothing=Nothing("No patch matches. Without “loud” there are 14.", without)))
    assert area.count_line.text == "0 of 118"
    assert area.empty.isVisible()
    assert area.empty.sentence.said == "No patch matches. Without “loud” there are 14."
    with qtbot.waitSignal(area.pressed) as told:
        qtbot.mouseClick(area.empty.button, Qt.MouseButton.LeftButton)
    assert told.args == ["without"]
    area.show_found(Found())
    assert area.empty.sentence.said == "The sounds you keep will be listed here, with their tags above."
    assert not area.empty.button.isVisible()


def test_the_undo_notice_stays_until_it_is_answered_or_taken_away(qtbot, area):
    area.show_notice(undo_notice("Deleted “Rain on the skylight” and its 2 versions."))
    qtbot.wait(300)
    assert area.notice.isVisible()
    assert area.notice.sentence.said == "Deleted “Rain on the skylight” and its 2 versions."
    with qtbot.waitSignal(area.pressed) as told:
        qtbot.mouseClick(area.notice.buttons["undo"], Qt.MouseButton.LeftButton)
    assert told.args == ["undo"]
    area.show_notice(None)
    assert not area.notice.isVisible()


def test_names_from_outside_are_no_markup(area, source):
    source.lines = lambda ids: [PatchLine(patch, "<b>x</b>\n\u202ey", "<i>", ("&",)) for patch in ids]
    area.list.rows.refresh()
    index = area.list.rows.index(0, 0)
    assert index.data() == "<b>x</b> \ufffdy"
    assert "&lt;b&gt;x&lt;/b&gt;" in index.data(Qt.ItemDataRole.ToolTipRole)
