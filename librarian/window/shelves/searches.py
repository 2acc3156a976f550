"""Saved searches: a line under a name, taken up again by Enter."""

from __future__ import annotations

from PySide6.QtCore import QObject

from librarian.collection import SavedSearchRow
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, quoted


class SearchesDrawer(Drawer):
    """The searches, and a field for the name of the one that is in the search line."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Saved searches")
        self.list = LineList(look, "Saved searches")
        self.foremost = self.list
        self.field = Field(look, "name for the search of now", "Name for the search of now")
        self.body.addWidget(self.list, 1)
        self.body.addSpacing(6)
        self.padded(self.field, stretch_last=False)


def whole_line(text: str, tags: frozenset[str]) -> str:
    """The search line with the chosen tags as words of it, so that one line says all."""
    words = [text.strip(), *(f'tag:"{tag}"' for tag in sorted(tags))]
    return " ".join(word for word in words if word)


class Searches(Hand):
    """The list of saved searches."""

    name = "saved searches"
    changing = frozenset({"save", "forget"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.rows: tuple[SavedSearchRow, ...] = ()
        self._counts: dict[int, int] = {}
        self._naming = False

    def make(self) -> SearchesDrawer:
        made = SearchesDrawer(self.look)
        made.list.opened.connect(self.take_up)
        made.list.delete_asked.connect(lambda _rows: self.do("forget"))
        made.field.edit.returnPressed.connect(lambda: self.do("save"))
        made.field.edit.textChanged.connect(lambda _text: self._buttons())
        return made

    @property
    def sheet(self) -> SearchesDrawer:
        """The drawer."""
        assert isinstance(self.drawer, SearchesDrawer)
        return self.drawer

    def show_to_save(self) -> None:
        """Open with the name of a new one to be given."""
        self.show()
        self.sheet.field.take_focus()

    def load(self) -> None:
        library = self.desk.library

        def question() -> tuple[tuple[SavedSearchRow, ...], dict[int, int]]:
            rows = library.saved_searches()
            return rows, {row.id: len(library.find(row.text)) for row in rows}

        self.ask(question, self._loaded)
        line = whole_line(self.desk.text, self.desk.tags)
        self.sheet.say("Now in the search line:" if line else "Nothing is searched now.",
                       line or "Type in the search line first, or take one up from here.")
        self._buttons()

    def _loaded(self, found: tuple[tuple[SavedSearchRow, ...], dict[int, int]]) -> None:
        self.rows, self._counts = found
        self.sheet.list.show_lines(
            [Line(row.name, row.text, counted(self._counts[row.id], "patch", "patches")) for row in self.rows],
            keep=True,
        )
        self._buttons()

    def _buttons(self) -> None:
        none = "" if self.rows else "No search is saved yet."
        line, name = whole_line(self.desk.text, self.desk.tags), self.sheet.field.edit.text().strip()
        reason = "" if line and name else "Give it a name first." if line else "Nothing is searched now."
        self.sheet.show_buttons(
            ButtonSpec("take", "Search", primary=True, reason=none), ButtonSpec("save", "Save", reason=reason),
            ButtonSpec("forget", "Forget", key="Del", reason=none),
        )

    def do(self, button: str) -> None:
        row = self.sheet.list.current
        if button == "save":
            self.save(self.sheet.field.edit.text().strip())
        elif row is not None and row < len(self.rows):
            if button == "take":
                self.take_up(row)
            elif button == "forget":
                one = self.rows[row]
                self.desk.edit(lambda: self.desk.library.forget_search(one.id),
                               f"The saved search {quoted(one.name)} is forgotten.")

    def save(self, name: str) -> None:
        """Keep the line of now under this name; the same name replaces its line."""
        line = whole_line(self.desk.text, self.desk.tags)
        if name and line:
            self.sheet.field.edit.clear()
            self.desk.edit(lambda: self.desk.library.save_search(name, line), f"Saved as {quoted(name)}.")

    def take_up(self, row: int) -> None:
        """Search this again."""
        one = self.rows[row]
        self.areas.close_drawer()
        self.areas.collection.search.set_text(one.text)
        self.desk.search(text=one.text, tags=frozenset())
        self.areas.focus_area("list")
