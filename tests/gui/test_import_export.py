"""Files in and out of the window: the preview before anything is kept, one step of undo, what was not understood."""

from __future__ import annotations

import csv
import threading
import zipfile
from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QApplication

from librarian.files import syx
from librarian.messages import Address
from librarian.transfer import Cancel
from librarian.transfer.connections import add_stand_in
from tests.gui.whole_window import Desk

STRANGE = bytes.fromhex("F0 43 10 01 02 F7")


def dumps_of(desk: Desk, chart: str, count: int) -> list[bytes]:
    """Whole edit buffer dumps that the library has never seen."""
    made = []
    codec = desk.charts[chart].codec
    address = desk.standing(chart).row.address
    kept = desk.library.version(desk.library.patch(desk.patches["Harbour before the storm"]).latest)
    message = next(name for name, info in codec.messages.items() if info.kind == "edit buffer")
    parameter = desk.charts[chart].parameters["filter.cutoff"]
    for number in range(count):
        values = kept.values.with_values({"filter.cutoff": parameter.low + number * 3 + 1})
        made += codec.encode(message, values, address, base=kept.received, name=f"Gale {number}")
    return made


@pytest.fixture
def file(desk: Desk, tmp_path: Path) -> Path:
    """Three sounds that are new, one piece that no chart knows; its name looks like HTML."""
    path = tmp_path / "pit <b>night.syx"
    path.write_bytes(b"".join([*dumps_of(desk, "lanternfish", 3), STRANGE]))
    return path


def drop(desk: Desk, *paths: Path) -> bool:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    copy, left, plain = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    search = desk.window.areas.collection.search.field.edit
    target = search if search.isVisible() else desk.window
    # Over a field that takes text, and over the window: both want the files.
    QApplication.sendEvent(target, QDragEnterEvent(QPoint(5, 5), copy, data, left, plain))
    event = QDropEvent(QPoint(5, 5), copy, data, left, plain)
    QApplication.sendEvent(target, event)
    return event.isAccepted() and search.text() == ""


def looked_through(desk: Desk) -> None:
    desk.wait_for(lambda: desk.window.drawers.importing.seen is not None)


def test_dropped_files_are_shown_before_anything_is_kept_and_then_kept_as_one_step(desk: Desk, file: Path):
    before = desk.library.total()
    assert drop(desk, file)
    looked_through(desk)
    drawer = desk.window.drawers.importing.sheet
    assert desk.window.areas.drawer == "import"
    assert desk.library.total() == before
    assert not desk.library.unread()
    lines = desk.lines(drawer)
    assert [line.right for line in lines] == ["new", "new", "new", "not understood"]
    assert all("Lanternfish" in line.second and "complete" in line.second for line in lines[:3])
    assert "pit <b>night.syx" in drawer.saying.said
    desk.qtbot.keyClicks(drawer.tags.edit, "gale, act 2")
    drawer.buttons["import"].click()
    desk.settle()
    assert desk.window.areas.drawer == ""
    assert desk.library.total() == before + 3
    assert desk.notice.startswith("3 sounds kept")
    desk.window.show_all()
    desk.wait_for(lambda: len(desk.listed) == before + 3)
    fresh = desk.library.rows(desk.library.find("tag:gale").ids)
    assert len(fresh) == 3
    assert desk.window.desk.choice.a.patch.id in {row.id for row in fresh}, "What was imported is looked at."
    desk.press("Ctrl+Z")
    desk.settle()
    assert desk.library.total() == before
    assert not desk.library.unread()


def test_what_the_library_has_already_is_not_kept_twice(desk: Desk, file: Path):
    importing = desk.window.drawers.importing
    for _ in range(2):
        importing.take([file])
        looked_through(desk)
        if importing.sheet.buttons["import"].isEnabled():
            importing.keep()
        desk.settle()
    lines = desk.lines(importing.sheet)
    assert [line.right for line in lines] == ["same", "same", "same", "kept before"]
    button = importing.sheet.buttons["import"]
    assert not button.isEnabled()
    assert "already" in button.toolTip()


def test_reading_can_be_cancelled_and_keeps_nothing(desk: Desk, file: Path, monkeypatch: pytest.MonkeyPatch):
    from librarian.files import intake

    begun = []

    def endless(*_arguments: object, cancel: Cancel, **_options: object) -> None:
        begun.append(cancel)
        turn = threading.Event()
        while not turn.wait(0.005):
            cancel.check("Nothing was kept; the library is as it was.")

    monkeypatch.setattr(intake, "preview", endless)
    desk.window.drawers.importing.take([file])
    desk.wait_for(lambda: bool(begun))
    foot = desk.window.areas.drawers.progress
    desk.wait_for(lambda: foot.isVisible() and "Reading" in foot.first.said, "What takes long shows how far it is.")
    desk.press("Escape")
    desk.settle()
    assert desk.window.areas.drawer == ""
    assert desk.library.total() == len(desk.patches)


def test_a_file_that_holds_nothing_is_a_sentence(desk: Desk, tmp_path: Path):
    empty = tmp_path / "nothing.syx"
    empty.write_bytes(b"")
    desk.window.drawers.importing.take([empty])
    desk.settle()
    assert "nothing.syx" in desk.window.drawers.importing.sheet.saying.said
    desk.window.drawers.importing.take([tmp_path / "gone.syx"])
    desk.settle()
    assert "gone.syx" in desk.window.drawers.importing.sheet.saying.said
    assert desk.library.total() == len(desk.patches)


def test_a_file_among_others_that_cannot_be_used_is_left_out_and_named(desk: Desk, tmp_path: Path, file: Path):
    before = desk.library.total()
    picture = tmp_path / "photo <i>.png"
    picture.write_bytes(b"\x89PNG\r\n")
    assert drop(desk, picture, file)
    looked_through(desk)
    drawer = desk.window.drawers.importing.sheet
    assert "Left out: photo <i>.png is a picture." in drawer.saying.said
    assert [line.right for line in desk.lines(drawer)] == ["new", "new", "new", "not understood"]
    drawer.buttons["import"].click()
    desk.settle()
    assert desk.library.total() == before + 3


def test_a_changed_sound_becomes_a_version_or_a_patch_as_the_person_likes(desk: Desk, tmp_path: Path, file: Path):
    importing = desk.window.drawers.importing
    importing.take([file])
    looked_through(desk)
    importing.keep()
    desk.settle()
    codec, address = desk.charts["lanternfish"].codec, desk.standing("lanternfish").row.address
    kept = desk.library.version(desk.library.patch(desk.library.find('"Gale 0"').ids[0]).latest)
    message = next(name for name, info in codec.messages.items() if info.kind == "edit buffer")
    values = kept.values.with_values({"filter.resonance": 77})
    changed = tmp_path / "changed.syx"
    raws = codec.encode(message, values, address, base=kept.received, name="Gale 0")
    changed.write_bytes(b"".join(raws))
    importing.take([changed])
    looked_through(desk)
    named = bool(codec.messages[message].name_size)
    assert importing.seen.count("changed") == int(named)
    if not named:
        return
    assert importing.sheet.changed.isVisible()
    importing.sheet.changed.chosen.emit("skip")
    assert not importing.sheet.buttons["import"].isEnabled()
    importing.sheet.changed.chosen.emit("version")
    total = desk.library.total()
    importing.keep()
    desk.settle()
    assert desk.library.total() == total


def test_what_was_not_understood_is_looked_at_exported_and_tried_again(desk: Desk, file: Path, tmp_path: Path):
    desk.window.drawers.importing.take([file])
    looked_through(desk)
    desk.window.drawers.importing.keep()
    desk.settle()
    unread = desk.window.drawers.unread
    unread.show()
    desk.wait_for(lambda: len(unread.rows) == 1)
    desk.wait_for(lambda: "F0 43 10 01 02 F7" in unread.sheet.bytes.toPlainText())
    out = tmp_path / "strange.syx"
    unread.write(out)
    desk.settle()
    assert out.read_bytes() == STRANGE
    unread.try_again()
    desk.settle()
    assert "None of it is understood yet" in desk.window.areas.drawers.notice.sentence.said
    unread.do("forget")
    desk.settle()
    desk.wait_for(lambda: not unread.rows)
    desk.press("Ctrl+Z")
    desk.settle()
    desk.wait_for(lambda: len(unread.rows) == 1)


@pytest.mark.parametrize("form", ["syx", "mid", "csv", "bundle"])
def test_the_chosen_sounds_go_out_in_every_form(desk: Desk, tmp_path: Path, form: str):
    exporting = desk.window.drawers.exporting
    names = ["Harbour before the storm", "Keeper climbs the stair"]
    exporting.show_for([desk.patches[name] for name in names])
    assert desk.window.areas.drawer == "export"
    exporting.sheet.form.chosen.emit(form)
    path = tmp_path / f"out.{'zip' if form == 'bundle' else form}"
    exporting.write(path)
    desk.settle()
    assert path.name in desk.notice
    assert "2" in desk.notice
    if form == "syx":
        raws = [raw for piece in syx.read(path).pieces() for raw in [piece.raw]]
        versions = [desk.library.version(desk.library.patch(desk.patches[name]).latest) for name in names]
        assert raws == [raw for version in versions for raw in version.received]
    elif form == "mid":
        assert path.read_bytes()[:4] == b"MThd"
    elif form == "csv":
        text = path.read_text(encoding="utf-8-sig")
        assert all(any(name in cell for row in csv.reader(text.splitlines()) for cell in row) for name in names)
    else:
        assert zipfile.ZipFile(path).testzip() is None


def test_an_export_into_a_folder_that_is_not_there_is_a_sentence(desk: Desk, tmp_path: Path):
    exporting = desk.window.drawers.exporting
    exporting.show_for([desk.patches["Harbour before the storm"]])
    exporting.write(tmp_path / "no" / "such" / "out.syx")
    desk.settle()
    assert "out.syx" in desk.notice
    assert desk.window.areas.collection.notice.state.bar == "broken"


def test_all_sounds_go_out_as_a_bundle_and_come_back_as_the_same(desk: Desk, tmp_path: Path):
    exporting = desk.window.drawers.exporting
    exporting.show_for([])
    exporting.sheet.which.chosen.emit("all")
    exporting.sheet.form.chosen.emit("bundle")
    path = tmp_path / "all.zip"
    exporting.write(path)
    desk.settle()
    desk.window.drawers.importing.take([path])
    looked_through(desk)
    seen = desk.window.drawers.importing.seen
    assert (seen.count("new"), seen.count("changed")) == (0, 0)
    assert seen.count("same") >= len(desk.patches)


def test_a_chart_that_is_dropped_opens_the_page_where_one_connects(desk: Desk, tmp_path: Path):
    chart = tmp_path / "mine.toml"
    chart.write_text(desk.charts["fogbell"].text.replace('id = "fogbell"', 'id = "mine"', 1), encoding="utf-8")
    assert drop(desk, chart)
    assert desk.window.areas.page == "connect"
    assert str(chart) == desk.window.connecting.page.chosen.chart


def test_of_two_equal_instruments_the_person_says_whose_sounds_these_are(desk: Desk, tmp_path: Path):
    chart = desk.charts["lanternfish"]
    second = add_stand_in(desk.library, chart, "Second fish")
    desk.wait_for(lambda: second in desk.window.desk.instruments.standings)
    codec, kept = chart.codec, desk.library.version(desk.library.patch(desk.patches["Keeper climbs the stair"]).latest)
    message = next(name for name, info in codec.messages.items() if info.kind == "edit buffer")
    elsewhere = Address(9, 5)
    path = tmp_path / "whose.syx"
    values = kept.values.with_values({"filter.cutoff": 1})
    path.write_bytes(b"".join(codec.encode(message, values, elsewhere, base=kept.received)))
    importing = desk.window.drawers.importing
    importing.take([path])
    looked_through(desk)
    assert importing.found.choices
    assert importing.sheet.target.isVisible()
    assert not importing.sheet.buttons["import"].isEnabled()
    importing.sheet.target.chosen.emit(str(second))
    desk.settle()
    looked_through(desk)
    assert [line.second.split(" · ")[0] for line in desk.lines(importing.sheet)] == ["Second fish"]
    importing.keep()
    desk.settle()
    assert desk.window.desk.choice.a.patch.instrument == second


def test_a_recording_gives_the_sound_at_the_moment_that_is_named(desk: Desk, tmp_path: Path):
    exporting = desk.window.drawers.exporting
    exporting.show_for([desk.patches["Foghorn far off"], desk.patches["Anchor chain"]])
    exporting.sheet.form.chosen.emit("mid")
    path = tmp_path / "night.mid"
    exporting.write(path)
    desk.settle()
    importing = desk.window.drawers.importing
    importing.take([path])
    looked_through(desk)
    assert importing.sheet.moment.isVisible()
    importing.seen = None
    importing.sheet.moment.edit.setText("1:00")
    desk.press("Return", importing.sheet.moment.edit)
    looked_through(desk)
    importing.sheet.moment.edit.setText("never")
    desk.press("Return", importing.sheet.moment.edit)
    desk.settle()
    assert importing.seen is None
    assert "never" in importing.sheet.saying.said
