"""The part of `Library` that keeps and edits sounds: each method is one step of undo."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from librarian.messages import Version

from . import editing, keeping, reading
from .records import NewPatch, PatchRow
from .schema import LIVE, TRASHED
from .upkeep import Upkeep


class SoundsDoor(Upkeep):
    """Inherited by `Library`; needs its `_store`, and the backups of `Upkeep` before what cannot be undone."""

    def patch(self, patch: int) -> PatchRow:
        """One patch, also from the trash. Raises `Refused` when it is gone."""
        with self._store.read() as connection:
            return reading.patch_row(connection, patch)

    # ---- keeping -------------------------------------------------------------------------------------------------

    @contextmanager
    def together(self, label: str) -> Iterator[None]:
        """Everything in the block becomes one transaction and one step of undo called `label`."""
        with self._store.write(label):
            yield

    def keep(self, instrument: int, name: str, version: Version, tags: Sequence[str] = (), note: str = "") -> int:
        """A new patch; returns its id."""
        sound = NewPatch(instrument, name, version, tuple(tags), note)
        with self._store.write(f"Keep “{name}”") as pending:
            return keeping.keep_many(pending, [sound])[0]

    def keep_many(self, sounds: Iterable[NewPatch], label: str = "", progress: keeping.Progress | None = None) -> range:
        """Any number of new patches as one step; returns their ids. `progress(kept so far)` may raise `Cancelled`."""
        with self._store.write(label or "Keep sounds") as pending:
            return keeping.keep_many(pending, sounds, progress)

    def add_version(self, patch: int, version: Version, note: str = "", parent: int | None = None) -> int:
        """A newer version of a patch; returns the version's id. Earlier ones stay as they are."""
        with self._store.write(f"New version of “{self.patch(patch).name}”") as pending:
            return keeping.add_version(pending, patch, version, note, parent)

    def revert(self, patch: int, version: int) -> int:
        """Back to an earlier version of a patch: a new version equal to it. Returns the new one's id."""
        with self._store.write(f"“{self.patch(patch).name}” back to an earlier version") as pending:
            return keeping.revert(pending, patch, version)

    def keep_unread(self, finds: Iterable[tuple[tuple[bytes, ...], str, str]]) -> range:
        """Bytes that no chart understood: (messages, source, reason) each; returns their ids."""
        with self._store.write("Keep what was not understood") as pending:
            return keeping.keep_unread(pending, finds)

    # ---- editing -------------------------------------------------------------------------------------------------

    def rename(self, patch: int, name: str, *, was: str | None = None) -> None:
        """Another name. With `was`, refused when another program has renamed it meanwhile."""
        with self._store.write(f"Rename to “{name}”") as pending:
            editing.rename(pending, {patch: name}, was)

    def rename_many(self, names: Mapping[int, str]) -> None:
        """Patch id -> new name, as one step."""
        with self._store.write(f"Rename {_patches(len(names))}") as pending:
            editing.rename(pending, names, None)

    def set_note(self, patch: int, note: str, *, was: str | None = None) -> None:
        """Another note. With `was`, refused when another program has changed it meanwhile."""
        with self._store.write("Change note") as pending:
            editing.set_note(pending, patch, note, was)

    def set_version_note(self, version: int, note: str) -> None:
        """A remark at one version."""
        with self._store.write("Change note of a version") as pending:
            editing.set_version_note(pending, version, note)

    def tag(self, patches: Iterable[int], add: Sequence[str] = (), remove: Sequence[str] = ()) -> None:
        """Add and remove tags of any number of patches as one step."""
        ids = list(patches)
        words = " and ".join(
            part
            for part in (
                f"add {_listed(add)}" if add else "",
                f"remove {_listed(remove)}" if remove else "",
            )
            if part
        )
        with self._store.write(f"{_patches(len(ids)).capitalize()}: {words or 'tags'}") as pending:
            editing.tag(pending, ids, add, remove)

    def rename_tag(self, name: str, to: str) -> None:
        """Rename a tag and those below it everywhere; an existing tag `to` takes its patches over."""
        with self._store.write(f"Rename tag “{name}” to “{to}”") as pending:
            editing.rename_tag(pending, name, to)

    def delete(self, patches: Iterable[int]) -> None:
        """Into the trash."""
        self._move(list(patches), TRASHED, "Delete")

    def restore(self, patches: Iterable[int]) -> None:
        """Out of the trash."""
        self._move(list(patches), LIVE, "Restore")

    def _move(self, patches: list[int], state: int, verb: str) -> None:
        what = f"“{self.patch(patches[0]).name}”" if len(patches) == 1 else _patches(len(patches))
        with self._store.write(f"{verb} {what}") as pending:
            editing.move(pending, patches, state)

    def empty_trash(self) -> int:
        """Delete for good, after a backup; cannot be undone, nor can what was done before it.

        Returns how many patches went.
        """
        self._in_turn("before-emptying")
        with self._store.write("Empty the trash", purge=True) as pending:
            return editing.empty_trash(pending)

    def merge(self, into: int, others: Iterable[int]) -> None:
        """One patch out of several of one instrument, without losing names, tags, notes or versions."""
        with self._store.write(f"Merge into “{self.patch(into).name}”") as pending:
            editing.merge(pending, into, others)

    def save_search(self, name: str, text: str) -> int:
        """Keep a search line under a name."""
        with self._store.write(f"Save search “{name}”") as pending:
            return editing.save_search(pending, name, text)

    def forget_search(self, search: int) -> None:
        """Take a saved search away."""
        with self._store.write("Forget a saved search") as pending:
            editing.forget_search(pending, search)

    def forget_unread(self, ids: Iterable[int]) -> None:
        """Take these bytes from the list of what was not understood."""
        with self._store.write("Forget what was not understood") as pending:
            editing.forget_unread(pending, ids)


def _patches(count: int) -> str:
    return "1 patch" if count == 1 else f"{count:,} patches".replace(",", "\u2009")


def _listed(tags: Sequence[str]) -> str:
    return ", ".join(f"“{tag}”" for tag in tags)
