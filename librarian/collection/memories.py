"""Backups of instruments' memories, kept in the library: whole programs with their bytes, independent of patches.

A backup must not erode: it stays as it was read when patches are renamed, deleted or undone, and when the library
goes back to an earlier copy of itself. So it is no set of patches; each program is one setting of the library, written
as soon as it was read, and a head says what belongs together. Sounds of it become patches when the person wants them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, Literal, get_args

from librarian.errors import BadInput
from librarian.messages import Version

from .folding import clean_name
from .library import Library
from .plain import as_plain, of_plain
from .records import ChartLike, InstrumentRow

Kind = Literal["backup", "before"]
"""'backup': the person asked for it; 'before': what a restore found in the places it was to write."""

_HEAD = "memory backup/"
_PROGRAM = "memory program/"


@dataclass(frozen=True, slots=True)
class MemoryBackup:
    """One reading of a memory. Programs are counted through all banks from 0.

    `wanted`: those that were to be read; `kept`: those that are here; `failed`: why others could not be read.
    `ended` False: it was interrupted, and can be gone on with.
    """

    key: str
    name: str
    kind: Kind
    instrument: int
    instrument_name: str
    chart: str
    revision: int
    firmware: str
    taken: datetime
    wanted: tuple[int, ...]
    kept: tuple[int, ...] = ()
    failed: Mapping[int, str] = field(default_factory=dict)
    ended: bool = False

    @property
    def complete(self) -> bool:
        """True when every program that was to be read is here."""
        return set(self.wanted) <= set(self.kept)


class Memories:
    """The memory backups of one library."""

    def __init__(self, library: Library) -> None:
        self._library = library

    def all(self, instrument: int | None = None) -> tuple[MemoryBackup, ...]:
        """Oldest first; only those of one instrument when its id is given."""
        heads = self._library.settings(_HEAD)
        found = [self._read(name.removeprefix(_HEAD), content) for name, content in heads.items()]
        mine = [one for one in found if instrument in (None, one.instrument)]
        return tuple(sorted(mine, key=lambda one: (one.taken, one.key)))

    def begin(
        self, row: InstrumentRow, chart: ChartLike, name: str, wanted: Iterable[int], kind: Kind = "backup"
    ) -> MemoryBackup:
        """A new backup without programs yet. The same name twice is told apart by a number."""
        taken = datetime.now(UTC)
        taken_names = {one.name.casefold() for one in self.all()}
        tidy = clean_name(name, cut=True) or "Memory"
        called, count = tidy, 1
        while called.casefold() in taken_names:
            count += 1
            called = f"{tidy} ({count})"
        backup = MemoryBackup(
            f"{row.id}-{taken:%Y%m%dT%H%M%S%f}", called, kind, row.id, row.name, chart.id, chart.revision, row.firmware,
            taken, tuple(wanted),
        )  # fmt: skip
        self._library.keep_chart(chart)
        self._write(backup)
        return backup

    def keep(self, backup: MemoryBackup, number: int, version: Version) -> None:
        """One program, at once and for good."""
        self._library.set_setting(f"{_PROGRAM}{backup.key}/{number:05d}", as_plain(version))

    def end(self, backup: MemoryBackup, failed: Mapping[int, str]) -> MemoryBackup:
        """It was read to its end; returns it as it is now."""
        done = replace(self._with_what_is_here(backup), failed=dict(failed), ended=True)
        self._write(done)
        return done

    def programs(self, backup: MemoryBackup) -> dict[int, Version]:
        """Number -> what was in that program."""
        prefix = f"{_PROGRAM}{backup.key}/"
        found = self._library.settings(prefix)
        return {int(name.removeprefix(prefix)): of_plain(content) for name, content in sorted(found.items())}

    def delete(self, backup: MemoryBackup) -> None:
        """For good; patches made of it stay."""
        self._library.forget_settings(f"{_PROGRAM}{backup.key}/")
        self._library.set_setting(f"{_HEAD}{backup.key}", None)

    def _write(self, backup: MemoryBackup) -> None:
        content = {
            "name": backup.name,
            "kind": backup.kind,
            "instrument": backup.instrument,
            "instrument_name": backup.instrument_name,
            "chart": backup.chart,
            "revision": backup.revision,
            "firmware": backup.firmware,
            "taken": backup.taken.isoformat(),
            "wanted": list(backup.wanted),
            "kept": list(backup.kept),
            "failed": {str(number): why for number, why in backup.failed.items()},
            "ended": backup.ended,
        }
        self._library.set_setting(f"{_HEAD}{backup.key}", content)

    def _read(self, key: str, content: Mapping[str, Any]) -> MemoryBackup:
        try:
            kind: Kind = content["kind"]
            if kind not in get_args(Kind):
                raise ValueError(kind)
            found = MemoryBackup(
                key=key, name=str(content["name"]), kind=kind, instrument=int(content["instrument"]),
                instrument_name=str(content["instrument_name"]), chart=str(content["chart"]),
                revision=int(content["revision"]), firmware=str(content["firmware"]),
                taken=datetime.fromisoformat(content["taken"]), wanted=tuple(map(int, content["wanted"])),
                kept=tuple(map(int, content["kept"])),
                failed={int(number): str(why) for number, why in content["failed"].items()},
                ended=bool(content["ended"]),
            )  # fmt: skip
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise BadInput(
                f"A memory backup in the library {self._library.path} cannot be read: {error!r}.",
                "Check the library: librarian library check",
            ) from error
        return found if found.ended else self._with_what_is_here(found)

    def _with_what_is_here(self, backup: MemoryBackup) -> MemoryBackup:
        """What a restore finds may be more than it was to write: a memory that travels only as a whole is all kept."""
        kept = tuple(sorted(self.programs(backup)))
        return replace(backup, kept=kept, wanted=tuple(dict.fromkeys((*backup.wanted, *kept))))
