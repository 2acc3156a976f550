"""Backups of the library: the list of them, made and restored from here; how many are kept, and where."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog

from librarian.collection import BackupRow
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import clock_time, counted, day, figures, size

NUMBERS = (3, 6, 12, 24, 48)
_REASONS = {"start": "at the start", "asked": "asked for"}


class BackupsDrawer(Drawer):
    """The backups, newest first."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Backups of the library")
        self.list = LineList(look, "Backups, newest first")
        self.foremost = self.list
        self.number = Choice(look, "How many are kept")
        self.body.addWidget(self.list, 1)
        self.body.addSpacing(4)
        self.padded(self.number)


def backup_line(row: BackupRow) -> Line:
    """When, why, how large."""
    reason = _REASONS.get(row.reason, row.reason.replace("-", " "))
    return Line(f"{day(row.taken)}, {clock_time(row.taken)}", f"{reason} · {size(row.size)}",
                counted(row.patches, "patch", "patches"))


class Backups(Hand):
    """The list of backups. `make_one` is also what the command does."""

    name = "backups"
    changing = frozenset({"make", "ask", "restore", "folder"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.rows: tuple[BackupRow, ...] = ()
        self.asked: BackupRow | None = None

    def make(self) -> BackupsDrawer:
        made = BackupsDrawer(self.look)
        made.list.opened.connect(lambda _row: self.do("ask"))
        made.number.chosen.connect(lambda number: self._keep(number=int(number)))
        return made

    @property
    def sheet(self) -> BackupsDrawer:
        """The drawer."""
        assert isinstance(self.drawer, BackupsDrawer)
        return self.drawer

    def load(self) -> None:
        library = self.desk.library
        self.ask(
            lambda: (library.backups(), library.backup_folder, int(library.setting("backups.keep", 12))), self._loaded
        )

    def _loaded(self, found: tuple[tuple[BackupRow, ...], Path, int]) -> None:
        self.rows, folder, number = found
        self.sheet.list.show_lines([backup_line(row) for row in self.rows], keep=True)
        numbers = sorted({*NUMBERS, number})
        self.sheet.number.show_options([(str(one), f"Keep the newest {figures(one)}") for one in numbers], str(number))
        self._folder = folder
        self._buttons()

    def _buttons(self) -> None:
        none = "" if self.rows else "There is no backup yet."
        if self.asked is not None:
            row = self.asked
            self.sheet.say(
                f"Make the library what it was on {day(row.taken)} at {clock_time(row.taken)}?",
                f"It had {counted(row.patches, 'patch', 'patches')} then. What is there now is copied into one more "
                "backup first, and undo brings it back.",
            )
            self.sheet.show_buttons(
                ButtonSpec("restore", "Restore this backup"), ButtonSpec("keep", "Keep the library as it is",
                                                                        primary=True)
            )
            return
        self.sheet.say(
            f"{counted(len(self.rows), 'backup')} in {self._folder}." if self.rows else "There is no backup yet.",
            "One is made at each start when something has changed, and before what cannot be undone; each is opened "
            "and counted before it counts.",
        )
        self.sheet.show_buttons(
            ButtonSpec("make", "Back up now", primary=True), ButtonSpec("ask", "Restore…", key="Enter", reason=none),
            ButtonSpec("folder", "Other folder…"),
        )

    def do(self, button: str) -> None:
        row = self.sheet.list.current
        if button == "make":
            self.make_one()
        elif button == "ask" and row is not None and row < len(self.rows):
            self.asked = self.rows[row]
            self._buttons()
            self.sheet.buttons["keep"].setFocus()
        elif button == "keep":
            self.asked = None
            self._buttons()
            self.sheet.take_focus()
        elif button == "restore" and self.asked is not None:
            self.restore(self.asked)
        elif button == "folder":
            name = QFileDialog.getExistingDirectory(self.areas, "Folder for backups", str(self._folder))
            if name:
                self._keep(folder=Path(name))

    def make_one(self) -> None:
        """One more verified backup in the folder."""

        def made(row: BackupRow) -> None:
            self.desk.told.emit(
                Told(f"Backed up {counted(row.patches, 'patch', 'patches')}: {row.path.name}, {size(row.size)}.")
            )
            if self.is_open:
                self.load()

        library = self.desk.library
        self.desk.work.run(
            lambda _cancel, _progress: library.back_up_if_changed("asked") or library.backups()[0],
            title="Backing the library up", then=made,
        )

    def restore(self, row: BackupRow) -> None:
        """Make the library what this backup holds, as one step of undo."""
        self.asked = None
        library = self.desk.library

        def restored(_copy: Path) -> None:
            self.desk.changed_by_us()
            self.desk.told.emit(Told(
                f"The library is again what it was on {day(row.taken)} at {clock_time(row.taken)}: "
                f"{counted(row.patches, 'patch', 'patches')}.", undo=self.desk.past.undo,
            ))

        self.desk.work.run(lambda _cancel, _progress: library.restore_backup(row.path), title="Restoring the backup",
                           then=restored)
        self._buttons()

    def _keep(self, folder: Path | None = None, number: int | None = None) -> None:
        library = self.desk.library
        self.desk.work.edit(lambda: library.keep_backups(folder, number), lambda _none: self.load())

    def left(self) -> None:
        self.asked = None
