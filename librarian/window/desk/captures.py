"""What becomes of captured sounds: kept at once, or held in sight until the library takes them or a file does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal

from librarian.errors import LibrarianError
from librarian.files.alone import save_alone
from librarian.transfer import Captured
from librarian.transfer.before import panel_name
from librarian.window.desk.standing import Say, Standing
from librarian.window.desk.told import Told
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted

if TYPE_CHECKING:
    from librarian.window.desk.choice import Side
    from librarian.window.desk.desk import Desk

KEEP_AGAIN = ButtonSpec("keep_again", "Keep it now", primary=True)
SAVE_ALONE = ButtonSpec("save_alone", "Save it as a file…")


@dataclass(eq=False)
class Taken:
    """A captured sound on its way into the library. `into`: the patch that it is to be a version of, or None.

    `standing`: of the instrument as it was then; it may be gone from the library before the sound is in it.
    `patch`: where it is kept, if it is.
    """

    standing: Standing
    result: Captured
    into: int | None
    when: datetime
    trying: bool = True
    patch: int | None = None
    said: Say | None = None

    @property
    def name(self) -> str:
        """What it is called until the person names it."""
        return self.result.version.name.strip() or panel_name(self.result.version.taken)


class Captures(QObject):
    """One of a desk. `held`: what the library refused, oldest first; `changed` says that these are others now."""

    changed = Signal()

    def __init__(self, desk: Desk, kept: Callable[[Side, bool], object]) -> None:
        super().__init__(desk)
        self._desk, self._kept = desk, kept
        self.held: tuple[Taken, ...] = ()

    @property
    def reminder(self) -> str:
        """What is to be said as long as something is held, or empty."""
        if not self.held:
            return ""
        verb = "is" if len(self.held) == 1 else "are"
        return f"{counted(len(self.held), 'captured sound')} {verb} not kept yet, and lost when the window is closed."

    def take(self, standing: Standing, result: Captured, into: int | None, when: datetime) -> None:
        """A capture has ended: keep what it brought."""
        self._keep(Taken(standing, result, into, when))

    def keep_again(self) -> None:
        """Try once more with everything that is held."""
        for one in self.held:
            if not one.trying:
                one.trying = True
                self._keep(one)

    def save(self, path: Path, *, replace: bool = False) -> None:
        """Save what was held first as a file that an import reads, instead of keeping it."""
        if not self.held:
            return
        one = self.held[0]

        def write(_cancel: Any, _progress: Any) -> None:
            save_alone(path, one.standing.chart, one.standing.row, one.name, one.result.version, replace=replace)

        def saved(_result: object) -> None:
            self._let_go(one)
            self._desk.told.emit(Told(f"The captured sound is in {path}.", "Import that file to have it in a library."))

        self._desk.work.run(write, then=saved)

    def _keep(self, one: Taken) -> None:
        library = self._desk.library
        version = one.result.version
        again = f"What was captured from {one.standing.row.name} is in the library now."

        def keep() -> tuple[Side, bool, str]:
            said, into = one.result.broke_off, one.into
            if one in self.held:
                said = f"{said} {again}".strip()
            if into is not None and not library.rows([into]):
                gone = "The patch that it was to be a version of is gone, so it is kept as one of its own."
                said, into = f"{said} {gone}".strip(), None
            if one.patch is None and into is not None:
                library.add_version(into, version)
                one.patch = into
            elif one.patch is None:
                one.patch = library.keep(one.standing.row.id, one.name, version)
            return self._desk.side(one.patch), into is None, said

        def kept(made: tuple[Side, bool, str]) -> None:
            side, new, _said = made
            self._let_go(one)
            self._kept(side, new)

        self._desk.edit(keep, lambda made: made[2], then=kept, otherwise=lambda problem: self._refused(one, problem))

    def _refused(self, one: Taken, problem: Exception) -> None:
        if not isinstance(problem, LibrarianError):
            raise problem
        one.trying = False
        if one not in self.held:
            self.held = (*self.held, one)
        first = f"The sound captured from {one.standing.row.name} was not kept."
        why = f"{problem} {problem.hint}".strip()
        one.said = one.standing.not_kept(first, why, (KEEP_AGAIN, SAVE_ALONE))
        self._desk.instruments.changed.emit(one.standing.row.id)
        self.changed.emit()
        self._desk.told.emit(Told(f"{first} {why}", trouble=True))

    def _let_go(self, one: Taken) -> None:
        if one not in self.held:
            return
        self.held = tuple(each for each in self.held if each is not one)
        if one.standing.say is one.said:  # nothing else has happened to it since
            one.standing.captured(one.result, one.when)
            self._desk.instruments.changed.emit(one.standing.row.id)
        self.changed.emit()
