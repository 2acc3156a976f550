"""The part of `Library` that looks after the file: settings, check, backups, restore, repair."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import delete, insert, select

from librarian.errors import BadInput, LibrarianError

from . import backups, checking, journal, restoring, sqlite
from .backups import BackupRow
from .changes import PORTION, reindex
from .problems import as_kept
from .schema import LIVE, Patch, Setting
from .store import Store

#: Names of settings of the backups.
FOLDER, KEEP = "backups.folder", "backups.keep"


class Upkeep:
    """Inherited by `Library`; needs its `_store`."""

    _store: Store

    # ---- settings ------------------------------------------------------------------------------------------------

    def setting(self, name: str, default: Any = None) -> Any:
        """A small fact that belongs to this library (plain JSON values). Not part of undo, and kept by a restore."""
        with self._store.read() as connection:
            found = connection.execute(select(Setting.value).where(Setting.name == name)).scalar()
        with as_kept():
            return default if found is None else json.loads(found)

    def set_setting(self, name: str, value: Any) -> None:
        """Keep it; None forgets it."""
        with self._store.alone() as connection:
            connection.execute(delete(Setting).where(Setting.name == name))
            if value is not None:
                connection.execute(insert(Setting).values(name=name, value=json.dumps(value)))

    def settings(self, prefix: str) -> dict[str, Any]:
        """Every setting whose name begins so."""
        query = select(Setting.name, Setting.value).where(Setting.name.startswith(prefix, autoescape=True))
        with self._store.read() as connection, as_kept():
            return {name: json.loads(value) for name, value in connection.execute(query.order_by(Setting.name))}

    def forget_settings(self, prefix: str) -> None:
        """Forget every setting whose name begins so."""
        with self._store.alone() as connection:
            connection.execute(delete(Setting).where(Setting.name.startswith(prefix, autoescape=True)))

    # ---- check and repair ----------------------------------------------------------------------------------------

    def check(self) -> tuple[str, ...]:
        """Sentences of what is wrong with the file; () when it is whole. Changes nothing."""
        with self._store.read() as connection:
            return checking.check(connection)

    def rebuild_index(self) -> int:
        """Make the index of words anew from the patches; returns how many are in it."""
        with self._store.alone() as connection:
            sqlite.empty_words(connection)
            ids: Sequence[int] = connection.execute(
                select(Patch.id).where(sqlite.unindexed(Patch.state) == LIVE).order_by(Patch.id)
            ).scalars().all()  # fmt: skip
            for start in range(0, len(ids), PORTION):
                reindex(connection, ids[start : start + PORTION])
            self._store.next_change(connection, epoch=True)
            return len(ids)

    # ---- backups -------------------------------------------------------------------------------------------------

    @property
    def backup_folder(self) -> Path:
        """Where copies lie."""
        chosen = self.setting(FOLDER)
        return Path(chosen) if chosen else backups.default_folder(self._store.path)

    def keep_backups(self, folder: Path | None = None, number: int | None = None) -> None:
        """Choose the folder and how many copies stay in it."""
        if number is not None and not 1 <= number <= 1000:
            raise BadInput(f"{number} backups cannot be kept.", "Choose a number from 1 to 1000.")
        if folder is not None:
            self.set_setting(FOLDER, str(folder.absolute()))
        if number is not None:
            self.set_setting(KEEP, number)

    def backups(self) -> tuple[BackupRow, ...]:
        """The copies there are, newest first."""
        return backups.rows(self.backup_folder)

    def back_up(self, target: Path) -> BackupRow:
        """A verified copy under a name of the person's choice. Refused when something is there already."""
        self._store.refuse_a_lost_file()
        return backups.back_up(self._store.path, target.absolute())

    def back_up_if_changed(self, reason: str = "start") -> BackupRow | None:
        """A verified copy in turn, unless nothing changed since the newest one. For the start, on a worker."""
        self._store.refuse_a_lost_file()
        if not backups.needed(self._store.path, self.backup_folder):
            return None
        return self._in_turn(reason)

    def back_up_if_due(self, reason: str) -> BackupRow | None:
        """The same, unless a copy was made in the last hours: for where it is asked again and again."""
        self._store.refuse_a_lost_file()
        if not backups.due(self._store.path, self.backup_folder):
            return None
        return self._in_turn(reason)

    def protect(self, failed: Callable[[LibrarianError], None]) -> None:
        """Before the first change from now on: a copy if one is due. One that fails is told, and stops nothing."""

        def copy() -> None:
            try:
                self.back_up_if_due("before-change")
            except LibrarianError as problem:
                failed(problem)

        self._store.before_writing(copy)

    def restore_backup(self, backup: Path) -> Path:
        """Make the library what a backup holds: one step of undo. Returns the copy of what was there before."""
        self._store.refuse_a_lost_file()
        return restoring.restore(self._store, backup, self.backup_folder, self.backups_kept)

    def _in_turn(self, reason: str) -> BackupRow:
        self._store.refuse_a_lost_file()
        with self._store.read() as connection:
            needed = restoring.needed(connection)
        return backups.back_up_in_turn(self._store.path, self.backup_folder, reason, self.backups_kept, needed)

    @property
    def backups_kept(self) -> int:
        """How many copies stay."""
        return int(self.setting(KEEP, backups.KEEP))


def step_of_restore(step: Mapping[Any, Any]) -> journal.Change | None:
    """The change of a step that is a restore; None for any other."""
    changes = journal.unpack(step["changes"])
    return changes[0] if len(changes) == 1 and changes[0].kind == restoring.KIND else None
