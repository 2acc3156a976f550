"""What keeps the library whole, from the window: backups and restore, the check, disks that are full or read-only;
and what the conversations remember: recall options, pace, traffic."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QSettings
from pytestqt.qtbot import QtBot

from librarian.collection import Library
from librarian.collection.problems import LibraryProblem
from librarian.errors import LibrarianError
from librarian.transfer.connections import Connections, pace_text
from librarian.window.main import MainWindow
from librarian.window.pages.cannot_open import CannotOpen
from librarian.window.paint.look import Look
from tests.gui.whole_window import PATIENCE_MS, Desk, close
from tests.jackd import bound


def test_a_backup_is_made_at_the_start_listed_and_restored_as_one_step(desk: Desk):
    backups, window = desk.window.drawers.backups, desk.window
    desk.wait_for(lambda: [one.reason for one in desk.library.backups()] == ["start"])
    window.desk.rename(desk.patches["Anchor chain"], "Another name")
    desk.settle()
    window.commands.run("back_up")
    desk.settle()
    assert desk.notice.startswith(f"Backed up {len(desk.patches)} patches")
    window.commands.run("backups")
    desk.wait_for(lambda: len(backups.rows) == 2)
    assert ["asked for" in line.second for line in desk.lines(backups.sheet)] == [True, False]
    backups.sheet.list.select_row(1)
    desk.press("Return", backups.sheet.list)
    assert "Make the library what it was" in backups.sheet.saying.said
    assert backups.sheet.buttons["keep"].hasFocus()
    backups.do("restore")
    desk.settle()
    assert desk.library.patch(desk.patches["Anchor chain"]).name == "Anchor chain"
    desk.press("Ctrl+Z")
    desk.settle()
    assert desk.library.patch(desk.patches["Anchor chain"]).name == "Another name"
    backups.sheet.number.chosen.emit("3")
    desk.settle()
    desk.wait_for(lambda: backups.sheet.number.current == "3")
    assert desk.library.setting("backups.keep") == 3


def test_the_check_says_that_the_library_is_whole_or_what_is_wrong(desk: Desk):
    check = desk.window.drawers.check
    check.toggle()
    desk.settle()
    assert "The library is whole" in check.sheet.saying.said
    assert not desk.lines(check.sheet)
    other = sqlite3.connect(desk.library.path)
    other.execute("UPDATE content SET digest = zeroblob(length(digest)) WHERE id = (SELECT min(id) FROM content)")
    other.commit()
    other.close()
    check.do("again")
    desk.settle()
    assert check.found
    assert "wrong with" in check.sheet.saying.said
    assert [line.first for line in desk.lines(check.sheet)] == list(check.found)
    check.do("backups")
    assert desk.window.areas.drawer == "backups"


def test_a_disk_that_is_full_or_read_only_is_a_sentence_and_nothing_is_lost(desk: Desk, monkeypatch):
    patch = desk.patches["Anchor chain"]

    engine = desk.library._store
    real = engine.write
    raised = LibraryProblem(f"The disk with the library {desk.library.path} is full; this change was not kept.",
                            "Free some space, then try again.")

    def no_room(*_arguments: object, **_options: object) -> None:
        raise raised

    monkeypatch.setattr(engine, "write", no_room)
    desk.window.desk.rename(patch, "Another name")
    desk.settle()
    assert "is full; this change was not kept. Free some space" in desk.notice
    assert desk.window.areas.collection.notice.state.bar == "broken"
    monkeypatch.setattr(engine, "write", real)
    assert desk.library.patch(patch).name == "Anchor chain"
    desk.window.desk.rename(patch, "Another name")
    desk.settle()
    assert desk.library.patch(patch).name == "Another name"


def test_a_library_that_was_swept_away_is_a_sentence(desk: Desk):
    desk.wait_for(desk.library.backups)  # that of the start would miss the file too
    desk.library.path.rename(desk.library.path.with_name("elsewhere.library"))
    desk.window.desk.rename(desk.patches["Anchor chain"], "Another name")
    desk.settle()
    assert "no longer the file that was opened" in desk.notice
    assert desk.window.isVisible()
    desk.library.path.with_name("elsewhere.library").rename(desk.library.path)


def recall(desk: Desk, command: str) -> None:
    ended = []
    desk.window.desk.instruments.recalled.connect(lambda *_: ended.append(command))
    desk.window.commands.run(command)
    if desk.window.areas.band.isVisible():
        desk.window.areas.band.buttons["monitors_down"].click()
    desk.wait_for(lambda: bool(ended))
    assert "read back equal" in desk.sentence


def test_a_recall_says_what_did_not_have_to_travel_and_can_send_everything(desk: Desk):
    desk.choose("Harbour before the storm")
    recall(desk, "recall")
    desk.wait_for(lambda: "were left as they are" in desk.sentence)
    recall(desk, "recall")
    desk.wait_for(lambda: "were there already and did not travel" in desk.sentence)
    recall(desk, "recall_whole")
    desk.wait_for(lambda: "travel" not in desk.sentence and "is proved" in desk.sentence)
    recall(desk, "recall_setup")
    desk.wait_for(lambda: "52 of 52" in desk.sentence)
    assert "left as they are" not in desk.sentence


def test_a_slower_pace_is_remembered_shown_and_taken_back(qtbot: QtBot, look: Look, desk: Desk, tmp_path: Path):
    chart = desk.charts["lanternfish"]
    slow = chart.pace.slower()
    desk.library.note_instrument(desk.ids["lanternfish"], pace=pace_text(chart, slow))
    with Library.open(desk.library.path) as library, Connections(bytes_per_second=31250) as connections:
        window = MainWindow(look, library, connections, QSettings(str(tmp_path / "o.ini"), QSettings.Format.IniFormat))
        qtbot.addWidget(window)
        window.show()
        window.desk.instruments.choose(desk.ids["lanternfish"])
        standing = window.desk.instruments.standings[desk.ids["lanternfish"]]
        qtbot.wait_until(lambda: standing.ready, timeout=PATIENCE_MS)
        qtbot.wait_until(lambda: "gaps 2 times as long" in window.areas.chain.sentence.said, timeout=PATIENCE_MS)
        assert "gaps ×2" in window.chain_state().box.detail
        assert window.commands.act["usual_pace"].isEnabled()
        window.commands.run("usual_pace")
        qtbot.wait_until(lambda: library.instrument(desk.ids["lanternfish"]).pace == "", timeout=PATIENCE_MS)
        assert "gaps" not in window.chain_state().box.detail
        close(qtbot, window)


def test_the_traffic_is_filtered_by_words_and_bytes_and_saved(desk: Desk, tmp_path: Path):
    desk.press("Ctrl+Shift+T")
    traffic = desk.window.drawers.traffic
    desk.wait_for(lambda: len(traffic.model.lines) >= 2)
    traffic.filter.edit.setText("identity reply")
    assert traffic.model.lines
    assert all("identity reply" in line.meaning for line in traffic.model.lines)
    traffic.filter.edit.setText("f07e")
    assert all(line.raw.startswith(b"\xf0\x7e") for line in traffic.model.lines)
    traffic.filter.edit.setText("identity reply")
    traffic.save_to(tmp_path / "log.txt")
    text = (tmp_path / "log.txt").read_text(encoding="utf-8")
    assert len(text.splitlines()) == len(traffic.model.lines)
    traffic.save_to(tmp_path / "log.jsonl")
    from librarian.chart import loads
    from librarian.wire.traffic import load, read_about

    assert len(load(tmp_path / "log.jsonl")) > len(traffic.model.lines)
    about = read_about(tmp_path / "log.jsonl")
    assert loads(about["chart"]).name == about["instrument"], "a replay elsewhere needs no chart beside the file"
    assert set(about["address"]) == {"channel", "device"}
    traffic.save_to(tmp_path / "no" / "log.txt")
    assert "could not be written" in desk.window.areas.drawers.notice.sentence.said


def test_the_pace_survives_a_round_of_words(desk: Desk):
    """"×2" and "2 times" are the same count."""
    setting = replace(desk.standing("lanternfish").setting, slowed=3)
    assert "8 times" in setting.slower
    assert "gaps ×8" in setting.detail


def test_a_library_that_cannot_be_opened_is_said_in_a_window_and_tried_again(qtbot: QtBot, look: Look):
    problem = LibrarianError("<b>pit</b>.library is damaged.", "Restore a backup.")
    window = CannotOpen(look, problem)
    qtbot.addWidget(window)
    window.show()
    assert window.sentence.said == "<b>pit</b>.library is damaged. Restore a backup."
    with qtbot.waitSignal(window.answered) as heard:
        window.again.click()
    assert heard.args == [True]
    assert not window.isVisible()
    other = CannotOpen(look, problem)
    qtbot.addWidget(other)
    other.show()
    with qtbot.waitSignal(other.answered) as heard:
        other.close()
    assert heard.args == [False]


def test_a_damaged_library_ends_with_its_sentence_where_nobody_looks(tmp_path: Path):
    path = tmp_path / "pit.library"
    path.write_bytes(b"no library at all, but long enough to be one " * 100)
    ended = subprocess.run(
        bound([sys.executable, "-m", "librarian", "--library", str(path), "window"]), capture_output=True, text=True,
        timeout=60, check=False, env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )
    assert ended.returncode == 1
    assert "is not a library" in ended.stderr
