"""All tags with their counts: renamed, merged by the name of another one, taken away everywhere."""

from __future__ import annotations

from PySide6.QtCore import QObject

from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, quoted


class TagsDrawer(Drawer):
    """The tags, and a field for the other name."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Tags")
        self.list = LineList(look, "All tags", "one line")
        self.foremost = self.list
        self.field = Field(look, "another name for it", "Another name for the tag")
        self.body.addWidget(self.list, 1)
        self.body.addSpacing(6)
        self.padded(self.field, stretch_last=False)


class Tags(Hand):
    """The tags of the whole collection."""

    name = "tags of all"
    changing = frozenset({"rename", "remove"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.tags: list[tuple[str, int]] = []

    def make(self) -> TagsDrawer:
        made = TagsDrawer(self.look)
        made.list.current_changed.connect(self._look_at)
        made.list.opened.connect(lambda _row: made.field.take_focus())
        made.list.delete_asked.connect(lambda _rows: self.do("remove"))
        made.field.edit.textChanged.connect(lambda _text: self._buttons())
        made.field.edit.returnPressed.connect(lambda: self.do("rename"))
        return made

    @property
    def sheet(self) -> TagsDrawer:
        """The drawer."""
        assert isinstance(self.drawer, TagsDrawer)
        return self.drawer

    def load(self) -> None:
        library = self.desk.library
        self.ask(lambda: sorted(library.tag_counts(), key=lambda one: one[0].casefold()), self._loaded)

    def _loaded(self, tags: list[tuple[str, int]]) -> None:
        self.tags = tags
        self.sheet.list.show_lines(
            [Line(tag, right=counted(count, "patch", "patches")) for tag, count in tags], keep=True
        )
        self.sheet.say(counted(len(tags), "tag") + "." if tags else "No patch has a tag yet.",
                       "A tag that gets the name of another one joins it." if tags else "")
        self._buttons()

    def _current(self) -> str:
        row = self.sheet.list.current
        return self.tags[row][0] if row is not None and row < len(self.tags) else ""

    def _look_at(self, row: int) -> None:
        if row < len(self.tags):
            self.sheet.field.edit.setText(self.tags[row][0])

    def _buttons(self) -> None:
        old, new = self._current(), self.sheet.field.edit.text().strip()
        there = {tag.casefold(): tag for tag, _count in self.tags}
        other = there.get(new.casefold())
        reason = "" if old and new and new != old else "Choose a tag, and type another name for it."
        joins = other is not None and other.casefold() != old.casefold()
        words = f"Join it to “{other}”" if joins else "Rename"
        none = "" if old else "Choose a tag first."
        self.sheet.show_buttons(
            ButtonSpec("rename", words, primary=True, reason=reason), ButtonSpec("search", "Show its patches",
                                                                                reason=none),
            ButtonSpec("remove", "Take it away everywhere", key="Del", reason=none),
        )

    def do(self, button: str) -> None:
        old, new = self._current(), self.sheet.field.edit.text().strip()
        if not old:
            return
        if button == "rename" and new and new != old:
            self.desk.rename_tag(old, new)
        elif button == "search":
            self.areas.close_drawer()
            self.areas.collection.search.set_text("")
            self.desk.search(text="", tags=frozenset({old}))
        elif button == "remove":
            library = self.desk.library

            def change() -> int:
                patches = library.find(tags=(old,)).ids
                below = [tag for tag, _count in self.tags if tag.casefold().startswith(f"{old.casefold()}/")]
                library.tag(patches, remove=[old, *below])
                return len(patches)

            self.desk.edit(change, lambda count: f"{counted(count, 'patch', 'patches')} without {quoted(old)} now.")
