"""Text from outside in every place that takes some: kept, refused with a sentence, never an error of ours."""

from __future__ import annotations

import contextlib
from dataclasses import replace

import pytest

from librarian.collection import Library
from librarian.collection.folding import whole
from librarian.errors import LibrarianError
from librarian.messages import Origin, Values, Version

HOSTILE = [
    "\ud800x", "\udfff\ud800", "\ud83d\ude00", "a\x00b", "\u202eevil", "\x1b[31mred", "<b>x</b>", "x" * 1_000_000,
    "'; DROP TABLE patch; --", '" OR * NEAR(', "", " ", "\ufeff", "*", "^a", "{name}: a", "(" * 5000, "not " * 3000,
    "tag:\ud800", 'name:"\ud800"', "a/b//c", "\u2028line",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=[ascii(text[:12]) for text in HOSTILE])
def test_no_text_breaks_anything(library: Library, lantern: int, lanternfish, any_sound, text: str) -> None:
    patch = library.keep(lantern, "Kept", any_sound(0), ["calm"])
    library.warm()
    for attempt in (
        lambda: library.keep(lantern, text, any_sound(1), note=text),
        lambda: library.keep(lantern, "Tagged", any_sound(2), [text]),
        lambda: library.rename(patch, text),
        lambda: library.set_note(patch, text),
        lambda: library.tag([patch], [text], [text]),
        lambda: library.rename_tag("calm", text),
        lambda: library.rename_tag(text, "calm"),
        lambda: library.add_instrument(lanternfish, text, library.instrument(lantern).address, text, text),
        lambda: library.update_instrument(lantern, name=text, output=text, input=text, firmware=text),
        lambda: library.note_instrument(lantern, firmware=text),
        lambda: library.save_search(text, text),
        lambda: library.set_setting("some", text),
        lambda: library.keep_unread([((b"\xf0\xf7",), text, text)]),
        lambda: library.add_version(patch, Version("x", 1, Values(), name=text, origin=Origin("imported", text)), text),
        lambda: library.set_version_note(library.patch(patch).latest, text),
        lambda: library.keep_many([], text),
        lambda: library.undo(text),
        lambda: library.called(lantern, [text]),
    ):
        with contextlib.suppress(LibrarianError):
            attempt()
    for trash in (False, True):
        found = library.find(text, tags=[text], trash=trash)
        library.reasons(found, found.ids)
        library.find(text, trash=trash)
    library.complete(text)
    assert library.setting("some") in {text, whole(text)}
    for row in library.rows(library.find().ids):
        assert 0 < len(row.name) <= 1000
        assert not any(sign in row.name + "".join(row.tags) for sign in "\x00\x1b\n\ud800\u2028")
    assert library.check() == ()


def test_a_sound_without_a_name_gets_one(library: Library, lantern: int, any_sound) -> None:
    patch = library.keep(lantern, " \x00 ", replace(any_sound(0), name=""))
    assert library.patch(patch).name == "Unnamed"
