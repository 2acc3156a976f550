"""The trash: everything deleted, to be had back; emptied only by the person, after being asked in place."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QObject

from librarian.collection import Library, PatchRow
from librarian.errors import LibrarianError
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, day

_PAGE, _PAGES_KEPT = 64, 16


class PatchLines:
    """Patches by id, read a page at a time when they are painted."""

    def __init__(self, library: Library, ids: Sequence[int]) -> None:
        self._library, self.ids = library, ids
        self._pages: dict[int, dict[int, PatchRow]] = {}

    def __len__(self) -> int:
        return len(self.ids)

    def row(self, place: int) -> PatchRow | None:
        """The patch at a place; None when it is gone."""
        page = place // _PAGE
        if page not in self._pages:
            while len(self._pages) >= _PAGES_KEPT:
                self._pages.pop(next(iter(self._pages)))
            try:
                rows = self._library.rows(list(self.ids[page * _PAGE : (page + 1) * _PAGE]))
            except LibrarianError:
                # Said where the library is watched; here it is only a row that cannot be shown just now.
                rows = []
            self._pages[page] = {row.id: row for row in rows}
        return self._pages[page].get(int(self.ids[place]))

    def line(self, place: int) -> Line:
        """Name, instrument and tags, and when it was changed last."""
        row = self.row(place)
        if row is None:
            return Line("cannot be read just now")
        return Line(row.name, " · ".join((row.instrument_name, *row.tags)),
                    f"{counted(row.versions, 'version')} · {day(row.changed)}")


class TrashDrawer(Drawer):
    """What was deleted."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Trash")
        self.list = LineList(look, "Deleted patches", several=True)
        self.foremost = self.list
        self.body.addWidget(self.list, 1)


class Trash(Hand):
    """The trash."""

    name = "trash"
    changing = frozenset({"restore", "ask", "empty"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.ids: Sequence[int] = ()
        self.asking = False

    def make(self) -> TrashDrawer:
        made = TrashDrawer(self.look)
        made.list.opened.connect(lambda _row: self.do("restore"))
        made.list.chosen_changed.connect(self._buttons)
        return made

    @property
    def sheet(self) -> TrashDrawer:
        """The drawer."""
        assert isinstance(self.drawer, TrashDrawer)
        return self.drawer

    def load(self) -> None:
        self.ask(lambda: self.desk.library.find(order="time", trash=True).ids, self._loaded)

    def _loaded(self, ids: Sequence[int]) -> None:
        self.ids = ids
        self.asking = self.asking and bool(len(ids))
        self.sheet.list.show_lines(PatchLines(self.desk.library, ids), keep=True)
        self._buttons()

    def _buttons(self) -> None:
        count = len(self.ids)
        none = "" if count else "The trash is empty."
        chosen = len(self.sheet.list.chosen())
        if self.asking:
            patches = counted(count, "patch", "patches")
            self.sheet.say(
                f"Delete {patches} for good?",
                "That cannot be undone, nor can what was done before it. A backup of the library is made first.",
            )
            self.sheet.show_buttons(
                ButtonSpec("empty", f"Delete {patches} for good"), ButtonSpec("keep", "Keep them", primary=True)
            )
            return
        self.sheet.say(
            f"{counted(count, 'patch', 'patches')} in the trash." if count else "The trash is empty.",
            "They stay here until you empty it." if count else "What you delete comes here first.",
        )
        self.sheet.show_buttons(
            ButtonSpec("restore", f"Restore {chosen}" if chosen > 1 else "Restore", primary=True, key="Enter",
                       reason=none or ("" if chosen else "Choose what you want back.")),
            ButtonSpec("ask", "Empty the trash…", reason=none),
        )

    def do(self, button: str) -> None:
        if button == "restore":
            self.desk.restore([int(self.ids[row]) for row in self.sheet.list.chosen()])
        elif button in {"ask", "keep"}:
            self.asking = button == "ask"
            self._buttons()
            if self.asking:
                self.sheet.buttons["keep"].setFocus()
            else:
                self.sheet.take_focus()
        elif button == "empty":
            self.asking = False
            self.desk.empty_trash()

    def left(self) -> None:
        self.asking = False
