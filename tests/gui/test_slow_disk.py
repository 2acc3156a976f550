"""A disk that takes its time for every commit, as one behind a network does: the window goes on, and nothing is lost.

The disk here takes as long as the test says: each commit stands still until it is let go. What would wait for it on the
window's own thread would never come back.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from sqlalchemy import Connection, Engine, event

from librarian.collection import Library
from librarian.errors import LibrarianError
from tests.gui.whole_window import PATIENCE_MS, Desk


class SlowDisk:
    """`hold`: commits stand still from now on. `reached`: one does. `free`: all go on. `writers`: whose they are."""

    def __init__(self) -> None:
        self._open = threading.Event()
        self._open.set()
        self.reached = threading.Event()
        self.writers: list[str] = []

    def hold(self) -> None:
        self._open.clear()
        self.reached.clear()

    def free(self) -> None:
        self._open.set()

    def begins(self, connection: Connection) -> None:
        if connection.get_execution_options().get("begin") == "BEGIN IMMEDIATE":
            self.writers.append(threading.current_thread().name)

    def commits(self, connection: Connection) -> None:
        if connection.get_execution_options().get("begin") == "BEGIN IMMEDIATE" and not self._open.is_set():
            self.reached.set()
            assert threading.current_thread() is not threading.main_thread(), "the window waits for the disk"
            assert self._open.wait(PATIENCE_MS / 1000), "the test never let the disk go on"


@pytest.fixture
def disk(desk: Desk) -> Iterator[SlowDisk]:
    made = SlowDisk()
    event.listen(Engine, "begin", made.begins)
    event.listen(Engine, "commit", made.commits)
    yield made
    made.free()
    event.remove(Engine, "commit", made.commits)
    event.remove(Engine, "begin", made.begins)
    assert made.writers
    assert threading.main_thread().name not in made.writers


def hold_and_rename(desk: Desk, disk: SlowDisk) -> None:
    disk.hold()
    desk.window.desk.rename(desk.patches["Anchor chain"], "Another name")
    desk.wait_for(disk.reached.is_set)


def test_the_window_works_on_while_a_commit_stands_still(desk: Desk, disk: SlowDisk) -> None:
    window, patch = desk.window, desk.patches["Anchor chain"]
    hold_and_rename(desk, disk)
    window.desk.set_tags([patch], ["slow"], [])
    window.desk.set_note(patch, "written late")
    window.desk.delete([desk.patches["Harbour before the storm"]])
    window.desk.undo()
    # Meanwhile: finding, choosing, comparing, a drawer.
    window.areas.focus_area("search")
    desk.qtbot.keyClicks(window.areas.collection.search.field.edit, "harbour")
    desk.wait_for(lambda: window.desk.found.text == "harbour")
    desk.choose("Harbour before the storm")
    assert window.desk.choice.a.name == "Harbour before the storm"
    window.commands.run("backups")
    desk.wait_for(lambda: window.areas.drawer == "backups")
    desk.wait_for(lambda: window.areas.collection.progress.isVisible() or window.areas.drawers.progress.isVisible())
    assert desk.library.patch(patch).name == "Anchor chain"
    disk.free()
    desk.settle()
    row = desk.library.patch(patch)
    assert (row.name, row.tags[-1], row.note) == ("Another name", "slow", "written late")
    assert desk.library.patch(desk.patches["Harbour before the storm"]).place != "trash"


def test_a_capture_is_kept_while_the_window_works_on(desk: Desk, disk: SlowDisk) -> None:
    before = desk.library.total()
    disk.hold()
    desk.window.desk.instruments.choose(desk.ids["lanternfish"])
    desk.window.desk.capture()
    desk.wait_for(disk.reached.is_set)
    assert desk.library.total() == before
    desk.choose("Anchor chain")
    assert desk.window.desk.choice.a.name == "Anchor chain"
    disk.free()
    desk.wait_for(lambda: desk.library.total() == before + 1)
    desk.settle()


def test_closing_waits_in_sight_until_the_last_change_is_written(desk: Desk, disk: SlowDisk) -> None:
    hold_and_rename(desk, disk)
    assert not desk.window.close()
    assert desk.window.isVisible()
    assert "then the window closes" in desk.notice
    disk.free()
    desk.wait_for(lambda: not desk.window.isVisible())
    assert desk.library.patch(desk.patches["Anchor chain"]).name == "Another name"


def test_a_last_change_that_fails_is_said_and_the_window_stays(desk: Desk, disk: SlowDisk) -> None:
    hold_and_rename(desk, disk)

    def fails() -> None:
        raise LibrarianError("The disk is full.", "Free some space.")

    desk.window.desk.edit(fails)
    desk.window.close()
    disk.free()
    desk.wait_for(lambda: desk.notice == "The disk is full. Free some space.")
    desk.settle()
    assert desk.window.isVisible()
    assert desk.window.close()


def test_closed_once_more_it_does_not_wait_and_logs_what_was_not_written(
    desk: Desk, disk: SlowDisk, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    hold_and_rename(desk, disk)
    work, real = desk.window.desk.work, desk.window.desk.work.close
    monkeypatch.setattr(work, "close", lambda: real(timeout_s=0))
    assert not desk.window.close()
    assert desk.window.close()
    assert not desk.window.isVisible()
    assert "before the last changes of the library were written" in caplog.text
    caplog.clear()
    disk.free()
    desk.wait_for(lambda: "library work" not in [one.name for one in threading.enumerate()])


def test_a_change_that_fails_after_the_window_has_gone_is_logged(
    desk: Desk, disk: SlowDisk, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    hold_and_rename(desk, disk)

    def full(*_: object) -> None:
        assert desk.window.desk.work.closing.wait(PATIENCE_MS / 1000)
        raise LibrarianError("The disk is full.", "Free some space.")

    monkeypatch.setattr(Library, "set_note", full)
    desk.window.desk.set_note(desk.patches["Anchor chain"], "never written")
    assert not desk.window.close()
    disk.free()
    assert desk.window.close()
    assert "A last change of the library was not made: The disk is full. Free some space." in caplog.text
    caplog.clear()
