"""What the editor of tags and note starts from, for one patch or for any number of them."""

from __future__ import annotations

from collections.abc import Sequence

from librarian.collection import Library
from librarian.window.details.editor import Details


def details_of(library: Library, patches: Sequence[int]) -> Details | None:
    """The tags that all of them have, the note of a single one, and the tags that can be completed."""
    if not len(patches):
        return None
    rows = library.rows(list(patches[:1]))
    if not rows:
        return None
    known = tuple(tag for tag, _count in library.tag_counts())
    if len(patches) == 1:
        return Details((rows[0].id,), rows[0].tags, rows[0].note, known)
    # Counted by the library in memory: reading many thousand rows would be felt.
    counts = dict(library.tag_counts([int(patch) for patch in patches]))
    common = tuple(tag for tag in rows[0].tags if counts.get(tag) == len(patches))
    return Details(tuple(int(patch) for patch in patches), common, None, known)
