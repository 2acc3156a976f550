"""The collection as one object: what window, terminal, transfer and files call.

Every method may be called from any thread; each that changes something is one step of undo and one transaction
(several become one inside `together`). Nothing here talks to an instrument, prints, or knows a window.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from librarian.errors import Refused
from librarian.messages import Address, Version

from . import editing, holding, instruments, journal, keeping, reading, restoring
from .finding import Found
from .holding import Held
from .opening import open_store
from .query.complete import Completion
from .query.vocabulary import ReadChart
from .records import (
    ChartLike,
    Ids,
    InstrumentRow,
    NewPatch,
    Order,
    PatchRow,
    Reason,
    SavedSearchRow,
    StepRow,
    UnreadRow,
    VersionRow,
    microseconds,
)
from .schema import LIVE, TRASHED
from .search import Search
from .store import Store
from .upkeep import Upkeep, step_of_restore


class Library(Upkeep):
    """An open library file. `Library.open(path)`; `close()`, or use it as a context manager."""

    def __init__(self, store: Store, read_chart: ReadChart | None = None) -> None:
        self._store = store
        self._search = Search(store, read_chart)

    @classmethod
    def open(cls, path: Path | None = None, *, read_chart: ReadChart | None = None) -> Library:
        """Open the library at `path` (the platform's own place without one), make it, or bring it up to date.

        Raises `LibraryProblem` or `NewerLibrary` with a sentence; then nothing was written. `read_chart` turns kept
        chart texts into charts for searching by value; it is `librarian.chart.loads` unless a test brings its own.
        """
        return cls(open_store(path), read_chart)

    @property
    def path(self) -> Path:
        """The file."""
        return self._store.path

    def close(self) -> None:
        """Give the file free."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # ---- instruments and charts ----------------------------------------------------------------------------------

    def add_instrument(self, chart: ChartLike, name: str, address: Address, output: str = "", input: str = "") -> int:  # noqa: A002 - the port's name
        """A new instrument with its chart, whose text is kept for ever; returns its id."""
        with self._store.write(f"Add instrument “{name}”") as pending:
            return instruments.add(pending, chart, name, address, output, input)

    def update_instrument(self, instrument: int, *, chart: ChartLike | None = None, **fields: Any) -> None:
        """Change `name`, `address`, `output`, `input`, `firmware` or `pace` (JSON); or take another chart revision."""
        columns = _instrument_columns(fields)
        with self._store.write("Change instrument") as pending:
            instruments.update(pending, instrument, columns, chart)

    def note_instrument(self, instrument: int, **fields: Any) -> None:
        """What the program learned of an instrument by itself (`address`, `firmware`, `pace`). Not a step of undo."""
        columns = _instrument_columns(fields)
        with self._store.alone() as connection:
            if instruments.note(connection, instrument, columns):
                self._store.next_change(connection)

    def remove_instrument(self, instrument: int) -> None:
        """Take an instrument away; its sounds stay, readable by the kept chart."""
        with self._store.write("Remove instrument") as pending:
            instruments.update(pending, instrument, {"state": TRASHED}, None)

    def keep_chart(self, chart: ChartLike) -> None:
        """Keep the text of a chart without an instrument (an imported sound needs it). Not a step of undo."""
        with self._store.alone() as connection:
            self._store.next_change(connection)
            instruments.keep_chart(connection, chart, journal.now_us())

    def instruments(self, *, removed: bool = False) -> tuple[InstrumentRow, ...]:
        """All instruments, oldest first."""
        with self._store.read() as connection:
            return instruments.rows(connection, removed=removed)

    def instrument(self, instrument: int) -> InstrumentRow:
        """One instrument, also a removed one."""
        with self._store.read() as connection:
            return instruments.row(connection, instrument)

    def chart_text(self, chart_id: str, revision: int) -> str:
        """The text of a chart revision as last kept."""
        with self._store.read() as connection:
            return instruments.chart_text(connection, chart_id, revision)

    def charts(self) -> tuple[tuple[str, int, str], ...]:
        """(chart id, revision, name) of every chart kept."""
        with self._store.read() as connection:
            return instruments.charts(connection)

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

    def keep_unread(self, finds: Iterable[tuple[tuple[bytes, ...], str, str]]) -> range:
        """Bytes that no chart understood: (messages, source, reason) each; returns their ids."""
        with self._store.write("Keep what was not understood") as pending:
            return keeping.keep_unread(pending, finds)

    # ---- reading -------------------------------------------------------------------------------------------------

    def patch(self, patch: int) -> PatchRow:
        """One patch, also from the trash. Raises `Refused` when it is gone."""
        with self._store.read() as connection:
            return reading.patch_row(connection, patch)

    def rows(self, ids: Sequence[int]) -> list[PatchRow]:
        """Rows in the order of `ids`, by one query; those that are gone are left out."""
        with self._store.read() as connection:
            return reading.patch_rows(connection, ids)

    def versions(self, patch: int) -> tuple[VersionRow, ...]:
        """The versions of a patch, oldest first."""
        with self._store.read() as connection:
            return reading.version_rows(connection, patch)

    def version(self, version_id: int) -> Version:
        """The whole content of one version."""
        with self._store.read() as connection:
            return reading.version(connection, version_id)

    def version_contents(self, version_ids: Sequence[int]) -> dict[int, Version]:
        """Version id -> content, for many at once."""
        with self._store.read() as connection:
            return reading.versions(connection, version_ids)

    def total(self, *, trash: bool = False) -> int:
        """How many patches there are (or lie in the trash)."""
        with self._store.read() as connection:
            return reading.total(connection, trash=trash)

    def stamp(self) -> int:
        """A number that is another one after any change by this or another program."""
        return self._store.change()

    def history(
        self, since: datetime | None = None, until: datetime | None = None, limit: int = 1000
    ) -> tuple[StepRow, ...]:
        """What was done in this library, newest first."""
        with self._store.read() as connection:
            return reading.steps(
                connection,
                None if since is None else microseconds(since),
                None if until is None else microseconds(until),
                limit,
            )

    def same_values(self) -> list[list[int]]:
        """Groups of patches with equal values under different names."""
        with self._store.read() as connection:
            return reading.same_values(connection)

    def unread(self) -> tuple[UnreadRow, ...]:
        """Bytes that no chart understood yet."""
        with self._store.read() as connection:
            return reading.unread(connection)

    def holders(self, versions: Sequence[Version]) -> list[tuple[Held, ...]]:
        """For each of these contents: the versions of patches outside the trash that hold the same values."""
        with self._store.read() as connection:
            return holding.holders(connection, versions)

    def called(self, instrument: int, names: Iterable[str]) -> dict[str, tuple[int, ...]]:
        """Exact name -> ids of the instrument's patches outside the trash that are called so."""
        with self._store.read() as connection:
            return holding.called(connection, instrument, names)

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

    def saved_searches(self) -> tuple[SavedSearchRow, ...]:
        """Saved searches by name."""
        with self._store.read() as connection:
            return reading.saved_searches(connection)

    def forget_unread(self, ids: Iterable[int]) -> None:
        """Take these bytes from the list of what was not understood."""
        with self._store.write("Forget what was not understood") as pending:
            editing.forget_unread(pending, ids)

    # ---- finding -------------------------------------------------------------------------------------------------

    def find(
        self,
        text: str = "",
        *,
        tags: Sequence[str] = (),
        instrument: int | None = None,
        order: Order = "name",
        trash: bool = False,
        now: datetime | None = None,
    ) -> Found:
        """Patches that match the line, all the tags (each with those below it) and the instrument.

        What cannot be understood of the line is in `Found.problems`; the rest of it was answered. `now` (aware) is
        what "last week" counts from.
        """
        return self._search.find(text, tags=tags, instrument=instrument, order=order, trash=trash, now=now)

    def reasons(self, found: Found, ids: Sequence[int]) -> dict[int, tuple[Reason, ...]]:
        """Why each of these patches of a result was found: for the rows that are about to be shown."""
        return self._search.reasons(found, ids)

    def complete(self, text: str, cursor: int | None = None) -> tuple[Completion, ...]:
        """What the word at the cursor (the end without one) could become."""
        return self._search.complete(text, len(text) if cursor is None else cursor)

    def tag_counts(self, found: Found | Sequence[int] | None = None) -> list[tuple[str, int]]:
        """Tags with counts within a result (or the whole library), most used first."""
        if found is None:
            return self._search.all_tags()
        ids = found.ids if isinstance(found, Found) else found
        return self._search.tag_counts(ids if isinstance(ids, Ids) else Ids(ids))

    def warm(self) -> None:
        """Read into memory what makes searching instant; call it once on a worker after opening a large library."""
        self._search.warm()

    # ---- undo ----------------------------------------------------------------------------------------------------

    def undo_label(self) -> str | None:
        """What undo would take back, or None."""
        return self._label(forth=False)

    def redo_label(self) -> str | None:
        """What redo would do again, or None."""
        return self._label(forth=True)

    def undo(self, expected: str | None = None) -> str | None:
        """Take the last step back; returns its label, None when there is none.

        With `expected` (a label shown to the person), refused when another program has done something since.
        """
        return self._take(expected, forth=False)

    def redo(self, expected: str | None = None) -> str | None:
        """Do the step that was undone last again."""
        return self._take(expected, forth=True)

    def _label(self, *, forth: bool) -> str | None:
        with self._store.read() as connection:
            step = journal.next_step(connection, forth=forth)
            return None if step is None else str(step["label"])

    def _take(self, expected: str | None, *, forth: bool) -> str | None:
        with self._store.alone() as connection:
            step = journal.next_step(connection, forth=forth)
            if step is None:
                return None
            label = str(step["label"])
            if expected is not None and expected != label:
                raise Refused(f"Another program changed the library meanwhile; next would be: {label}.")
            restored = step_of_restore(step)
            if restored is None:
                journal.take(connection, self._store.next_change(connection), step, forth=forth)
                return label
        restoring.go(self._store, restored, label, forth=forth)
        return label


def _instrument_columns(fields: Mapping[str, Any]) -> dict[str, Any]:
    columns: dict[str, Any] = {}
    for name, value in fields.items():
        if name == "address":
            columns["channel"], columns["device"] = value.channel, value.device
        elif name in {"name", "output", "input", "firmware", "pace"}:
            columns[name] = value
        else:
            raise TypeError(f"an instrument has no {name}")
    return columns


def _patches(count: int) -> str:
    return "1 patch" if count == 1 else f"{count:,} patches".replace(",", "\u2009")


def _listed(tags: Sequence[str]) -> str:
    return ", ".join(f"“{tag}”" for tag in tags)
