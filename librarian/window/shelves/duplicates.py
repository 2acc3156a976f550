"""Duplicates: patches with the same values, or nearly the same, group by group; merged without losing anything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject

from librarian.chart import Chart
from librarian.collection import Library, PatchRow, ValueTable
from librarian.errors import Cancelled
from librarian.sounds.twins import Twins, nearly_same
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.desk.work import Far
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.segments import Segments
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, day, figures, quoted

WITHIN = (("0.01", "within 1 % of the range"), ("0.03", "within 3 % of the range"), ("0.06", "within 6 % of the range"))
MOST_GROUPS = 2000


@dataclass(frozen=True)
class Group:
    """One group: rows of the patches, and for each why it is here."""

    rows: tuple[PatchRow, ...]
    reasons: tuple[str, ...]
    title: str


class DuplicatesDrawer(Drawer):
    """Groups with a heading each."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Duplicates")
        self.kind = Segments(look, "Which duplicates")
        self.within = Choice(look, "How near")
        self.list = LineList(look, "Duplicates")
        self.foremost = self.list
        self.padded(self.kind, self.within)
        self.body.addWidget(self.list, 1)


class Duplicates(Hand):
    """The groups; the one that is looked at lies beside the first of its group on the panel."""

    name = "duplicates"
    changing = frozenset({"merge", "all"})
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.kind, self.within = "same", "0.03"
        self.groups: list[Group] = []
        self.places: list[tuple[int, int] | None] = []

    def make(self) -> DuplicatesDrawer:
        made = DuplicatesDrawer(self.look)
        made.kind.chosen.connect(self._take_kind)
        made.within.chosen.connect(self._take_within)
        made.list.current_changed.connect(self._look_at)
        made.list.opened.connect(lambda _row: self.do("merge"))
        return made

    @property
    def sheet(self) -> DuplicatesDrawer:
        """The drawer."""
        assert isinstance(self.drawer, DuplicatesDrawer)
        return self.drawer

    def _take_kind(self, kind: str) -> None:
        self.kind = kind
        self.load()

    def _take_within(self, within: str) -> None:
        self.within = within
        self.load()

    def load(self) -> None:
        sheet = self.sheet
        sheet.kind.show_segments((("same", "Same values"), ("near", "Nearly the same")), self.kind)
        sheet.within.show_options(WITHIN, self.within)
        sheet.within.setVisible(self.kind == "near")
        sheet.say("Looking for duplicates.", "Nothing is changed by looking.")
        sheet.show_buttons()
        library, within = self.desk.library, float(self.within)
        near = self.kind == "near"

        def look(cancel: Any, progress: Any) -> list[Group]:
            if not near:
                return same_groups(library)

            found: list[Group] = []
            charts = self._charts()
            for number, chart in enumerate(charts):
                cancel.check("Nothing was changed.")
                progress(Far(number, len(charts), "charts"))
                table = library.value_table(chart.id)
                found += near_groups(library, table, chart, nearly_same(chart, table, within))
            return found

        self.desk.work.run(look, title="Comparing every patch with every other", then=self._loaded,
                           otherwise=self._not_loaded, kept="looking changes nothing")

    def _charts(self) -> list[Any]:
        charts = {}
        for row in self.desk.library.instruments(removed=True):
            charts[row.chart] = self.desk.instruments.chart(row.chart, row.revision)
        return list(charts.values())

    def _not_loaded(self, problem: Exception) -> None:
        if isinstance(problem, Cancelled):
            self.sheet.say("Looking was cancelled.", "What is listed is from before.")
        else:
            self.sheet.say(str(problem), getattr(problem, "hint", ""))

    def _loaded(self, groups: list[Group]) -> None:
        self.groups = groups[:MOST_GROUPS]
        lines: list[Line] = []
        self.places = []
        for number, group in enumerate(self.groups):
            lines.append(Line(group.title, heading=True))
            self.places.append(None)
            for member, row in enumerate(group.rows):
                right = f"{counted(row.versions, 'version')} · {day(row.changed)}"
                parts = (row.instrument_name, group.reasons[member], *row.tags)
                lines.append(Line(row.name, " · ".join(part for part in parts if part), right,
                                  "A" if member == 0 else None, "first" if member == 0 else ""))
                self.places.append((number, member))
        before = self.sheet.list.current or 0
        self.sheet.list.show_lines(lines)
        what = "with the same values" if self.kind == "same" else "that are nearly the same"
        if not groups:
            self.sheet.say(f"No patches {what}.")
        else:
            patches = sum(len(group.rows) for group in groups)
            more = f" The first {figures(MOST_GROUPS)} groups are listed." if len(groups) > MOST_GROUPS else ""
            self.sheet.say(
                f"{counted(patches, 'patch', 'patches')} {what}, in {counted(len(groups), 'group')}.",
                "Merging keeps all versions and tags, and the other names in the note; the others go to the trash."
                + more,
            )
        self._buttons()
        if groups and self.sheet.isVisible():
            self.sheet.list.select_row(min(before, len(lines) - 1))

    def _buttons(self) -> None:
        none = "" if self.groups else "There is nothing to merge."
        self.sheet.show_buttons(
            ButtonSpec("merge", "Merge its group into it", primary=True, key="Enter", reason=none),
            ButtonSpec("all", f"Merge all of {counted(len(self.groups), 'group')}", reason=none),
            ButtonSpec("again", "Look again"),
        )

    def _look_at(self, row: int) -> None:
        place = self.places[row] if row < len(self.places) else None
        if place is None:
            return
        group = self.groups[place[0]]
        self.desk.choose_a(group.rows[0].id)
        if place[1] > 0:
            self.desk.choose_b(group.rows[place[1]].id)

    def do(self, button: str) -> None:
        if button == "again":
            self.load()
        elif button == "merge":
            row = self.sheet.list.current
            place = self.places[row] if row is not None else None
            if place is not None:
                group = self.groups[place[0]]
                self._merge([(group.rows[place[1]], [one for one in group.rows if one is not group.rows[place[1]]])])
        elif button == "all":
            self._merge([(group.rows[0], list(group.rows[1:])) for group in self.groups])

    def _merge(self, wanted: Sequence[tuple[PatchRow, Sequence[PatchRow]]]) -> None:
        library = self.desk.library
        pairs = [
            (into, [one.id for one in others if one.instrument == into.instrument]) for into, others in wanted
        ]
        pairs = [(into, others) for into, others in pairs if others]
        if not pairs:
            self.desk.told.emit(Told("These belong to different instruments, so each of them stays a patch."))
            return
        count = sum(len(others) for _into, others in pairs)
        label = f"Merge into “{pairs[0][0].name}”" if len(pairs) == 1 else f"Merge {len(pairs)} groups of duplicates"

        def merge(cancel: Any, progress: Any) -> None:
            with library.together(label):
                for number, (into, others) in enumerate(pairs):
                    cancel.check("Nothing was merged.")
                    progress(Far(number, len(pairs), "groups"))
                    library.merge(into.id, others)

        def done(_result: object) -> None:
            self.desk.changed_by_us()
            patches = counted(count, "patch is", "patches are")
            into = quoted(pairs[0][0].name) if len(pairs) == 1 else f"{len(pairs)} others"
            self.desk.told.emit(Told(f"{patches} part of {into} now.", undo=self.desk.past.undo))
            if self.is_open:
                self.load()

        self.desk.work.run(merge, title="Merging", then=done, kept="cancel merges nothing")


def same_groups(library: Library) -> list[Group]:
    """Groups of patches with equal values, largest first."""
    groups = sorted(library.same_values(), key=len, reverse=True)
    rows = {row.id: row for row in library.rows([patch for group in groups for patch in group])}
    found = []
    for group in groups:
        # The oldest first: the others most likely came after it.
        members = tuple(rows[patch] for patch in sorted(group) if patch in rows)
        if len(members) > 1:
            found.append(Group(members, ("",) * len(members), f"{len(members)} patches, all values equal"))
    return found


def near_groups(library: Library, table: ValueTable, chart: Chart, groups: Sequence[Twins]) -> list[Group]:
    """Groups of near sounds in the order given, nearest first; each says how many parameters differ from the first."""
    rows = {row.id: row for row in library.rows([patch for group in groups for patch in group.ids])}
    columns = [place for place, name in enumerate(table.parameters) if name in set(chart.sound_ids)]
    place = {int(patch): row for row, patch in enumerate(table.ids)}
    found = []
    for group in groups:
        members = [rows[patch] for patch in group.ids if patch in rows and patch in place]
        if len(members) < 2:
            continue
        at = [place[row.id] for row in members]
        raw, known = table.raw[at][:, columns], table.known[at][:, columns]
        both = known & known[0]
        differ, compared = ((raw != raw[0]) & both).sum(axis=1), both.sum(axis=1)
        reasons = tuple(
            "" if member == 0 else f"{differ[member]} of {compared[member]} differ" for member in range(len(members))
        )
        title = f"{len(members)} patches, {int(differ.max())} of {int(compared.max())} differ at most"
        found.append(Group(tuple(members), reasons, title))
    return found
