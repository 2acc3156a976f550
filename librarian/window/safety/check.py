"""The check of the library: is the file whole? What is wrong, in sentences, and what can be mended from here."""

from __future__ import annotations

from PySide6.QtCore import QObject

from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted


class CheckDrawer(Drawer):
    """What the check found."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Check of the library")
        self.list = LineList(look, "What is wrong")
        self.foremost = self.list
        self.body.addWidget(self.list, 1)


class Check(Hand):
    """Checks when it opens; changes nothing unless asked to."""

    name = "check"
    changing = frozenset({"index"})
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.found: tuple[str, ...] | None = None

    def make(self) -> CheckDrawer:
        return CheckDrawer(self.look)

    @property
    def sheet(self) -> CheckDrawer:
        """The drawer."""
        assert isinstance(self.drawer, CheckDrawer)
        return self.drawer

    def load(self) -> None:
        library = self.desk.library
        self.found = None
        self.sheet.list.show_lines(())
        self.sheet.say("The library is being checked.", "Pages, references, the digests of all bytes, and the index.")
        self.sheet.show_buttons()
        self.desk.work.run(
            lambda _cancel, _progress: library.check(), title="Checking the library", then=self._checked,
            otherwise=self._broken,
        )

    def _broken(self, problem: Exception) -> None:
        self._checked((str(problem),), getattr(problem, "hint", ""))

    def _checked(self, wrong: tuple[str, ...], hint: str = "") -> None:
        self.found = wrong
        total = self.desk.found.total if self.desk.found is not None else 0
        self.sheet.list.show_lines([Line(one, mark="alarm", says="wrong", trouble=False) for one in wrong])
        if wrong:
            self.sheet.say(
                f"{counted(len(wrong), 'thing is', 'things are')} wrong with {self.desk.library.path}.",
                hint or "Restore a backup, or have the index made anew; “librarian library repair” saves what is "
                "readable into a new library.",
            )
            self.sheet.show_buttons(ButtonSpec("backups", "Backups…", primary=True),
                                    ButtonSpec("index", "Make the index anew"), ButtonSpec("again", "Check again"))
        else:
            self.sheet.say("The library is whole.", f"{counted(total, 'patch', 'patches')} in {self.desk.library.path}")
            self.sheet.show_buttons(ButtonSpec("again", "Check again"))
        if self.is_open and self.sheet.isVisible() and not wrong:
            self.sheet.close_button.setFocus()

    def do(self, button: str) -> None:
        if button == "again":
            self.load()
        elif button == "index":
            library = self.desk.library

            def made(count: int) -> None:
                self.desk.changed_by_us()
                self.desk.told.emit(Told(f"The index is new: {counted(count, 'patch', 'patches')}."))
                self.load()

            self.desk.work.run(lambda _cancel, _progress: library.rebuild_index(), title="Making the index anew",
                               then=made)
        elif button == "backups":
            self.pressed_backups()

    def pressed_backups(self) -> None:
        """Replaced by the owner: opens the backups."""
