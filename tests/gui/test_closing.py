"""The window is not closed over what is under way without a word, and what was heard by hand outlasts it."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from threading import Event

import pytest
from PySide6.QtWidgets import QApplication

from librarian.collection import Library, store
from librarian.collection.memories import Memories
from librarian.transfer import same_sound
from librarian.window.desk import recalls
from librarian.window.ending import EndBySignal
from tests.gui.test_memory_and_bringup import SMALL, backed_up, the_small_fish
from tests.gui.test_recalls import STAIR, STORM, proved, recall, sound
from tests.gui.whole_window import PATIENCE_MS, Desk


@pytest.fixture
def fish(desk: Desk) -> Desk:
    desk.window.desk.instruments.choose(desk.ids["lanternfish"])
    desk.wait_for(lambda: desk.standing("lanternfish").ready)
    return desk


def newest(desk: Desk):
    """What the library holds as the newest sound."""
    with Library.open(desk.library.path) as library:
        [row] = library.rows(library.find(order="time").ids[:1])
        return library.version(row.latest)


def closed(desk: Desk) -> None:
    desk.qtbot.wait_until(lambda: not desk.window.isVisible(), timeout=PATIENCE_MS)


def test_a_capture_by_hand_is_asked_about_and_kept_when_the_window_is_closed_all_the_same(fish: Desk) -> None:
    count = fish.library.total()
    fish.capture_one_control_by_hand()
    assert not fish.window.close()
    assert fish.window.isVisible()
    assert "The window is not closed yet" in fish.notice
    assert "the capture by hand from Lanternfish has heard 1 of 52 controls" in fish.notice
    assert "Close it once more, and what was heard is kept" in fish.notice
    fish.wait_for(lambda: "1 of 52" in fish.sentence)
    assert fish.standing("lanternfish").transfer == "capture by hand", "it goes on until the person closes again"
    fish.window.close()
    closed(fish)
    assert fish.library.total() == count + 1
    assert set(newest(fish).values) == {"filter.resonance"}
    assert len(newest(fish).unknown) == 51


def test_it_is_kept_as_the_version_that_it_was_asked_for(fish: Desk) -> None:
    fish.choose(STORM)
    patch, count = fish.patches[STORM], fish.library.total()
    versions = len(fish.library.versions(patch))
    fish.window.desk.instruments.capture_by_hand(fish.ids["lanternfish"], into=patch)
    fish.capture_one_control_by_hand()
    fish.window.close()
    fish.window.close()
    closed(fish)
    assert len(fish.library.versions(patch)) == versions + 1
    assert fish.library.total() == count


def test_each_capture_by_hand_is_asked_about_and_one_that_heard_nothing_is_not(fish: Desk) -> None:
    fish.capture_one_control_by_hand()
    assert not fish.window.close()
    count = fish.library.total()
    fish.window.commands.run("enough")
    fish.wait_for(lambda: fish.library.total() == count + 1)
    fish.settle()
    fish.capture_one_control_by_hand()
    assert not fish.window.close(), "the question was about the one before"
    assert "has heard 1 of 52 controls" in fish.notice
    fish.window.commands.run("cancel")
    fish.wait_for(lambda: "cancelled" in fish.sentence)
    fish.window.commands.run("capture_by_hand")
    fish.wait_for(lambda: fish.standing("lanternfish").transfer == "capture by hand")
    assert fish.window.close()


def test_one_that_the_library_does_not_take_is_still_there_when_closing(
    fish: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    fish.capture_one_control_by_hand()
    assert not fish.window.close()
    plain = store._identity
    monkeypatch.setattr(store, "_identity", lambda each: None if each == fish.library.path else plain(each))
    assert not fish.window.close()
    fish.wait_for(lambda: "1 captured sound is not kept yet" in fish.notice, fish.notice)
    fish.wait_for(lambda: "The window is not closed yet." in fish.notice, fish.notice)
    assert fish.window.isVisible()
    assert fish.window.close()


def test_closing_that_cannot_wait_keeps_it_too(fish: Desk) -> None:
    """As when the event loop ends with the window: nobody is asked any more."""
    count = fish.library.total()
    fish.capture_one_control_by_hand()
    fish.window.desk.close()
    assert fish.library.total() == count + 1
    assert set(newest(fish).values) == {"filter.resonance"}


def test_a_polite_kill_is_not_held_up_by_a_question_and_keeps_it(fish: Desk, qapp: QApplication) -> None:
    count = fish.library.total()
    fish.capture_one_control_by_hand()
    ending = EndBySignal(qapp)
    try:
        os.kill(os.getpid(), signal.SIGTERM)
        closed(fish)
    finally:
        ending.stop()
    assert fish.library.total() == count + 1


@pytest.fixture
def held_up(monkeypatch: pytest.MonkeyPatch) -> Iterator[Event]:
    """A conversation that keeps what was there stops in the middle of that until this is set."""
    go_on = Event()
    keep, keep_program = recalls.keep_what_was_there, Memories.keep

    def slow(*given: object, **more: object) -> None:
        keep(*given, **more)  # type: ignore[arg-type]
        go_on.wait(PATIENCE_MS / 1000)

    def slow_program(memories: Memories, *given: object) -> None:
        keep_program(memories, *given)  # type: ignore[arg-type]
        if given[0].kind == "before":  # type: ignore[attr-defined]
            go_on.wait(PATIENCE_MS / 1000)

    monkeypatch.setattr(recalls, "keep_what_was_there", slow)
    monkeypatch.setattr(Memories, "keep", slow_program)
    yield go_on
    go_on.set()


def test_a_recall_on_its_way_is_asked_about(fish: Desk, held_up: Event) -> None:
    held_up.set()
    proved(fish, STAIR)
    fish.stand_in("lanternfish").turn("filter.resonance", 3, fish.connections.clock.now())
    held_up.clear()
    before = sound(fish, "lanternfish")
    recall(fish, STORM)
    fish.wait_for(lambda: fish.standing("lanternfish").transfer == "recall")
    assert not fish.window.close()
    assert f"“{STORM}” is being recalled to Lanternfish" in fish.notice
    assert "Close it once more, and that is broken off" in fish.notice
    assert "Lanternfish may then hold a part of it" in fish.notice
    assert sound(fish, "lanternfish") == before
    held_up.set()
    fish.wait_for(lambda: f"Recall of “{STORM}” is proved" in fish.sentence)
    assert fish.window.close(), "nothing is under way any more"


def test_writing_into_a_memory_is_asked_about_and_names_where_what_was_there_is_kept(
    desk: Desk, held_up: Event
) -> None:
    the_small_fish(desk)
    memory, window = desk.window.drawers.memory, desk.window
    memory.show()
    backed_up(desk)
    first = dict(memory.programs.found)
    memory.ask_to_write({3: first[2]}, "“another”")
    desk.wait_for(window.areas.band.isVisible)
    window.areas.band.buttons["memory_replace"].click()
    desk.wait_for(lambda: any(one.kind == "before" and one.kept for one in Memories(desk.library).all()))
    assert not window.close()
    told = desk.window.telling.last
    assert "“another” is being written into the memory of Lanternfish" in told.sentence
    assert "what was there before is kept among the backups of Memory" in told.hint
    held_up.set()
    window.close()
    closed(desk)
    [before] = [one for one in Memories(desk.library).all() if one.kind == "before"]
    assert same_sound(Memories(desk.library).programs(before)[3], first[3])
    assert desk.ids[SMALL] == before.instrument
