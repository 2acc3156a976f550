"""What was done: of the whole collection, of one patch, of one step; back to an earlier version; groups."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from librarian.collection import Library, journal, span
from librarian.errors import Refused
from librarian.messages import Address, Values, Version


def labels(steps) -> list[str]:
    return [step.label for step in steps]


def test_the_history_of_one_patch_has_what_was_done_to_it(library: Library, lantern: int, any_sound) -> None:
    one = library.keep(lantern, "One", any_sound(0))
    other = library.keep(lantern, "Other", any_sound(1))
    library.rename(one, "First")
    library.rename(other, "Second")
    library.tag([one, other], add=["pair"])
    version = library.add_version(one, any_sound(2))
    library.set_version_note(version, "brighter")
    assert labels(library.history(patch=one)) == [
        "Change note of a version",
        "New version of “First”",
        "2 patches: add “pair”",
        "Rename to “First”",
        "Keep “One”",
    ]
    assert labels(library.history(patch=other, limit=2)) == ["2 patches: add “pair”", "Rename to “Second”"]
    assert library.history(patch=999) == ()


def test_a_step_says_which_patches_it_changed(library: Library, lantern: int, any_sound) -> None:
    one = library.keep(lantern, "One", any_sound(0))
    other = library.keep(lantern, "Other", any_sound(1))
    library.add_version(other, any_sound(2))
    library.delete([one, other])
    touched = [library.touched(step.id) for step in library.history()[:4]]
    assert touched == [(one, other), (other,), (other,), (one,)]
    with pytest.raises(Refused):
        library.touched(12345)


def test_what_was_done_on_a_day(library: Library, lantern: int, any_sound) -> None:
    library.keep(lantern, "One", any_sound(0))
    now = datetime.now().astimezone()
    today, before = span("today", now), span("yesterday", now)
    assert today is not None
    assert before is not None
    assert "Keep “One”" in labels(library.history(today.start, today.end + timedelta(hours=1)))
    assert library.history(before.start, before.end) == ()


def test_old_steps_keep_their_label_only(
    library: Library, lantern: int, any_sound, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "KEPT_STEPS", 20)
    patch = library.keep(lantern, "One", any_sound(0))
    for number in range(110):
        library.rename(patch, f"Name {number}")
    steps = library.history()
    assert len(steps) >= 111
    assert library.touched(steps[-2].id) == ()
    assert 20 <= len(library.history(patch=patch)) < 80


def test_going_back_makes_a_new_version_equal_to_the_old_one(library: Library, lantern: int, any_sound) -> None:
    patch = library.keep(lantern, "One", any_sound(0))
    first = library.patch(patch).latest
    library.add_version(patch, any_sound(1))
    again = library.revert(patch, first)
    rows = library.versions(patch)
    assert [row.number for row in rows] == [1, 2, 3]
    assert rows[2].id == again == library.patch(patch).latest
    assert rows[2].content == rows[0].content
    assert (rows[2].parent, rows[2].origin.kind, rows[2].origin.detail) == (first, "restored", "version 1")
    old, new = library.version(first), library.version(again)
    assert (old.values, old.received) == (new.values, new.received)
    other = library.keep(lantern, "Other", any_sound(2))
    with pytest.raises(Refused):
        library.revert(other, first)
    library.undo()
    library.undo()
    assert len(library.versions(patch)) == 2


def test_groups_by_tag_and_by_instrument(library: Library, lantern: int, fogbell, any_sound) -> None:
    low = library.add_instrument(fogbell, "Fogbell", Address())
    a = library.keep(lantern, "A", any_sound(0), ["storm", "Bass"])
    b = library.keep(lantern, "B", any_sound(1), ["bass"])
    c = library.keep(low, "C", Version(fogbell.id, fogbell.revision, Values({})))
    for _ in range(2):
        found = library.find()
        by_tag = [(group.name, list(group.ids)) for group in library.groups(found, "tag")]
        assert by_tag == [("Bass", [a, b]), ("storm", [a]), ("", [c])]
        by_instrument = [(group.name, list(group.ids)) for group in library.groups(found, "instrument")]
        assert by_instrument == [("Fogbell", [c]), ("Lanternfish", [a, b])]
        library.warm()
    assert library.groups(library.find("nothing at all"), "tag") == ()


def test_a_clock_that_goes_back_confuses_nothing(
    library: Library, lantern: int, any_sound, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = library.keep(lantern, "Before", any_sound(0))
    stamp = library.stamp()
    monkeypatch.setattr(journal.time, "time_ns", lambda: 1_000_000_000)
    library.rename(first, "After")
    version = library.add_version(first, any_sound(1))
    assert library.stamp() > stamp
    assert labels(library.history(limit=2)) == ["New version of “After”", "Rename to “After”"]
    assert library.history(limit=1)[0].at.year == 1970
    assert library.patch(first).latest == version == library.versions(first)[-1].id
    assert [library.undo(), library.undo(), library.undo()] == [
        "New version of “After”", "Rename to “After”", "Keep “Before”",
    ]  # fmt: skip
    assert [library.redo(), library.redo(), library.redo()][-1] == "New version of “After”"
    assert library.check() == ()


def test_two_programs_see_each_other_at_once(library: Library, lantern: int, any_sound) -> None:
    with Library.open(library.path) as other:
        other.warm()
        patch = library.keep(lantern, "Kept by one", any_sound(0), ["new"])
        assert list(other.find("kept").ids) == [patch]
        assert other.tag_counts() == [("new", 1)]
        other.tag([patch], add=["more"])
        assert library.patch(patch).tags == ("new", "more")
        assert library.undo_label() == other.undo_label()
