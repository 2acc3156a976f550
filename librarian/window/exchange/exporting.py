"""Exporting from the window: which sounds, in which form, into which file; written on the worker."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Qt
from PySide6.QtWidgets import QFileDialog

from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.segments import Segments
from librarian.window.parts.sentence import Sentence
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, figures, listed, quoted

FORMS: dict[str, tuple[str, str, str, str]] = {
    "syx": ("SysEx", ".syx", "SysEx (*.syx)",
            "Dumps as they were received, byte for byte, or as the chart writes them where a sound was edited."),
    "mid": ("MIDI file", ".mid", "MIDI files (*.mid)",
            "A standard MIDI file that any sequencer plays into the instrument: dumps, and controllers as a snapshot."),
    "csv": ("Table", ".csv", "Tables (*.csv *.tsv)",
            "One row a sound, for a spreadsheet, that can be imported again. Values as they are displayed, or raw."),
    "bundle": ("Bundle", ".zip", "Bundles (*.zip)",
               "Everything: names, tags, notes, versions, exact bytes and charts as plain text in a zip file."),
}


class ExportDrawer(Drawer):
    """Which sounds, and in which form."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Export")
        self.which = Segments(look, "Which sounds")
        self.form = Segments(look, "Form of the file")
        self.values = Segments(look, "Values in the table")
        self.about = Sentence(look, second=True)
        self.labels = [Sentence(look, px=SMALL, second=True) for _ in range(2)]
        for label, words in zip(self.labels, ("Which sounds", "In which form"), strict=True):
            label.say_plainly(words)
        self.foremost = self.which
        self.padded(self.labels[0])
        self.padded(self.which)
        self.body.addSpacing(8)
        self.padded(self.labels[1])
        self.padded(self.form)
        self.padded(self.about, stretch_last=False)
        self.padded(self.values)
        self.body.addStretch(1)

    def take_focus(self) -> None:
        on = next((button for button in self.which.buttons.values() if button.isChecked()), None)
        (on or self.close_button).setFocus(Qt.FocusReason.OtherFocusReason)


class Exporting(Hand):
    """`show` opens with what is chosen in the list; `write(path)` does it."""

    name = "export"

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.which, self.form, self.raw = "chosen", "syx", False
        self._chosen: list[int] = []

    def make(self) -> ExportDrawer:
        made = ExportDrawer(self.look)
        made.which.chosen.connect(self._take_which)
        made.form.chosen.connect(self._take_form)
        made.values.chosen.connect(self._take_values)
        return made

    @property
    def sheet(self) -> ExportDrawer:
        """The drawer."""
        assert isinstance(self.drawer, ExportDrawer)
        return self.drawer

    def show_for(self, patches: Sequence[int]) -> None:
        """Open for these patches; what is found and everything can be taken instead."""
        self._chosen = list(patches)
        self.which = "chosen" if self._chosen else "found"
        self.show()

    def load(self) -> None:
        found = len(self.desk.found) if self.desk.found is not None else 0
        total = self.desk.found.total if self.desk.found is not None else 0
        which = []
        if self._chosen:
            which.append(("chosen", f"{figures(len(self._chosen))} chosen"))
        if found != total or not self._chosen:
            which.append(("found", f"{figures(found)} found"))
        which.append(("all", f"All {figures(total)}"))
        if self.which not in {name for name, _words in which}:
            self.which = which[0][0]
        sheet = self.sheet
        sheet.which.show_segments(which, self.which)
        sheet.form.show_segments([(name, words[0]) for name, words in FORMS.items()], self.form)
        sheet.values.show_segments((("shown", "Values as displayed"), ("raw", "Raw values")),
                                   "raw" if self.raw else "shown")
        sheet.values.setVisible(self.form == "csv")
        sheet.about.say_plainly(FORMS[self.form][3])
        reason = "" if self.patches() else "There is no sound to export."
        sheet.show_buttons(
            ButtonSpec("save", f"Save {counted(len(self.patches()), 'sound')} as…", primary=True, reason=reason),
            ButtonSpec("leave", "Not now"),
        )

    def patches(self) -> Sequence[int]:
        """The sounds that are meant now."""
        if self.which == "chosen":
            return self._chosen
        found = self.desk.found
        if found is None:
            return ()
        if self.which == "all" and len(found) != found.total:
            with self.desk.reading():
                return self.desk.library.find(order="name").ids
            return ()
        return found.ids

    def _take_which(self, which: str) -> None:
        self.which = which
        self.load()

    def _take_form(self, form: str) -> None:
        self.form = form
        self.load()

    def _take_values(self, values: str) -> None:
        self.raw = values == "raw"
        self.load()

    def do(self, button: str) -> None:
        if button != "save":
            self.areas.close_drawer()
            return
        _words, suffix, kinds, _about = FORMS[self.form]
        name, _kind = QFileDialog.getSaveFileName(self.areas, "Export sounds", f"sounds{suffix}", kinds)
        if name:
            path = Path(name)
            # The dialogue has asked already whether a file of exactly this name may be replaced.
            exact = bool(path.suffix)
            self.write(path if exact else path.with_suffix(suffix), replace=exact)

    def write(self, path: Path, *, replace: bool = False) -> None:
        """Write the file; says how many sounds went into it and which could not."""
        library, patches, raw, form = self.desk.library, self.patches(), self.raw, self.form
        if form == "csv":
            form = "tsv" if path.suffix.lower() in {".tsv", ".tab"} else "csv"
        whole = self.which == "all" and form == "bundle"

        def export(cancel: Any, progress: Any) -> Any:
            from librarian.files import outgoing

            if whole:
                return outgoing.export_all(library, path, replace=replace, cancel=cancel, progress=progress)
            return outgoing.export(
                library, patches, path, form=form, replace=replace, raw=raw, cancel=cancel, progress=progress
            )

        self.areas.close_drawer()
        self.desk.work.run(
            export, title=f"Writing {path.name}", then=self._written, kept="cancel leaves no file"
        )

    def _written(self, done: Any) -> None:
        sentence = done.sentence if done.sentence.endswith(".") else f"{done.sentence}."
        why = [f"{quoted(name)} ({reason.rstrip('.')})" for _patch, name, reason in done.left_out]
        self.desk.told.emit(Told(sentence, f"Left out: {listed(why, 3)}." if why else ""))
