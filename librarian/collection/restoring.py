"""Bring a backup back into the open library, as one transaction and one step of undo.

The other program that may have the library open keeps working and sees the change as one. What was there before goes
into a backup of its own first, under the same lock, so that nothing written meanwhile can fall between.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, insert, select, update

from . import backups, sqlite
from .journal import DONE, DROPPED, UNDONE, Change, now_us, pack, unpack
from .schema import Base, Counter, Intent, Setting
from .store import Store

#: The kind of change in the journal; `before` and `after` are paths of backup files.
KIND = "library.file"
#: So many restores can be undone for certain, and are looked for among so many steps.
LAST_RESTORES, LOOKED_AT = 3, 200


def restore(store: Store, backup: Path, folder: Path, keep: int) -> Path:
    """Make the library what the backup holds; returns the path of the copy of what was there before."""
    with backups.ready_to_restore(backup) as copy, store.taking_in(copy) as connection:
        kept = {*needed(connection), backup.absolute()}
        before = backups.back_up_in_turn(store.path, folder, "before-restore", keep, kept)
        state = store.state(connection)
        replace_all(connection, state)
        taken = _named(backup)
        step = Change(KIND, (), str(before.path), str(backup.absolute()), same=True)
        _write_step(connection, f"Restore the backup {taken}", step, DONE)
        return before.path


def needed(connection: Connection) -> set[Path]:
    """Copies without which one of the last restores could not be undone or redone: these do not give way to newer."""
    query = select(Intent.changes).where(Intent.changes.is_not(None), Intent.patches == 0, Intent.state != DROPPED)
    steps = connection.execute(query.order_by(Intent.id.desc()).limit(LOOKED_AT)).scalars()
    changes = [change for stored in steps if stored for change in unpack(stored) if change.kind == KIND]
    return {Path(side) for change in changes[:LAST_RESTORES] for side in (change.before, change.after)}


def go(store: Store, change: Change, label: str, *, forth: bool) -> None:
    """Undo (or redo) a restore: take the other file in, and leave the step so that it can be gone back again."""
    wanted = Path(change.after if forth else change.before)
    with backups.ready_to_restore(wanted) as copy, store.taking_in(copy) as connection:
        state = store.state(connection)
        replace_all(connection, state)
        _write_step(connection, label, change, DONE if forth else UNDONE)


def _write_step(connection: Connection, label: str, change: Change, state: int) -> None:
    if state == DONE:
        connection.execute(update(Intent).where(Intent.state == UNDONE).values(state=DROPPED))
    connection.execute(insert(Intent).values(at=now_us(), label=label, state=state, patches=0, changes=pack([change])))


def replace_all(connection: Connection, state: tuple[int, int]) -> None:
    """Every row of every table by those of the file that was taken in; settings stay. The counters only go up."""
    tables = [table for table in Base.metadata.sorted_tables if table.name not in {Counter.__tablename__,
                                                                                   Setting.__tablename__}]  # fmt: skip
    for table in tables:
        sqlite.copy_table(connection, table.name, [column.name for column in table.columns])
    sqlite.copy_words(connection)
    change, epoch = state
    theirs = sqlite.counter_of_taken_in(connection)
    for name, value in (("change", max(change, theirs) + 1), ("epoch", epoch + 1)):
        connection.execute(update(Counter).where(Counter.name == name).values(value=value))
    sqlite.mark_change(connection)


def _named(backup: Path) -> str:
    row = backups.row(backup)
    if row is None:
        return f"“{backup.name}”"
    return f"of {row.taken.astimezone():%Y-%m-%d %H:%M}"
