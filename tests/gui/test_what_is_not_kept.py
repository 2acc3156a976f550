"""What a capture brought is not lost where the library does not take it: held, kept again, saved, asked about."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from librarian.collection import Library, store
from librarian.files.bundle.reading import read
from tests.gui.test_recalls import STAIR, STORM, proved, recall, sound
from tests.gui.whole_window import PATIENCE_MS, Desk


class Away:
    """The library's file is not there for whoever would write it, as when its disk was pulled, and then is again."""

    def __init__(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._gone = False
        plain = store._identity
        monkeypatch.setattr(store, "_identity", lambda each: None if self._gone and each == path else plain(each))

    def go(self) -> None:
        self._gone = True

    def come_back(self) -> None:
        self._gone = False


@pytest.fixture
def away(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Iterator[Away]:
    desk.window.desk.instruments.choose(desk.ids["lanternfish"])
    made = Away(desk.library.path, monkeypatch)
    yield made
    made.come_back()
    desk.window.close()


def capture_in_vain(desk: Desk, away: Away, command: str = "capture") -> None:
    away.go()
    desk.window.commands.run(command)
    desk.wait_for(lambda: "was not kept. " in desk.sentence and "is no longer the file" in desk.sentence)
    desk.settle()


def test_a_captured_sound_that_is_not_kept_is_held_and_kept_later(desk: Desk, away: Away) -> None:
    held, count = sound(desk, "lanternfish"), desk.library.total()
    assert not desk.window.commands.act["keep_again"].isEnabled()
    capture_in_vain(desk, away)
    assert "The sound captured from Lanternfish was not kept." in desk.sentence
    assert "1 captured sound is not kept yet" in desk.notice
    assert desk.window.commands.act["keep_again"].isEnabled()
    desk.window.about()
    assert "1 captured sound is not kept yet" in desk.notice, "another sentence must not hide it"
    desk.window.commands.run("keep_again")
    desk.settle()
    assert desk.library.total() == count
    assert "1 captured sound is not kept yet" in desk.notice
    away.come_back()
    desk.window.areas.collection.notice.buttons["keep_again"].click()
    desk.wait_for(lambda: desk.library.total() == count + 1)
    desk.settle()
    assert dict(desk.window.desk.choice.a.values.only(list(held))) == held
    assert "not kept" not in desk.notice
    assert "and kept" in desk.sentence
    assert not desk.window.commands.act["keep_again"].isEnabled()


def test_a_new_version_that_is_not_kept_becomes_one_later(desk: Desk, away: Away) -> None:
    desk.choose(STORM)
    patch, count = desk.patches[STORM], desk.library.total()
    versions = len(desk.library.versions(patch))
    capture_in_vain(desk, away, "capture_version")
    desk.choose(STAIR)
    away.come_back()
    desk.window.commands.run("keep_again")
    desk.wait_for(lambda: len(desk.library.versions(patch)) == versions + 1)
    desk.settle()
    assert desk.library.total() == count


def test_a_version_of_a_patch_that_is_gone_is_kept_as_a_patch(desk: Desk, away: Away) -> None:
    desk.choose(STORM)
    count = desk.library.total()
    capture_in_vain(desk, away, "capture_version")
    away.come_back()
    desk.library.delete([desk.patches[STORM]])
    desk.library.empty_trash()
    desk.window.commands.run("keep_again")
    desk.wait_for(lambda: "kept as one of its own" in desk.notice, desk.notice)
    assert desk.library.total() == count


def test_what_is_not_kept_is_saved_as_a_file(desk: Desk, away: Away, tmp_path: Path) -> None:
    held = sound(desk, "lanternfish")
    capture_in_vain(desk, away)
    path = tmp_path / "saved.zip"
    desk.window.desk.captures.save(path)
    desk.wait_for(lambda: f"The captured sound is in {path}." in desk.notice, desk.notice)
    assert not desk.window.desk.captures.held
    [(_place, found)] = read(path).sounds()
    assert dict(found.versions[-1].version.values.only(list(held))) == held


def test_the_window_is_not_closed_on_it_without_a_word(desk: Desk, away: Away) -> None:
    capture_in_vain(desk, away)
    assert not desk.window.close()
    assert desk.window.isVisible()
    assert "The window is not closed yet." in desk.notice
    assert "lost when the window is closed" in desk.notice
    assert desk.window.close()


def test_closing_while_it_is_being_kept_says_that_it_was_not(
    desk: Desk, away: Away, monkeypatch: pytest.MonkeyPatch
) -> None:
    capture_in_vain(desk, away)
    away.come_back()
    plain = Library.keep

    def slow(library: Library, *given: object) -> int:
        desk_seen.append(True)
        time.sleep(0.2)
        away.go()
        return plain(library, *given)  # type: ignore[arg-type]

    desk_seen: list[bool] = []
    monkeypatch.setattr(Library, "keep", slow)
    desk.window.commands.run("keep_again")
    desk.wait_for(lambda: bool(desk_seen))
    assert not desk.window.close()
    desk.wait_for(lambda: "The window is not closed yet." in desk.notice, desk.notice)
    assert desk.window.isVisible()


def test_a_recall_does_not_replace_what_cannot_be_kept_until_told_to(desk: Desk, away: Away) -> None:
    proved(desk, STAIR)
    stand_in = desk.stand_in("lanternfish")
    played = {**stand_in.sound, "filter.resonance": 99}
    stand_in.set_sound(played, desk.connections.clock.now())
    held = sound(desk, "lanternfish")
    away.go()
    recall(desk, STORM)
    desk.wait_for(lambda: "could not be kept, so it was not replaced" in desk.notice, desk.notice)
    assert sound(desk, "lanternfish") == held
    desk.wait_for(lambda: not desk.window.desk.instruments.busy(desk.ids["lanternfish"]))
    desk.window.areas.collection.notice.buttons["recall_unkept"].click()
    desk.wait_for(lambda: f"Recall of “{STORM}” is proved" in desk.sentence)
    assert sound(desk, "lanternfish") != held
    away.come_back()
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence and "is proved" in desk.sentence)
    assert sound(desk, "lanternfish") == held


def test_each_of_two_captures_at_once_becomes_what_it_was_asked_for(desk: Desk) -> None:
    desk.choose(STORM)
    patch, count = desk.patches[STORM], desk.library.total()
    versions = len(desk.library.versions(patch))
    desk.window.commands.run("capture")
    desk.window.commands.run("capture_version")
    desk.wait_for(lambda: desk.library.total() == count + 1)
    desk.settle()
    assert len(desk.library.versions(patch)) == versions


def test_a_comparison_that_waits_takes_nothing_from_the_recall_before_it(desk: Desk) -> None:
    proved(desk, STAIR)
    desk.choose(STORM)
    desk.window.commands.run("recall")
    desk.window.desk.compare_with_instrument()
    desk.wait_for(lambda: desk.window.desk.choice.b is not None)
    assert desk.standing("lanternfish").in_it.name == STORM


@pytest.mark.parametrize("change", ["removed", "other ports"])
def test_a_capture_that_ended_just_before_its_instrument_changed_is_kept(desk: Desk, change: str) -> None:
    """As when a terminal removes it between the last byte and the moment at which the window hears of it."""
    inner, lanternfish = desk.window.desk, desk.ids["lanternfish"]
    inner.instruments.choose(lanternfish)
    count, link = desk.library.total(), inner.instruments._links[lanternfish]
    inner.capture()
    until, idle = time.monotonic() + PATIENCE_MS / 1000, 0
    while idle < 3:
        assert time.monotonic() < until
        time.sleep(0.05)
        idle = 0 if link.busy else idle + 1
    if change == "removed":
        desk.library.remove_instrument(lanternfish)
    else:
        desk.library.update_instrument(lanternfish, output="jack:out:0:elsewhere", input="jack:in:0:elsewhere")
    inner.instruments.load()
    desk.wait_for(lambda: desk.library.total() == count + 1)
    desk.settle()


@pytest.mark.parametrize("change", ["removed", "other ports"])
def test_what_was_heard_by_hand_is_kept_when_the_instrument_is_changed(desk: Desk, change: str) -> None:
    inner, lanternfish = desk.window.desk, desk.ids["lanternfish"]
    inner.instruments.choose(lanternfish)
    count = desk.library.total()
    desk.capture_one_control_by_hand()
    with Library.open(desk.library.path) as terminal:
        if change == "removed":
            terminal.remove_instrument(lanternfish)
        else:
            terminal.update_instrument(lanternfish, output="jack:out:0:elsewhere", input="jack:in:0:elsewhere")
    desk.wait_for(lambda: desk.library.total() == count + 1)
    desk.wait_for(lambda: "What was heard before is kept: 1 of 52 parameters." in desk.notice, desk.notice)
    desk.settle()
    assert set(inner.choice.a.values) == {"filter.resonance"}
