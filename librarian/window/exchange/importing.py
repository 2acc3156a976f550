"""Importing from the window: files dropped or chosen, looked through on the worker, shown, then kept as one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog

from librarian.errors import Cancelled
from librarian.files.seen import OnChanged
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.details.editor import split_tags
from librarian.window.exchange.importdrawer import ImportDrawer, Kind, Lines
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, listed, quoted

FILTER = "Sounds (*.syx *.mid *.midi *.csv *.tsv *.txt *.hex *.zip);;All files (*)"
RECORDINGS = {".mid", ".midi", ".smf", ".kar"}
_SAID_NOTES = 3
SHOW_ALL = ButtonSpec("show_all", "Show every patch")


@dataclass(frozen=True)
class Looked:
    """A preview with its sounds by kind ("all", "new", "changed", "same"), sorted out where it was made: they may be
    very many."""

    seen: Any
    sounds: dict[str, list[Any]]
    left: list[Any]
    sentence: str = ""
    choices: tuple[tuple[str, ...], ...] = ()


def looked(seen: Any) -> Looked:
    """Sort a preview's sounds by what becomes of them."""
    sounds: dict[str, list[Any]] = {"all": list(seen.rows), "new": [], "changed": [], "same": []}
    for row in sounds["all"]:
        sounds[row.status].append(row)
    return Looked(seen, sounds, list(seen.left), seen.sentence, seen.choices)


class Importing(Hand):
    """`take(paths)` begins; nothing is kept before the person has seen what it would be and says so."""

    name = "import"
    changing = frozenset({"import"})
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.paths: tuple[Path, ...] = ()
        self.seen: Any = None
        self.found = Looked(None, {}, [])
        self._kind: Kind = "all"
        self._changed: OnChanged = "version"
        self._target = ""
        self._looking = False

    def make(self) -> ImportDrawer:
        made = ImportDrawer(self.look)
        made.kinds.chosen.connect(self._show_kind)
        made.changed.chosen.connect(self._take_changed)
        made.target.chosen.connect(self._take_target)
        made.moment.edit.returnPressed.connect(self._look)
        return made

    @property
    def sheet(self) -> ImportDrawer:
        """The drawer."""
        assert isinstance(self.drawer, ImportDrawer)
        return self.drawer

    # -- from files to the preview ---------------------------------------------------------------------------------

    def choose_files(self) -> None:
        """Let the person choose files."""
        names, _kind = QFileDialog.getOpenFileNames(self.areas, "Import sounds", "", FILTER)
        if names:
            self.take([Path(name) for name in names])

    def take(self, paths: Sequence[Path]) -> None:
        """Look through these files, and folders one level deep; the drawer shows what is in them."""
        self.paths, self._target, self._changed, self._kind = tuple(paths), "", "version", "all"
        self.sheet.tags.edit.clear()
        self.sheet.moment.edit.clear()
        self._look()

    def _look(self) -> None:
        self._drop_what_runs()
        self.seen = None
        paths, library, moment = self.paths, self.desk.library, self.sheet.moment.edit.text().strip()
        instrument = int(self._target) if self._target else None
        names = listed([quoted(path.name) for path in paths], 3)

        def look(cancel: Any, progress: Any) -> Looked:
            from librarian.files import intake

            seen = intake.preview(
                library, _files(paths), instrument=instrument, moment=moment, cancel=cancel, progress=progress
            )
            return looked(seen)

        self._looking = True
        self.sheet.list.show_lines(())
        self.sheet.say(f"Looking through {names}.", "Nothing is kept before you have seen what is in it.")
        self.sheet.show_counts({"new": 0, "changed": 0, "same": 0, "not understood": 0}, "all")
        self.sheet.show_choices(changed=self._changed, any_changed=False, targets=(), target="", recording=False)
        self.sheet.show_act(0, 0, "It is not known yet what is in it.")
        self.areas.open_drawer(self.name)
        self.desk.work.run(
            look, title=f"Reading {names}", then=self._show_seen, otherwise=self._not_read,
            kept="nothing is kept yet",
        )

    def _drop_what_runs(self) -> None:
        if self._looking:
            self.desk.work.cancel()

    def _not_read(self, problem: Exception) -> None:
        self._looking = False
        if isinstance(problem, Cancelled):
            self.sheet.say("Reading was cancelled.", "Nothing was kept.")
            if self.seen is None and self.is_open:
                self.areas.close_drawer()
            return
        hint = getattr(problem, "hint", "")
        self.sheet.say(str(problem), hint or "Nothing was kept.")
        recording = any(path.suffix.lower() in RECORDINGS for path in self.paths)
        self.sheet.show_choices(changed=self._changed, any_changed=False, targets=(), target="", recording=recording)
        self.sheet.show_buttons(ButtonSpec("leave", "Close", key="Esc"))

    def _show_seen(self, found: Looked) -> None:
        self._looking = False
        if not self.is_open:
            return
        seen, self.found = found.seen, found
        self.seen = seen
        names = listed([quoted(name) for name in seen.taken], 3)
        notes = [f"Left out: {each.sentence}" for each in seen.left_out[:_SAID_NOTES]]
        if len(seen.left_out) > _SAID_NOTES:
            notes.append(f"{counted(len(seen.left_out) - _SAID_NOTES, 'more file')} left out for reasons like these.")
        notes += seen.notes[:_SAID_NOTES]
        if len(seen.notes) > _SAID_NOTES:
            notes.append(f"And {counted(len(seen.notes) - _SAID_NOTES, 'more remark')} of this kind.")
        if seen.added:
            notes.append(f"{listed(list(seen.added))} will be added to your instruments.")
        if found.choices:
            notes.append("More than one instrument has this chart: choose below whose sounds these are.")
        self.sheet.say(f"{names}:", " ".join([f"{found.sentence.rstrip('.')}.", *notes]))
        self._show_kind(self._kind)
        self._show_act()
        if self.sheet.isVisible():
            self.sheet.take_focus()

    def _show_kind(self, kind: str) -> None:
        seen = self.seen
        if seen is None:
            return
        self._kind = kind  # type: ignore[assignment]
        counts = {name: len(rows) for name, rows in self.found.sounds.items() if name != "all"}
        counts["not understood"] = len(self.found.left)
        sounds = self.found.sounds.get(kind, [])
        left = self.found.left if kind in {"all", "not understood"} else []
        self.sheet.show_counts(counts, self._kind)
        self.sheet.list.show_lines(Lines(sounds, left))
        self.sheet.list.select_row(0)

    def _show_act(self) -> None:
        seen, sounds = self.seen, self.found.sounds
        changed = len(sounds["changed"]) if self._changed != "skip" else 0
        fresh_left = sum(not one.kept_before for one in self.found.left)
        count = len(sounds["new"]) + changed
        must_choose = bool(self.found.choices) and not self._target
        reason = "" if count or fresh_left or seen.added else "The collection has all of it already."
        if must_choose:
            reason = "Choose first whose sounds these are."
        targets: list[tuple[str, str]] = []
        if self.found.choices or self._target:
            names = {name for group in self.found.choices for name in group}
            rows = self.desk.instruments.standings
            targets = [("", "Whose sounds are these? Choose")] + [
                (str(number), f"These are sounds of {standing.row.name}") for number, standing in rows.items()
                if standing.row.name in names or str(number) == self._target
            ]
        self.sheet.show_choices(
            changed=self._changed, any_changed=bool(sounds["changed"]), targets=tuple(targets), target=self._target,
            recording=any(path.suffix.lower() in RECORDINGS for path in self.paths),
        )
        self.sheet.show_act(count, fresh_left, reason)

    def _take_changed(self, changed: str) -> None:
        self._changed = changed  # type: ignore[assignment]
        self._show_act()

    def _take_target(self, target: str) -> None:
        self._target = target
        self._look()

    # -- from the preview into the library -------------------------------------------------------------------------

    def do(self, button: str) -> None:
        if button == "import":
            self.keep()
        else:
            self.areas.close_drawer()

    def keep(self) -> None:
        """Do what the preview says, as one step of undo."""
        seen, library = self.seen, self.desk.library
        if seen is None:
            return
        tags = split_tags(self.sheet.tags.edit.text())
        changed: OnChanged = self._changed
        names = listed([quoted(name) for name in seen.taken], 3)

        def keep(cancel: Any, progress: Any) -> Any:
            from librarian.files import intake

            return intake.apply(library, seen, tags=tags, changed=changed, cancel=cancel, progress=progress)

        self.sheet.show_act(0, 0, "It is being imported.")
        self.desk.work.run(
            keep, title=f"Importing {names}", then=self._kept, otherwise=self._not_kept,
            kept="cancel keeps nothing of it",
        )

    def _kept(self, done: Any) -> None:
        self.seen = None
        if self.is_open:
            self.areas.close_drawer()
        self.desk.changed_by_us()
        hidden = bool(len(done.patches) and (self.desk.text.strip() or self.desk.tags))
        sentence = done.sentence if done.sentence.endswith(".") else f"{done.sentence}."
        first = done.patches[0] if len(done.patches) else next(iter(done.versions), None)
        self.desk.told.emit(
            Told(sentence, undo=self.desk.past.undo, also=(SHOW_ALL,) if hidden else ())
        )
        if first is not None:
            self.desk.choose_a(int(first))

    def _not_kept(self, problem: Exception) -> None:
        if isinstance(problem, Cancelled):
            self.sheet.say("The import was cancelled.", problem.state or "Nothing was kept.")
        else:
            self.sheet.say(str(problem), getattr(problem, "hint", "") or "Nothing was kept.")
        if self.seen is not None:
            self._show_act()

    def left(self) -> None:
        self._drop_what_runs()


def _files(paths: Sequence[Path]) -> list[Path]:
    """The files meant: those of a folder that was dropped, in the order of their names."""
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += sorted(one for one in path.iterdir() if one.is_file() and not one.name.startswith("."))
        else:
            found.append(path)
    return found
