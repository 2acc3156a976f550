"""Ordering a large collection from the window: searches, tags, duplicates, likeness, trash, what was done, groups."""

from __future__ import annotations

from dataclasses import replace

from librarian.collection import Library
from librarian.messages import Version
from tests.gui.whole_window import Desk


def content(desk: Desk, name: str) -> Version:
    return desk.library.version(desk.library.patch(desk.patches[name]).latest)


def keep(desk: Desk, name: str, version: Version, *tags: str) -> int:
    made = desk.library.keep(desk.ids["lanternfish"], name, version, tags)
    desk.wait_for(lambda: name in desk.listed, "What another hand keeps is seen.")
    return made


def test_a_search_is_saved_taken_up_again_and_forgotten(desk: Desk):
    window, searches = desk.window, desk.window.drawers.searches
    window.areas.collection.search.set_text("storm cutoff > 100 Hz")
    window.desk.search(text="storm cutoff > 100 Hz", tags=frozenset({"act 2"}))
    desk.wait_for(lambda: window.desk.found.text.startswith("storm"))
    found = list(desk.listed)
    window.commands.run("save_search")
    assert window.areas.drawer == "saved searches"
    desk.qtbot.keyClicks(searches.sheet.field.edit, "Loud <i>ones</i>")
    desk.press("Return", searches.sheet.field.edit)
    desk.settle()
    desk.wait_for(lambda: [line.first for line in desk.lines(searches.sheet)] == ["Loud <i>ones</i>"])
    assert desk.lines(searches.sheet)[0].right == f"{len(found)} patches"
    window.areas.close_drawer()
    window.show_all()
    desk.wait_for(lambda: len(desk.listed) > len(found))
    searches.toggle()
    desk.wait_for(lambda: bool(searches.rows))
    searches.sheet.take_focus()
    desk.press("Return", searches.sheet.list)
    desk.wait_for(lambda: desk.listed == found)
    assert window.areas.drawer == ""
    searches.show()
    desk.wait_for(lambda: bool(searches.rows))
    searches.sheet.list.select_row(0)
    desk.press("Delete", searches.sheet.list)
    desk.settle()
    desk.wait_for(lambda: not searches.rows)


def test_a_tag_gets_another_name_and_joins_another_one(desk: Desk):
    window, tags = desk.window, desk.window.drawers.tags
    tags.toggle()
    desk.wait_for(lambda: ("fog", 8) in tags.tags)
    bells = dict(tags.tags)["bell"]
    tags.sheet.list.select_row([tag for tag, _count in tags.tags].index("fog"))
    tags.sheet.field.edit.setText("mist")
    assert tags.sheet.buttons["rename"].text() == "Rename"
    tags.do("rename")
    desk.settle()
    desk.wait_for(lambda: ("mist", 8) in tags.tags)
    tags.sheet.list.select_row([tag for tag, _count in tags.tags].index("mist"))
    tags.sheet.field.edit.setText("Bell")
    assert "Join" in tags.sheet.buttons["rename"].text()
    tags.do("rename")
    desk.settle()
    desk.wait_for(lambda: "mist" not in dict(tags.tags))
    assert dict(tags.tags)["bell"] > bells
    desk.press("Ctrl+Z")
    desk.settle()
    desk.wait_for(lambda: ("mist", 8) in tags.tags)
    assert window.areas.drawer == "tags of all"


def test_all_that_is_found_is_tagged_at_once_and_undone_as_one_step(desk: Desk):
    window = desk.window
    window.desk.search(text="storm")
    desk.wait_for(lambda: window.desk.found.text == "storm")
    count = len(window.desk.found)
    assert count > 10
    desk.press("Ctrl+Shift+G")
    assert window.editor.isVisible()
    edit = window.editor.tags.edit
    edit.setText(f"{edit.text()}, weather" if edit.text() else "weather")
    desk.press("Return", edit)
    desk.settle()
    assert len(desk.library.find("tag:weather")) == count
    assert str(count) in desk.notice
    desk.press("Ctrl+Z")
    desk.settle()
    assert len(desk.library.find("tag:weather")) == 0


def test_equal_and_nearly_equal_sounds_are_shown_and_merged_without_losing_anything(desk: Desk):
    duplicates = desk.window.drawers.duplicates
    harbour = content(desk, "Harbour before the storm")
    keep(desk, "Harbour, a copy", harbour, "copied")
    duplicates.toggle()
    desk.settle()
    assert [line.first for line in desk.lines(duplicates.sheet)] == [
        "2 patches, all values equal", "Harbour before the storm", "Harbour, a copy"]
    desk.wait_for(lambda: desk.window.desk.choice.a is not None)
    duplicates.sheet.list.select_row(2)
    assert desk.window.desk.choice.b.name == "Harbour, a copy", "Both lie side by side on the panel."
    duplicates.sheet.list.select_row(1)
    versions = desk.library.patch(desk.patches["Harbour before the storm"]).versions
    duplicates.do("merge")
    desk.settle()
    row = desk.library.patch(desk.patches["Harbour before the storm"])
    assert "copied" in row.tags
    assert "Harbour, a copy" in row.note
    assert row.versions > versions
    desk.wait_for(lambda: "Harbour, a copy" not in desk.listed)

    cutoff = harbour.values["filter.cutoff"]
    near = replace(harbour, values=harbour.values.with_values({"filter.cutoff": cutoff + 2}), received=())
    keep(desk, "Harbour, nearly", near)
    duplicates.sheet.kind.chosen.emit("near")
    desk.settle()
    lines = desk.lines(duplicates.sheet)
    assert any(line.first == "Harbour, nearly" and "1 of" in line.second for line in lines)
    desk.press("Escape")
    assert desk.window.areas.drawer == ""


def test_sounds_like_this_one_are_listed_with_the_reason_and_laid_beside(desk: Desk):
    harbour = content(desk, "Harbour before the storm")
    near = replace(harbour, values=harbour.values.with_values({"filter.resonance": 99, "mixer.noise": 3}), received=())
    made = keep(desk, "Harbour, windy", near)
    desk.choose("Harbour before the storm")
    desk.press("Ctrl+Shift+N")
    like = desk.window.drawers.like
    desk.wait_for(lambda: bool(like.found))
    assert like.found[0].id == made
    first = desk.lines(like.sheet)[0]
    assert first.first == "Harbour, windy"
    assert "2 of 50 differ" in first.second
    like.sheet.list.select_row(0)
    assert desk.window.desk.choice.b.patch.id == made
    like.sheet.section.chosen.emit("mixer")
    desk.wait_for(lambda: like.section == "mixer" and bool(like.found))
    like.do("take")
    assert desk.window.desk.choice.a.patch.id == made
    assert not desk.window.desk.choice.comparing


def test_what_was_deleted_comes_back_and_goes_for_good_only_when_asked_for(desk: Desk):
    trash = desk.window.drawers.trash
    names = ["Foghorn far off", "Foghorn close"]
    desk.window.desk.delete([desk.patches[name] for name in names])
    desk.settle()
    trash.toggle()
    desk.wait_for(lambda: len(trash.ids) == 2)
    assert {line.first for line in desk.lines(trash.sheet)} == set(names)
    trash.sheet.list.select_row(0)
    back = desk.lines(trash.sheet)[0].first
    trash.do("restore")
    desk.settle()
    desk.wait_for(lambda: len(trash.ids) == 1)
    desk.wait_for(lambda: back in desk.listed)
    trash.do("ask")
    assert "cannot be undone" in trash.sheet.saying.said
    assert trash.sheet.buttons["keep"].hasFocus(), "The safe answer has the focus."
    trash.do("keep")
    assert desk.library.total(trash=True) == 1
    trash.do("ask")
    trash.do("empty")
    desk.settle()
    assert desk.library.total(trash=True) == 0
    assert any(one.reason == "before-emptying" for one in desk.library.backups())


def test_what_was_done_is_listed_by_day(desk: Desk):
    desk.window.desk.rename(desk.patches["Foghorn far off"], "Foghorn <u>far</u>")
    desk.settle()
    diary = desk.window.drawers.diary
    desk.press("Ctrl+Shift+H")
    desk.wait_for(lambda: bool(desk.lines(diary.sheet)))
    lines = desk.lines(diary.sheet)
    assert (lines[0].first, lines[0].heading) == ("Today", True)
    assert "Rename to “Foghorn <u>far</u>”" in lines[1].first
    diary.sheet.take_focus()
    desk.press("Return", diary.sheet.list)
    desk.wait_for(lambda: desk.window.desk.choice.a is not None)
    assert desk.window.desk.choice.a.patch.id == desk.patches["Foghorn far off"]
    count = len(lines)
    diary.sheet.field.edit.setText("yest")
    assert diary.sheet.field.edit.wrong == (0, 4)
    assert len(desk.lines(diary.sheet)) == count, "What was found last stays while one types."
    diary.sheet.field.edit.setText("yesterday")
    desk.wait_for(lambda: not desk.lines(diary.sheet))
    assert "Nothing was done yesterday" in diary.sheet.saying.said
    diary.sheet.field.edit.setText("today")
    desk.wait_for(lambda: len(desk.lines(diary.sheet)) == count)


def test_an_older_version_becomes_the_latest_again(desk: Desk):
    patch = desk.patches["Harbour before the storm"]
    versions = desk.library.versions(patch)
    desk.choose("Harbour before the storm")
    assert not desk.window.commands.act["revert"].isEnabled()
    desk.window.areas.history.chosen.emit(versions[0].id)
    desk.wait_for(desk.window.commands.act["revert"].isEnabled)
    desk.window.commands.run("revert")
    desk.settle()
    now = desk.library.versions(patch)
    assert len(now) == len(versions) + 1
    assert desk.library.version(now[-1].id).values == desk.library.version(versions[0].id).values
    assert "Version 1 is the latest again" in desk.notice


def test_the_list_stands_in_groups_by_tag_or_by_instrument(desk: Desk):
    window, rows = desk.window, desk.window.areas.collection.list.rows
    window.commands.run("group_instrument")
    desk.wait_for(lambda: bool(rows.headings))
    assert [heading.split("  ")[0] for heading in rows.headings] == ["Fogbell", "Lanternfish"]
    assert rows.rowCount() == len(desk.patches) + 2
    assert window.areas.collection.count_line.text == f"{len(desk.patches)} patches"
    view = window.areas.collection.list
    view.take_focus()
    assert view.current_id() is not None, "A heading is not chosen."
    view.selectAll()
    assert len(view.chosen_ids()) == len(desk.patches)
    window.commands.run("group_tag")
    desk.wait_for(lambda: len(rows.headings) > 20)
    names = [rows.line(row).name for row in range(rows.rowCount())]
    storm = names.index(next(name for name in names if name.startswith("storm  ")))
    count = int(names[storm].split("  ")[1])
    under = [rows.line(row) for row in range(storm + 1, storm + 1 + count)]
    assert all("storm" in line.tags for line in under)
    window.commands.run("group_none")
    desk.wait_for(lambda: not rows.headings)
    assert rows.rowCount() == len(desk.patches)


def test_two_windows_or_programs_see_each_other_within_a_second(desk: Desk):
    with Library.open(desk.library.path) as other:
        other.rename(desk.patches["Anchor chain"], "Anchor chain, rusty")
        desk.wait_for(lambda: "Anchor chain, rusty" in desk.listed)
        desk.window.desk.rename(desk.patches["Barometer falls"], "Barometer fell")
        desk.settle()
        assert other.patch(desk.patches["Barometer falls"]).name == "Barometer fell"


def test_patches_chosen_in_the_list_become_one(desk: Desk):
    harbour = content(desk, "Harbour before the storm")
    keep(desk, "Harbour, second try", replace(harbour, values=harbour.values.with_values({"filter.cutoff": 5})))
    view = desk.window.areas.collection.list
    desk.choose("Harbour before the storm")
    rows = sorted(view.rows.row_of(patch) for patch in desk.library.find('"Harbour before" or "Harbour, second"').ids)
    assert len(rows) == 2
    flags = view.selectionModel().SelectionFlag
    view.selectionModel().select(view.rows.index(rows[1], 0), flags.Select)
    desk.window.commands.run("merge")
    desk.settle()
    desk.wait_for(lambda: "Harbour, second try" not in desk.listed)
    assert "Harbour, second try" in desk.library.patch(desk.patches["Harbour before the storm"]).note


def test_a_notice_goes_when_its_undo_would_take_something_else_back(desk: Desk):
    desk.window.desk.delete([desk.patches["Anchor chain"]])
    desk.settle()
    assert "Deleted “Anchor chain”" in desk.notice
    with Library.open(desk.library.path) as other:
        other.rename(desk.patches["Barometer falls"], "Barometer fell")
        desk.wait_for(lambda: desk.notice == "")
