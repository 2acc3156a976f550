"""The window on a library that cannot be written: it shows, compares, recalls, exports; a change is one sentence."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from librarian.collection import Library, opening
from librarian.window import app
from librarian.window.only_to_read import CHANGING, REASON
from librarian.window.paint.look import Look
from tests.gui.whole_window import Desk

STORM, STAIR = "Harbour before the storm", "Keeper climbs the stair"


@pytest.fixture
def locked(qtbot: QtBot, look: Look, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    # Nobody is refused by his rights where tests run as root: only the answer of the system is another one.
    monkeypatch.setattr(opening, "_may_be_written", lambda _place: False)
    plain = Library.open
    monkeypatch.setattr(Library, "open", lambda path: plain(path, only_to_read=True))
    made = Desk(qtbot, look, tmp_path)
    assert made.library.only_to_read
    before = made.library.path.read_bytes(), sorted(tmp_path.glob("patches*"))
    yield made
    made.close()
    assert (made.library.path.read_bytes(), sorted(tmp_path.glob("patches*"))) == before


def test_it_opens_and_says_what_works(locked: Desk) -> None:
    assert locked.notice.startswith(f"The library {locked.library.path} can only be read.")
    assert STORM in locked.listed
    locked.window.desk.search(text="stair")
    locked.wait_for(lambda: STAIR in locked.listed and STORM not in locked.listed)


def test_every_command_that_changes_is_off_and_its_button_says_why(locked: Desk) -> None:
    locked.choose(STORM)
    for name in CHANGING:
        action = locked.window.commands.act[name]
        assert not action.isEnabled(), name
        assert action.toolTip() == REASON, name
        locked.window.desk.told.emit(type(locked.window.telling.last)(""))
        locked.window.commands.run(name)
        assert locked.notice.startswith(REASON), name
    assert not locked.window.commands.act["undo"].isEnabled()


def test_what_no_command_is_in_the_way_of_is_refused_by_the_library(locked: Desk) -> None:
    locked.choose(STORM)
    locked.window.areas.header.renamed.emit("Another")
    locked.wait_for(lambda: "cannot be written" in locked.notice)
    assert locked.window.areas.header.state.a.name == STORM


def test_sounds_are_compared_and_recalled_and_the_recall_is_undone(locked: Desk) -> None:
    ids = locked.charts["lanternfish"].sound_ids
    held = {name: locked.stand_in("lanternfish").sound[name] for name in ids}
    locked.choose(STORM)
    locked.window.desk.choose_b(locked.patches[STAIR])
    assert locked.window.areas.panel.sheet.counts.differ
    locked.window.desk.end_compare()
    locked.window.commands.run("recall")
    locked.window.areas.band.buttons["monitors_down"].click()
    assert "cannot be kept in a library that can only be read" in locked.notice
    locked.wait_for(lambda: f"Recall of “{STORM}” is proved" in locked.sentence)
    assert locked.window.commands.act["undo"].isEnabled()
    locked.press("Ctrl+Z")
    locked.wait_for(lambda: "what was there before" in locked.sentence and "is proved" in locked.sentence)
    assert {name: locked.stand_in("lanternfish").sound[name] for name in ids} == held


def test_writing_a_memory_and_a_bring_up_are_refused_before_anything_is_replaced(locked: Desk) -> None:
    held = dict(locked.stand_in("lanternfish").sound)
    locked.window.desk.instruments.choose(locked.ids["lanternfish"])
    locked.window.drawers.memory.show()
    locked.window.drawers.memory.back_up()
    locked.wait_for(lambda: "cannot be written" in locked.sentence)
    locked.window.drawers.bring_up.run(locked.ids["lanternfish"])
    locked.wait_for(lambda: not locked.window.desk.instruments.busy(locked.ids["lanternfish"]))
    locked.wait_for(lambda: "cannot be written" in locked.sentence)
    assert locked.stand_in("lanternfish").sound == held


def test_it_is_exported(locked: Desk, tmp_path: Path) -> None:
    locked.choose(STORM)
    exporting = locked.window.drawers.exporting
    exporting.show_for([locked.patches[STORM]])
    exporting.sheet.form.chosen.emit("bundle")
    path = tmp_path / "out.zip"
    exporting.write(path)
    locked.settle()
    assert path.exists(), locked.notice


def test_buttons_of_drawers_that_change_are_off_and_say_why(locked: Desk) -> None:
    seen: set[str] = set()
    locked.window.desk.instruments.choose(locked.ids["lanternfish"])
    for hand in locked.window.drawers.hands:
        if hand.changing:
            hand.show()
            locked.settle()
            locked.wait_for(lambda hand=hand: bool(hand.drawer.buttons) or hand.name in {"import", "check"}, hand.name)
            for name in hand.changing & set(hand.drawer.buttons):
                button = hand.drawer.buttons[name]
                assert (button.isEnabled(), button.spec.reason) == (False, REASON), (hand.name, name)
                seen.add(f"{hand.name}: {name}")
            locked.window.areas.close_drawer()
    assert {"tags of all: rename", "trash: restore", "duplicates: merge", "saved searches: save", "backups: make",
            "not understood: again", "memory: backup", "bring-up: run"} <= seen


def test_when_its_owner_changes_it_that_is_said_and_it_is_opened_again(locked: Desk) -> None:
    locked.choose(STORM)
    state = locked.library.path.stat()
    os.utime(locked.library.path, ns=(state.st_atime_ns, state.st_mtime_ns + 1_000_000))
    locked.wait_for(lambda: "changed while it was read" in locked.notice, locked.notice)
    # Whatever reads in the window's own thread says the same, instead of ending in the middle.
    window = locked.window
    for read in (
        lambda: window.desk.choose_a(locked.patches[STAIR]),
        lambda: window.desk.choose_b(locked.patches[STAIR]),
        lambda: window.edit_details([locked.patches[STORM]]),
        lambda: window.desk.step_version(-1),
        window.desk.changed_by_us,
    ):
        window.about()
        read()
        locked.qtbot.wait(1)
    assert window.desk.choice.a.name == STORM
    window.desk.choose_a(locked.patches[STAIR])
    assert "changed while it was read" in locked.notice
    window.areas.collection.notice.buttons["open_again"].click()
    assert not window.isVisible()
    assert window.opens_again


def test_the_program_opens_the_window_again_when_that_was_asked_for(
    qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    codes: list[int | None] = [None, 3]
    monkeypatch.setattr(app, "QApplication", lambda _arguments: qapp)
    monkeypatch.setattr(app, "_run", lambda *_given: codes.pop(0))
    assert app.main([]) == 3
    assert codes == []
