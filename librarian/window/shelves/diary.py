"""What was done in this library, newest first, day by day: "what did I do on Tuesday?"."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from PySide6.QtCore import QObject

from librarian.collection import PatchRow, StepRow, here_and_now, span
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import clock_time, counted, day, quoted

_MOST = 5000
_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_STATES = {"undone": "taken back", "dropped": "taken back for good"}


class DiaryDrawer(Drawer):
    """The steps, grouped by day; of the stretch of time that is typed, or all."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "What was done")
        self.field = Field(look, "when: tuesday, last week, 12.3.2026", "When")
        self.list = LineList(look, "What was done, newest first")
        self.foremost = self.list
        self.padded(self.field, stretch_last=False)
        self.body.addWidget(self.list, 1)


def day_words(moment: datetime, today: datetime) -> str:
    """"Today", "Yesterday", "Tuesday, 24 Nov"."""
    days = (today.date() - moment.date()).days
    if days in {0, 1}:
        return ("Today", "Yesterday")[days]
    return f"{_WEEK[moment.weekday()]}, {day(moment, today)}"


def day_lines(steps: Sequence[StepRow], today: datetime) -> tuple[list[Line], list[StepRow | None]]:
    """Steps, newest first, with a heading for each day; and for each row its step, None for a heading."""
    made: list[Line] = []
    rows: list[StepRow | None] = []
    last = ""
    for step in steps:
        local = step.at.astimezone()
        title = day_words(local, today)
        if title != last:
            made.append(Line(title, heading=True))
            rows.append(None)
            last = title
        state = _STATES.get(step.state, "")
        count = counted(step.patches, "patch", "patches") if step.patches else ""
        made.append(Line(step.label, " · ".join(part for part in (clock_time(local), count, state) if part),
                         mark=None if step.state == "done" else "changed", says=state))
        rows.append(step)
    return made, rows


class Diary(Hand):
    """The history of the whole collection."""

    name = "diary"

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.steps: list[StepRow | None] = []

    def make(self) -> DiaryDrawer:
        made = DiaryDrawer(self.look)
        made.field.edit.textChanged.connect(lambda _text: self.load())
        made.list.opened.connect(lambda _row: self.do("show"))
        made.list.current_changed.connect(lambda _row: self._buttons())
        return made

    @property
    def sheet(self) -> DiaryDrawer:
        """The drawer."""
        assert isinstance(self.drawer, DiaryDrawer)
        return self.drawer

    def load(self) -> None:
        today = here_and_now()
        typed = self.sheet.field.edit.text().strip()
        when = span(typed, today) if typed else None
        self.sheet.field.mark_wrong(0, len(typed) if typed and when is None else 0)
        if typed and when is None:
            # While it is being typed what was found last stays.
            return
        since, until = (when.start, when.end) if when is not None else (None, None)
        library = self.desk.library
        self.ask(lambda: library.history(since, until, _MOST), lambda steps: self._loaded(steps, today, typed))

    def _loaded(self, steps: Sequence[StepRow], today: datetime, typed: str) -> None:
        lines, self.steps = day_lines(steps, today)
        self.sheet.list.show_lines(lines)
        if steps:
            newest = f" The newest {_MOST} are shown." if len(steps) >= _MOST else ""
            self.sheet.say(f"{counted(len(steps), 'step')}.", f"Undo takes back the newest first.{newest}")
        else:
            self.sheet.say(f"Nothing was done {typed}." if typed else "Nothing was done yet.")
        self.sheet.list.select_row(0)
        self._buttons()

    def _current(self) -> StepRow | None:
        row = self.sheet.list.current
        return self.steps[row] if row is not None and row < len(self.steps) else None

    def _buttons(self) -> None:
        step = self._current()
        reason = "" if step is not None and step.patches else "No patch was changed by it."
        self.sheet.show_buttons(
            ButtonSpec("show", "Look at its patch", primary=True, key="Enter", reason=reason)
        )

    def do(self, button: str) -> None:
        step = self._current()
        if step is not None and button == "show":
            self.ask(lambda: self.desk.library.touched(step.id), lambda ids: self._look_at(step, ids))

    def _look_at(self, step: StepRow, ids: Sequence[int]) -> None:
        rows: Sequence[PatchRow] | None = None
        with self.desk.reading():
            rows = self.desk.library.rows(list(ids[:1]))
        if rows is None:
            return
        if not rows:
            self.desk.told.emit(Told("Which patches that step changed is no longer known."))
            return
        self.desk.choose_a(rows[0].id)
        self.areas.collection.list.select_id(rows[0].id)
        if len(ids) > 1:
            more = counted(len(ids) - 1, "more patch", "more patches")
            self.desk.told.emit(Told(f"“{step.label}” changed {quoted(rows[0].name)} and {more}."))
