"""The part of `Library` that answers: rows, versions, history, and what matches a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from librarian.messages import Version

from . import holding, past, reading
from .finding import Found
from .holding import Held
from .query.complete import Completion
from .records import (
    Group,
    GroupBy,
    Ids,
    Order,
    PatchRow,
    Reason,
    SavedSearchRow,
    StepRow,
    UnreadRow,
    VersionRow,
    microseconds,
)
from .search import Search
from .store import Store
from .values import ValueTable


class QuestionsDoor:
    """Inherited by `Library`; needs its `_store` and `_search`."""

    _store: Store
    _search: Search

    def rows(self, ids: Sequence[int]) -> list[PatchRow]:
        """Rows in the order of `ids`, by one query; those that are gone are left out."""
        with self._store.read() as connection:
            return reading.patch_rows(connection, ids)

    def versions(self, patch: int) -> tuple[VersionRow, ...]:
        """The versions of a patch, oldest first."""
        with self._store.read() as connection:
            return reading.version_rows(connection, patch)

    def histories(self, patches: Sequence[int]) -> dict[int, tuple[VersionRow, ...]]:
        """Patch id -> its versions, oldest first, for many at once; those that are gone are left out."""
        with self._store.read() as connection:
            return reading.histories(connection, patches)

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
        self,
        since: datetime | None = None,
        until: datetime | None = None,
        limit: int = 1000,
        patch: int | None = None,
    ) -> tuple[StepRow, ...]:
        """What was done in this library, newest first; with `patch`, what was done to it."""
        with self._store.read() as connection:
            return past.steps(
                connection,
                None if since is None else microseconds(since),
                None if until is None else microseconds(until),
                limit,
                patch,
            )

    def touched(self, step: int) -> tuple[int, ...]:
        """Ids of the patches that a step of the history changed; () when it is so old that this is forgotten."""
        with self._store.read() as connection:
            return past.touched(connection, step)

    def same_values(self) -> list[list[int]]:
        """Groups of patches with equal values under different names."""
        with self._store.read() as connection:
            return reading.same_values(connection)

    def unread(self) -> tuple[UnreadRow, ...]:
        """Bytes that no chart understood yet."""
        with self._store.read() as connection:
            return reading.unread(connection)

    def holders(self, versions: Sequence[Version], *, trash: bool = False) -> list[tuple[Held, ...]]:
        """For each of these contents: the versions that hold the same values, of patches outside the trash.

        With `trash` also of those in it.
        """
        with self._store.read() as connection:
            return holding.holders(connection, versions, trash=trash)

    def called(self, instrument: int, names: Iterable[str]) -> dict[str, tuple[int, ...]]:
        """Exact name -> ids of the instrument's patches outside the trash that are called so."""
        with self._store.read() as connection:
            return holding.called(connection, instrument, names)

    def saved_searches(self) -> tuple[SavedSearchRow, ...]:
        """Saved searches by name."""
        with self._store.read() as connection:
            return reading.saved_searches(connection)

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

    def groups(self, found: Found, by: GroupBy) -> tuple[Group, ...]:
        """What was found in groups, each in the order of the list. By tag a patch stands under each of its tags."""
        return self._search.groups(found.ids, by)

    def value_table(self, chart: str, revision: int | None = None) -> ValueTable:
        """The latest values of all patches of a chart as numbers: the food of "sounds like this one"."""
        return self._search.value_table(chart, revision)

    def warm(self) -> None:
        """Read into memory what makes searching instant; call it once on a worker after opening a large library."""
        self._search.warm()
