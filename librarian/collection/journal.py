"""What the person did, as steps that go back and forth.

Every step is in the library itself, so undo works across restarts, and both of two open programs go back through
the one common past (the label says what would be undone). A step is written in the transaction that does it.
"""

from __future__ import annotations

import json
import sqlite3
import time
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, select, update
from sqlalchemy.exc import IntegrityError

from .changes import apply, count_versions
from .problems import LibraryProblem, as_kept
from .schema import Intent

DONE, UNDONE, DROPPED = 0, 1, 2
#: Steps that can be undone and that know which patches they changed; older ones keep their label and time only.
KEPT_STEPS = 2000


def now_us() -> int:
    """The present as microseconds since 1970 UTC."""
    return time.time_ns() // 1000


@dataclass(frozen=True, slots=True)
class Change:
    """One kind of change: `before` and `after` hold one value per id, or one value for all of them (`same`)."""

    kind: str
    ids: tuple[int, ...]
    before: Any
    after: Any
    same: bool

    def values(self, *, forth: bool) -> Sequence[Any]:
        """One value per id, of the state after (`forth`) or before."""
        side = self.after if forth else self.before
        return [side] * len(self.ids) if self.same else side


@dataclass(slots=True)
class Pending:
    """An intent while its transaction is open."""

    connection: Connection
    label: str
    change: int
    at: int = field(default_factory=now_us)
    changes: list[Change] = field(default_factory=list)
    patches: int = 0
    #: True: what was done cannot be undone.
    final: bool = False

    def make(self, kind: str, ids: Sequence[int], before: Sequence[Any], after: Sequence[Any]) -> None:
        """Do one change and remember it. One value per id; ids whose value stays the same are passed over."""
        rows = sorted(
            ((one, old, new) for one, old, new in zip(ids, before, after, strict=True) if old != new),
            key=lambda row: row[0],
        )
        if not rows:
            return
        order, olds, news = ([row[place] for row in rows] for place in range(3))
        apply(self.connection, self.change, self.at, kind, order, news)
        self.remember(kind, order, olds, news)

    def made(self, kind: str, ids: Sequence[int], before: Any, after: Any) -> None:
        """Remember a change that is done already (rows inserted with the values of `after`); ids ascending."""
        if kind == "version.state":
            count_versions(self.connection, ids)
        self._note(Change(kind, tuple(ids), before, after, same=True))

    def remember(self, kind: str, ids: Sequence[int], before: Sequence[Any], after: Sequence[Any]) -> None:
        """Note a change that was applied by other means; ids ascending."""
        same = all(old == before[0] for old in before) and all(new == after[0] for new in after)
        change = Change(kind, tuple(ids), before[0], after[0], True) if same else Change(
            kind, tuple(ids), list(before), list(after), False
        )  # fmt: skip
        self._note(change)

    def _note(self, change: Change) -> None:
        self.changes.append(change)
        if change.kind.startswith("patch."):
            self.patches = max(self.patches, len(change.ids))


def record(pending: Pending) -> None:
    """Write the step. What was undone before it can no longer be redone."""
    if not pending.changes and not pending.final:
        return
    connection = pending.connection
    connection.execute(update(Intent).where(Intent.state == UNDONE).values(state=DROPPED))
    step = connection.execute(
        insert(Intent).values(
            at=pending.at,
            label=pending.label,
            state=DONE,
            patches=pending.patches,
            changes=None if pending.final else pack(pending.changes),
        )
    ).inserted_primary_key
    number = step[0] if step else 0
    if number % 50 == 0:
        connection.execute(
            update(Intent).where(Intent.id <= number - KEPT_STEPS, Intent.changes.is_not(None)).values(changes=None)
        )


def next_step(connection: Connection, *, forth: bool) -> RowMapping | None:
    """The step that redo (`forth`) or undo would take, or None."""
    query = select(Intent.id, Intent.label, Intent.changes)
    query = (
        query.where(Intent.state == UNDONE).order_by(Intent.id)
        if forth
        else query.where(Intent.state == DONE).order_by(Intent.id.desc())
    )
    row = connection.execute(query.limit(1)).mappings().first()
    return row if row is not None and row["changes"] is not None else None


def take(connection: Connection, change: int, step: RowMapping, *, forth: bool) -> None:
    """Undo or redo one step in the caller's transaction."""
    at = now_us()
    changes = unpack(step["changes"])
    try:
        for one in changes if forth else reversed(changes):
            apply(connection, change, at, one.kind, one.ids, one.values(forth=forth))
    except (IntegrityError, sqlite3.IntegrityError) as error:
        raise LibraryProblem(
            f"The step “{step['label']}” cannot be taken: it would put back something that was damaged.",
            "See what: librarian library check. Then restore a backup, or repair it into a new file.",
        ) from error
    connection.execute(update(Intent).where(Intent.id == step["id"]).values(state=DONE if forth else UNDONE))


# ---- as stored ----------------------------------------------------------------------------------------------------


def pack(changes: Sequence[Change]) -> bytes:
    """Changes as stored: zlib-packed JSON; runs of ids as pairs of first and last."""
    return zlib.compress(
        json.dumps(
            [
                {"kind": one.kind, "ids": _runs(one.ids), "before": one.before, "after": one.after, "same": one.same}
                for one in changes
            ],
            ensure_ascii=False,
            separators=(",", ":"),
        ).encode()
    )


def unpack(stored: bytes) -> list[Change]:
    """What `pack` stored."""
    with as_kept():
        return [
            Change(
                one["kind"],
                tuple(number for first, last in one["ids"] for number in range(first, last + 1)),
                one["before"],
                one["after"],
                one["same"],
            )
            for one in json.loads(zlib.decompress(stored))
        ]


def concerns(stored: bytes, patch: int, versions: Sequence[int]) -> bool:
    """Whether a step changed this patch or one of its versions; told from the runs, however long they are."""
    with as_kept():
        for one in json.loads(zlib.decompress(stored)):
            room = one["kind"].partition(".")[0]
            wanted: Sequence[int] = (patch,) if room == "patch" else versions if room == "version" else ()
            if any(first <= number <= last for first, last in one["ids"] for number in wanted):
                return True
    return False


def _runs(ids: Sequence[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for number in ids:
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return runs
