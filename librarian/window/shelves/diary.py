"""What was done in this library, newest first, day by day: "what did I do on Tuesday?"."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from PySide6.QtCore import QObject

from librarian.collection import StepRow
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.words import clock_time, counted, day

_MOST = 5000
_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_STATES = {"undone": "taken back", "dropped": "taken back for good"}


class DiaryDrawer(Drawer):
    """The steps, grouped by day; one day or all."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "What was done")
        self.days = Choice(look, "Day")
        self.list = LineList(look, "What was done, newest first")
        self.foremost = self.list
        self.padded(self.days)
        self.body.addWidget(self.list, 1)


def day_words(moment: datetime, today: datetime) -> str:
    """"Today", "Yesterday", "Tuesday, 24 Nov"."""
    days = (today.date() - moment.date()).days
    if days in {0, 1}:
        return ("Today", "Yesterday")[days]
    return f"{_WEEK[moment.weekday()]}, {day(moment, today)}"


def day_lines(steps: Sequence[StepRow], today: datetime) -> list[Line]:
    """Steps, newest first, with a heading for each day."""
    made: list[Line] = []
    last = ""
    for step in steps:
        local = step.at.astimezone()
        title = day_words(local, today)
        if title != last:
            made.append(Line(title, heading=True))
            last = title
        state = _STATES.get(step.state, "")
        count = counted(step.patches, "patch", "patches") if step.patches else ""
        made.append(Line(step.label, " · ".join(part for part in (clock_time(local), count, state) if part),
                         mark=None if step.state == "done" else "changed", says=state))
    return made


class Diary(Hand):
    """The history of the whole collection."""

    name = "diary"

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.day = ""

    def make(self) -> DiaryDrawer:
        made = DiaryDrawer(self.look)
        made.days.chosen.connect(self._take_day)
        return made

    @property
    def sheet(self) -> DiaryDrawer:
        """The drawer."""
        assert isinstance(self.drawer, DiaryDrawer)
        return self.drawer

    def load(self) -> None:
        today = datetime.now().astimezone()
        days = [("", "Every day")]
        for back in range(14):
            moment = today - timedelta(days=back)
            days.append((moment.date().isoformat(), day_words(moment, today)))
        self.sheet.days.show_options(days, self.day)
        since = until = None
        if self.day:
            since = datetime.fromisoformat(self.day).astimezone()
            until = (datetime.fromisoformat(self.day) + timedelta(days=1)).astimezone()
        library = self.desk.library
        self.ask(lambda: library.history(since, until, _MOST), lambda steps: self._loaded(steps, today))

    def _take_day(self, chosen: str) -> None:
        self.day = chosen
        self.load()

    def _loaded(self, steps: Sequence[StepRow], today: datetime) -> None:
        self.sheet.list.show_lines(day_lines(steps, today))
        if steps:
            newest = f" The newest {_MOST} are shown." if len(steps) >= _MOST else ""
            self.sheet.say(f"{counted(len(steps), 'step')}.", f"Undo takes back the newest first.{newest}")
        else:
            self.sheet.say("Nothing was done on this day." if self.day else "Nothing was done yet.")
        if self.sheet.isVisible() and not self.sheet.days.hasFocus():
            self.sheet.list.select_row(0)
