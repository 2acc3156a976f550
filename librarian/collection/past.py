"""What was done, by time and by patch: the steps as a history."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sqlalchemy import Connection, select

from librarian.errors import Refused

from . import journal, sqlite
from .problems import as_kept
from .records import StepRow, moment
from .schema import Intent, Version

_STATES: dict[int, Literal["done", "undone", "dropped"]] = {
    journal.DONE: "done",
    journal.UNDONE: "undone",
    journal.DROPPED: "dropped",
}


def steps(
    connection: Connection, since: int | None, until: int | None, limit: int, patch: int | None = None
) -> tuple[StepRow, ...]:
    """Newest first; `since` and `until` in microseconds. With `patch` those that changed it.

    The newest `journal.KEPT_STEPS` steps still know which patches they changed; older ones are in no patch's history.
    """
    query = select(Intent.id, Intent.at, Intent.label, Intent.state, Intent.patches).order_by(Intent.id.desc())
    if since is not None:
        query = query.where(Intent.at >= since)
    if until is not None:
        query = query.where(Intent.at < until)
    if patch is None:
        return tuple(_step(row) for row in connection.execute(query.limit(limit)))
    return tuple(_of_patch(connection, query, patch, limit))


def _of_patch(connection: Connection, query: Any, patch: int, limit: int) -> Iterator[StepRow]:
    versions = connection.execute(select(Version.id).where(Version.patch_id == patch)).scalars().all()
    found = 0
    for row in connection.execute(query.add_columns(Intent.changes).where(Intent.changes.is_not(None))):
        if found < limit and journal.concerns(row.changes, patch, versions):
            found += 1
            yield _step(row)


def _step(row: Any) -> StepRow:
    with as_kept():
        return StepRow(row.id, moment(row.at), row.label, _STATES[row.state], row.patches)


def touched(connection: Connection, step: int) -> tuple[int, ...]:
    """Ids of the patches that a step changed, ascending, live or not; () when the step no longer knows.

    Raises `Refused` when there is no such step.
    """
    row = connection.execute(select(Intent.changes).where(Intent.id == step)).first()
    if row is None:
        raise Refused(f"There is no step number {step} in the history of this library.")
    if row.changes is None:
        return ()
    patches: set[int] = set()
    versions: set[int] = set()
    for change in journal.unpack(row.changes):
        if change.kind.startswith("patch."):
            patches.update(change.ids)
        elif change.kind.startswith("version."):
            versions.update(change.ids)
    if versions:
        patches.update(
            connection.execute(select(Version.patch_id).where(sqlite.in_ids(Version.id, versions))).scalars()
        )
    return tuple(sorted(patches))
