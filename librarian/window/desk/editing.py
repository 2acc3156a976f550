"""The part of the desk that edits the library: names, tags, notes, trash, merging, undo; each one step of undo.

Edits are handed to the desk's worker: another program may be writing, or an import of thousands may run.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QTimer

from librarian.errors import Refused
from librarian.sounds.carrying import CarriedOver, carried_over, keep_carried
from librarian.window.desk.told import Told
from librarian.window.words import counted, listed, quoted

if TYPE_CHECKING:
    from PySide6.QtCore import SignalInstance

    from librarian.collection import Library, PatchRow
    from librarian.window.desk.desk import Past
    from librarian.window.desk.instruments import Instruments
    from librarian.window.desk.recalls import Recalls
    from librarian.window.desk.work import Work

Says = str | Callable[[Any], str]


class Editing:
    """Inherited by `Desk`; needs what is named here of it."""

    library: Library
    instruments: Instruments
    work: Work
    told: SignalInstance
    recalls: Recalls
    changed_by_us: Callable[[Past], None]
    _read_past: Callable[[], Past]
    undo_recall: Callable[[], None]

    def edit(
        self, change: Callable[[], Any], sentence: Says = "", then: Callable[[Any], object] | None = None,
        otherwise: Callable[[Exception], object] | None = None,
    ) -> None:
        """One change of the library, in its turn; `sentence` (or what it makes of the result) is said with an undo.

        `otherwise` hears why it failed, in place of the foot of the list.
        """

        def run() -> tuple[Any, Past]:
            return change(), self._read_past()

        def done(ended: tuple[Any, Past]) -> None:
            result, past = ended
            self.recalls.last = None
            self.changed_by_us(past)
            said = sentence(result) if callable(sentence) else sentence
            if said:
                self.told.emit(Told(said, undo=past.undo))
            if then is not None:
                # In a turn of its own: both lay out and paint, and together they would hold the loop up.
                QTimer.singleShot(0, lambda: then(result))

        self.work.edit(run, done, otherwise)

    def rename(self, patch: int, name: str) -> None:
        """Another name."""
        self.edit(lambda: self.library.rename(patch, name))

    def set_tags(self, patches: Sequence[int], add: Sequence[str], remove: Sequence[str]) -> None:
        """Add and remove tags of these patches."""
        if not (add or remove):
            return
        several = len(patches) > 1
        did = [f"{listed([quoted(tag) for tag in tags])} {verb}" for tags, verb in ((add, "added"), (remove, "removed"))
               if tags]
        sentence = f"{counted(len(patches), 'patch', 'patches')}: {', '.join(did)}." if several else ""
        self.edit(lambda: self.library.tag(patches, add, remove), sentence)

    def set_note(self, patch: int, note: str) -> None:
        """Another note."""
        self.edit(lambda: self.library.set_note(patch, note))

    def rename_tag(self, name: str, to: str) -> None:
        """Another name for a tag everywhere; one that exists takes its patches over."""
        self.edit(lambda: self.library.rename_tag(name, to), f"The tag {quoted(name)} is {quoted(to)} now.")

    def delete(self, patches: Sequence[int]) -> None:
        """Into the trash, where they can be had back from."""
        if not patches:
            return

        def change() -> str:
            rows = self.library.rows(patches[:1]) if len(patches) == 1 else []
            self.library.delete(patches)
            return deleted(rows, len(patches))

        self.edit(change, lambda said: said)

    def restore(self, patches: Sequence[int]) -> None:
        """Out of the trash."""
        if patches:
            said = f"{counted(len(patches), 'patch is', 'patches are')} in the collection again."
            self.edit(lambda: self.library.restore(patches), said)

    def merge(self, into: int, others: Sequence[int]) -> None:
        """One patch out of several; names, tags, notes and versions stay."""

        def change() -> str:
            self.library.merge(into, others)
            return self.library.patch(into).name

        count = len(others)
        self.edit(
            change,
            lambda name: f"{counted(count, 'patch is', 'patches are')} part of {quoted(name)} now, with all versions.",
        )

    def revert(self, patch: int, version: int, number: int) -> None:
        """An earlier version is the latest again, as a new one equal to it."""
        self.edit(lambda: self.library.revert(patch, version), f"Version {number} is the latest again.")

    def carry_over(self, patches: Sequence[int]) -> None:
        """These patches as the chart revisions of their instruments explain them, each as its next version."""

        def change() -> Sequence[CarriedOver]:
            found = carried_over(self.library, self.instruments.chart, self.library.rows(patches))
            if not found:
                raise Refused(
                    "Nothing was carried over: what is chosen is kept by the chart revision of its instrument already.",
                    "Choose sounds that were kept with another revision.",
                )
            keep_carried(self.library, found)
            return found

        if patches:
            self.edit(change, over)

    def empty_trash(self) -> None:
        """For good, after a backup."""
        said = "{} deleted for good; a backup made just before still has them.".format
        self.edit(self.library.empty_trash, lambda count: said(counted(count, "patch", "patches")))

    def undo(self) -> None:
        """Take the last thing back: an edit of the collection, or the last recall if nothing was done since."""
        if self.recalls.last is not None:
            self.undo_recall()
            return
        self._told_after(self.library.undo, "Taken back")

    def redo(self) -> None:
        """Do again what was taken back last."""
        self._told_after(self.library.redo, "Done again")

    def _told_after(self, change: Callable[[], str | None], words: str) -> None:
        def then(label: str | None) -> None:
            if label:
                self.told.emit(Told(f"{words}: {label}."))

        self.edit(change, then=then)


def over(found: Sequence[CarriedOver]) -> str:
    """What was carried over, and what the new revision cannot express."""
    first = found[0]
    what = quoted(first.patch.name) if len(found) == 1 else f"{len(found)} patches"
    said = f"{what} {'is' if len(found) == 1 else 'are'} carried over; the earlier versions stay."
    aside = dict.fromkeys(row.sentence for each in found for row in each.carried.lost)
    return " ".join([said, *aside])


def deleted(rows: Sequence[PatchRow], count: int) -> str:
    """What went into the trash."""
    if len(rows) == 1 and count == 1:
        row = rows[0]
        versions = "its one version" if row.versions == 1 else f"its {row.versions} versions"
        return f"Deleted {quoted(row.name)} and {versions}."
    return f"Deleted {counted(count, 'patch', 'patches')}."
