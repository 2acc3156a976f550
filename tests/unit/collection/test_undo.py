"""Undo and redo across every kind of edit: the library always equals the remembered past."""

from __future__ import annotations

import tempfile
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from librarian.collection import Library, NewPatch
from librarian.errors import Refused
from librarian.messages import Address, Values, Version

CHART = SimpleNamespace(
    id="tiny", revision=1, name="Tiny", text="tiny", sections=(),
    parameters={name: SimpleNamespace(low=0, high=127) for name in "abc"},
)  # fmt: skip
EMPTY: list[bytes] = []
NAMES = st.sampled_from(["Storm", "storm", "Bell", "Gust 10", "Gust 9", "é"])
TAGS = st.lists(st.sampled_from(["a", "A", "b/c", "b", "b/d", "é"]), max_size=3)


def version(number: int) -> Version:
    return Version("tiny", 1, Values({"a": number % 128, "b": number // 128}), frozenset({"c"}))


def snapshot(library: Library) -> tuple:
    """All that a person can see, as plain values (but for the time of the last edit)."""
    patches = []
    for trash in (False, True):
        rows = library.rows(library.find(trash=trash).ids)
        for row in rows:
            versions = tuple((one.id, one.number, one.note, one.content) for one in library.versions(row.id))
            shown = (row.id, row.name, row.tags, row.note, row.latest, row.versions, row.unknown, row.taken, row.place)
            patches.append((*shown, versions))
    words = tuple(library.find(word).ids for word in ("sto", "gust", "b", "e", "note"))
    return (
        tuple(patches),
        tuple(library.tag_counts()),
        library.instruments(),
        library.saved_searches(),
        tuple(row.id for row in library.unread()),
        tuple(list(ids) for ids in words),
    )


class RememberedPast(RuleBasedStateMachine):
    """`past[-1]` is the library before the last step, `now` after it, `future[-1]` after the step undone last."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        path = Path(self.folder.name) / "library.sqlite"
        path.write_bytes(EMPTY[0])
        self.library = Library.open(path)
        self.past: list[tuple] = [snapshot(self.library)]
        self.instrument = self.library.add_instrument(CHART, "Tiny one", Address())
        self.now = snapshot(self.library)
        self.future: list[tuple] = []
        self.count = 0

    @initialize()
    def some_patches(self) -> None:
        self.step(lambda: self.keep("Storm", ["a"]))

    def keep(self, name: str, tags: list[str]) -> None:
        self.count += 1
        self.library.keep(self.instrument, name, version(self.count), tags, "a note" if self.count % 2 else "")

    def step(self, edit) -> None:
        if not self.library.instruments():  # its adding was undone: only undo and redo make sense now
            return
        before = len(self.library.history())
        edit()
        if len(self.library.history()) > before:
            self.past.append(self.now)
            self.future.clear()
        self.now = snapshot(self.library)

    def live(self) -> list[int]:
        return list(self.library.find().ids)

    @rule(name=NAMES, tags=TAGS)
    def keep_one(self, name: str, tags: list[str]) -> None:
        self.step(lambda: self.keep(name, tags))

    @rule(names=st.lists(NAMES, min_size=1, max_size=5))
    def keep_several(self, names: list[str]) -> None:
        self.count += 1
        sounds = [NewPatch(self.instrument, name, version(self.count), ("b/c",)) for name in names]
        self.step(lambda: self.library.keep_many(sounds))

    @precondition(lambda self: self.live())
    @rule(data=st.data(), name=NAMES)
    def rename(self, data: st.DataObject, name: str) -> None:
        patch = data.draw(st.sampled_from(self.live()))
        self.step(lambda: self.library.rename(patch, name))

    @precondition(lambda self: self.live())
    @rule(data=st.data(), add=TAGS, remove=TAGS)
    def tag(self, data: st.DataObject, add: list[str], remove: list[str]) -> None:
        patches = data.draw(st.lists(st.sampled_from(self.live()), max_size=4))
        self.step(lambda: self.library.tag(patches, add, remove))

    @precondition(lambda self: self.library.tag_counts())
    @rule(data=st.data(), to=st.sampled_from(["z", "b", "a/x", "É"]))
    def rename_tag(self, data: st.DataObject, to: str) -> None:
        name = data.draw(st.sampled_from([name for name, _ in self.library.tag_counts()]))
        self.step(lambda: self.library.rename_tag(name, to))

    @precondition(lambda self: self.live())
    @rule(data=st.data(), note=st.sampled_from(["", "note", "gust\nand more"]))
    def note(self, data: st.DataObject, note: str) -> None:
        patch = data.draw(st.sampled_from(self.live()))
        self.step(lambda: self.library.set_note(patch, note))
        self.step(lambda: self.library.set_version_note(self.library.patch(patch).latest, note))

    @precondition(lambda self: self.live())
    @rule(data=st.data())
    def new_version(self, data: st.DataObject) -> None:
        patch = data.draw(st.sampled_from(self.live()))
        self.count += 1
        self.step(lambda: self.library.add_version(patch, version(self.count), "newer"))

    @precondition(lambda self: self.live())
    @rule(data=st.data())
    def delete(self, data: st.DataObject) -> None:
        patches = data.draw(st.lists(st.sampled_from(self.live()), min_size=1, max_size=3))
        self.step(lambda: self.library.delete(patches))

    @rule()
    def restore_all(self) -> None:
        patches = list(self.library.find(trash=True).ids)
        if patches:
            self.step(lambda: self.library.restore(patches))

    @precondition(lambda self: len(self.live()) > 1)
    @rule(data=st.data())
    def merge(self, data: st.DataObject) -> None:
        into, *others = data.draw(st.permutations(self.live()))[:3]
        self.step(lambda: self.library.merge(into, others))

    @rule(name=NAMES, text=st.sampled_from(["storm", "tag:a"]))
    def search(self, name: str, text: str) -> None:
        self.step(lambda: self.library.save_search(name, text))
        if self.library.saved_searches() and text == "tag:a":
            self.step(lambda: self.library.forget_search(self.library.saved_searches()[0].id))

    @rule(name=NAMES)
    def instruments(self, name: str) -> None:
        self.step(lambda: self.library.update_instrument(self.instrument, name=name, address=Address(3, 4)))

    @rule()
    def unread(self) -> None:
        self.step(lambda: self.library.keep_unread([((b"\xf0\xf7",), "file", "unknown")]))

    @rule()
    def together(self) -> None:
        def edit() -> None:
            with self.library.together("Several"):
                self.keep("Bell", ["b/d"])
                for patch in self.live()[:2]:
                    self.library.rename(patch, "Renamed together")
                    self.library.delete([patch])

        self.step(edit)

    @rule()
    def restart(self) -> None:
        path = self.library.path
        self.library.close()
        self.library = Library.open(path)

    @precondition(lambda self: self.past)
    @rule()
    def undo(self) -> None:
        label = self.library.undo_label()
        assert self.library.undo() == label
        self.future.append(self.now)
        self.now = self.past.pop()
        self.library_equals_what_is_remembered()

    @precondition(lambda self: self.future)
    @rule()
    def redo(self) -> None:
        label = self.library.redo_label()
        assert self.library.redo() == label
        self.past.append(self.now)
        self.now = self.future.pop()
        self.library_equals_what_is_remembered()

    @rule()
    def empty_trash(self) -> None:
        self.library.empty_trash()
        assert self.library.undo_label() is None
        assert self.library.redo_label() is None
        assert self.library.undo() is None
        self.past.clear()
        self.future.clear()
        self.now = snapshot(self.library)
        assert not self.library.find(trash=True).ids

    def library_equals_what_is_remembered(self) -> None:
        assert snapshot(self.library) == self.now

    def teardown(self) -> None:
        self.library.close()
        self.folder.cleanup()


@pytest.fixture(autouse=True, scope="module")
def _empty(empty_library: bytes) -> None:
    """Hypothesis makes the machines itself, so they cannot ask for a fixture."""
    EMPTY.append(empty_library)


RememberedPast.TestCase.settings = settings(max_examples=10, stateful_step_count=20)
TestRememberedPast = RememberedPast.TestCase


def test_ten_thousand_at_once_are_one_step(library: Library) -> None:
    instrument = library.add_instrument(CHART, "Tiny", Address())
    made = library.keep_many(NewPatch(instrument, f"S {n}", version(n), ("old",)) for n in range(10_000))
    library.tag(made, add=["new/one"], remove=["old"])
    library.delete(made)
    assert library.total() == 0
    assert library.undo() == "Delete 10\u2009000 patches"
    assert library.undo() == "10\u2009000 patches: add “new/one” and remove “old”"
    assert library.tag_counts() == [("old", 10_000)]
    library.redo()
    assert library.tag_counts() == [("new/one", 10_000)]
    assert len(library.find("one").ids) == 10_000


def test_something_new_drops_what_was_undone(library: Library) -> None:
    instrument = library.add_instrument(CHART, "Tiny", Address())
    first = library.keep(instrument, "First", version(1))
    library.undo()
    second = library.keep(instrument, "Second", version(2))
    assert second != first
    assert library.redo() is None
    assert [row.state for row in library.history()] == ["done", "dropped", "done"]


def test_two_programs_share_one_past(library_path: Path) -> None:
    with Library.open(library_path) as window, Library.open(library_path) as terminal:
        instrument = window.add_instrument(CHART, "Tiny", Address())
        patch = window.keep(instrument, "Mine", version(1))
        shown = window.undo_label()
        terminal.rename(patch, "Theirs")
        with pytest.raises(Refused, match="Rename to “Theirs”"):
            window.undo(shown)
        assert window.patch(patch).name == "Theirs"
        assert window.undo() == "Rename to “Theirs”"
        assert window.undo(shown) == shown
        assert terminal.total() == 0


def test_an_edit_based_on_an_old_view_is_refused(library: Library) -> None:
    instrument = library.add_instrument(CHART, "Tiny", Address())
    patch = library.keep(instrument, "Name", version(1), note="as seen")
    library.set_note(patch, "theirs", was="as seen")
    with pytest.raises(Refused, match="changed by another program"):
        library.set_note(patch, "mine", was="as seen")
    library.rename(patch, "Their name")
    with pytest.raises(Refused, match="was renamed to “Their name”"):
        library.rename(patch, "My name", was="Name")
    assert (library.patch(patch).name, library.patch(patch).note) == ("Their name", "theirs")


def test_history_says_what_was_done_when(library: Library) -> None:
    instrument = library.add_instrument(CHART, "Tiny", Address())
    patch = library.keep(instrument, "One", version(1))
    library.tag([patch], add=["a"])
    steps = library.history()
    assert [step.label for step in steps] == ["1 patch: add “a”", "Keep “One”", "Add instrument “Tiny”"]
    assert [step.patches for step in steps] == [1, 1, 0]
    assert library.history(since=steps[0].at)[-1] == steps[0]
    assert library.history(until=steps[2].at) == ()


def test_merging_loses_nothing(library: Library) -> None:
    instrument = library.add_instrument(CHART, "Tiny", Address())
    into = library.keep(instrument, "Gust", version(1), ("a",), "my note")
    other = library.keep(instrument, "Wind", version(2), ("b", "A"), "your note")
    library.add_version(other, version(3))
    library.merge(into, [other])
    row = library.patch(into)
    assert row.tags == ("a", "b")
    assert row.note == "my note\nyour note\nAlso called: Wind"
    contents = [library.version(one.id).values for one in library.versions(into)]
    assert contents == [version(1).values, version(2).values, version(3).values, version(1).values]
    assert library.version(row.latest).values == version(1).values
    assert library.patch(other).place == "trash"
    assert library.find("wind").ids == [into]
    stranger = library.keep(library.add_instrument(CHART, "Other", Address()), "x", version(1))
    with pytest.raises(Refused, match="one instrument"):
        library.merge(into, [stranger])
