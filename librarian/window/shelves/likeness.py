"""Sounds like this one: the nearest to A, each with the reason; the one that is looked at lies beside A."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QObject

from librarian.collection import PatchRow
from librarian.sounds.near import Likeness, Near
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import quoted

_MOST, _MOSTLY = 100, 8.0


class LikeDrawer(Drawer):
    """The nearest, and what counts most."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Sounds like this one")
        self.section = Choice(look, "What counts")
        self.list = LineList(look, "Sounds like this one, nearest first")
        self.foremost = self.list
        self.padded(self.section)
        self.body.addWidget(self.list, 1)


class Like(Hand):
    """Nearest sounds of the same chart."""

    name = "like this one"
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.to: int | None = None
        self.section = ""
        self.found: tuple[Near, ...] = ()

    def make(self) -> LikeDrawer:
        made = LikeDrawer(self.look)
        made.section.chosen.connect(self._take_section)
        made.list.current_changed.connect(self._look_at)
        made.list.opened.connect(lambda _row: self.do("take"))
        return made

    @property
    def sheet(self) -> LikeDrawer:
        """The drawer."""
        assert isinstance(self.drawer, LikeDrawer)
        return self.drawer

    def _take_section(self, section: str) -> None:
        self.section = section
        self.load()

    def show(self) -> None:
        """Open for A."""
        a = self.desk.choice.a
        if a is not None and a.patch is not None:
            self.to = a.patch.id
            super().show()

    def load(self) -> None:
        a, chart = self.desk.choice.a, self.desk.choice.chart
        if a is None or a.patch is None or chart is None or a.patch.id != self.to:
            return
        sections = {section.id: section.label for section in chart.sections}
        if self.section not in sections:
            self.section = ""
        options = [("", "Every section counts alike"), *((key, f"Mostly {label}") for key, label in sections.items())]
        self.sheet.section.show_options(options, self.section)
        library, values, own = self.desk.library, a.values, a.patch.id
        weights = {self.section: _MOSTLY} if self.section else {}
        self.sheet.say(f"Like {quoted(a.name)}:", "looking…")

        def question() -> tuple[tuple[Near, ...], dict[int, PatchRow]]:
            table = library.value_table(chart.id)
            likeness = Likeness.from_raw(chart, table.ids, table.parameters, table.raw, table.known)
            near = likeness.nearest(values, _MOST, weights=weights, leave_out=(own,))
            return near, {row.id: row for row in library.rows([one.id for one in near])}

        self.ask(question, lambda answer: self._loaded(a.name, *answer))

    def _loaded(self, name: str, near: Sequence[Near], rows: dict[int, PatchRow]) -> None:
        self.found = tuple(one for one in near if one.id in rows)
        self.sheet.list.show_lines([self._line(one, rows[one.id]) for one in self.found])
        self.sheet.say(
            f"Like {quoted(name)}:",
            "nearest first; the one you look at lies beside it." if self.found else "there is no other sound of its "
            "instrument that could be compared.",
        )
        none = "" if self.found else "There is none."
        self.sheet.show_buttons(ButtonSpec("take", "Look at it alone", primary=True, key="Enter", reason=none))

    @staticmethod
    def _line(near: Near, row: PatchRow) -> Line:
        return Line(row.name, near.reason, f"{(1 - near.distance) * 100:.0f} %", says="likeness")

    def _look_at(self, row: int) -> None:
        a = self.desk.choice.a
        if self.to is not None and a is not None and row < len(self.found):
            self.desk.choose_b(self.found[row].id)
            self.sheet.say(f"Like {quoted(a.name)}:", f"{self.found[row].reason}.")

    def do(self, button: str) -> None:
        row = self.sheet.list.current
        if button == "take" and row is not None and row < len(self.found):
            patch = self.found[row].id
            self.areas.close_drawer()
            self.desk.choose_a(patch)
            self.areas.collection.list.select_id(patch)

    def left(self) -> None:
        self.to = None
