"""Running a bring-up from the window: the caution first, progress in the chain, then the report, saved or compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog

from librarian.chart import Chart
from librarian.errors import Cancelled, LibrarianError, OutsideProblem
from librarian.messages import Version
from librarian.transfer.before import NotKept, before_bring_up
from librarian.transfer.bringup import (
    Changes,
    Finding,
    Report,
    as_html,
    as_junit,
    as_text,
    bring_up,
    changes,
    load,
    save,
)
from librarian.window.areas import Areas
from librarian.window.bringup.drawer import MEMORY, BringUpDrawer, Scope, bytes_of
from librarian.window.desk.desk import Desk
from librarian.window.desk.present import capture_reason
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.spec import ButtonSpec

KINDS = ("Report to compare with later (*.json);;Text (*.txt);;Page (*.html);;JUnit XML, for continuous integration "
         "(*.xml)")
Before = Callable[[int, Callable[[], None]], None]


class _Loses(NotKept):
    """What is in the instrument cannot even be read. Who goes on with what is not kept has not agreed to that."""


Agreed = frozenset[type[NotKept]]


class BringUp(Hand):
    """The bring-up of the instrument that the chain shows. `caution` asks for the monitors first."""

    name = "bring-up"
    changing = frozenset({"run", "run_unkept"})
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, caution: Before, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self._caution = caution
        self.report: Report | None = None
        self.changes: Changes | None = None
        self._shown: Sequence[Finding] = ()
        self._scope: Scope = "all"
        self._write = False
        self._instrument = 0
        self._go_on: dict[int, Agreed] = {}
        """Instrument -> what its last run was not begun for, and what was agreed to before."""

    def make(self) -> BringUpDrawer:
        made = BringUpDrawer(self.look)
        made.scope.chosen.connect(self._take_scope)
        made.memory.chosen.connect(self._take_memory)
        made.list.current_changed.connect(self._look_at)
        self.desk.instruments.changed.connect(lambda _instrument: self._buttons() if self.is_open else None)
        return made

    @property
    def sheet(self) -> BringUpDrawer:
        """The drawer."""
        assert isinstance(self.drawer, BringUpDrawer)
        return self.drawer

    def load(self) -> None:
        standing = self.desk.instruments.standing
        sheet = self.sheet
        sheet.memory.show_segments(MEMORY, "write" if self._write else "leave")
        if self.report is None:
            sheet.title.say("Bring-up")
            sheet.scope.hide()
            if standing is None:
                sheet.say("No instrument is connected.")
            else:
                sheet.say(
                    f"Proves {standing.row.name} against chart revision {standing.chart.revision}.",
                    "Every parameter is sent and read back at its ends, its middle and some values; then identity, "
                    "timing, running status, and dumps that are wrong. What is in it now is put back at the end. It "
                    "takes minutes.",
                )
        else:
            self._shown = sheet.show_report(self.report, self.changes, self._scope)
            self._look_at(0)
        self._buttons()

    def _buttons(self) -> None:
        """What works now; after a run that was not begun because of what would be lost, to run all the same."""
        standing = self.desk.instruments.standing
        reason = capture_reason(standing)
        if not reason and standing is not None and not standing.ready:
            reason = f"{standing.row.name} has not answered yet."
        none = "" if self.report is not None else "There is no report yet."
        waits = self.desk.instruments.current in self._go_on
        unkept = (ButtonSpec("run_unkept", "Run all the same", reason=reason),) if waits else ()
        self.sheet.show_buttons(
            *unkept, ButtonSpec("run", "Run again" if self.report is not None else "Run", primary=True, reason=reason),
            ButtonSpec("save", "Save…", reason=none), ButtonSpec("compare", "Compare with…", reason=none),
        )

    def _take_scope(self, scope: str) -> None:
        self._scope = scope  # type: ignore[assignment]
        self.load()

    def _take_memory(self, choice: str) -> None:
        self._write = choice == "write"
        self.sheet.memory.show_segments(MEMORY, choice)
        if self._write:
            self.desk.told.emit(Told(
                "One program of its memory will be written over and put back.",
                "Back the memory up first if it matters to you.",
            ))

    def _look_at(self, row: int) -> None:
        if row < len(self._shown):
            self.sheet.bytes.setPlainText(bytes_of(self._shown[row]))

    def do(self, button: str) -> None:
        instrument = self.desk.instruments.current
        if button == "run" and instrument is not None:
            self._caution(instrument, lambda: self.run(instrument))
        elif button == "run_unkept" and instrument is not None:
            agreed = self._go_on.get(instrument, frozenset())
            self._caution(instrument, lambda: self.run(instrument, agreed))
        elif button == "save":
            self._choose_place()
        elif button == "compare":
            name, _kind = QFileDialog.getOpenFileName(
                self.areas, "Compare with an earlier report", "", "Bring-up reports (*.json)"
            )
            if name:
                self.compare(Path(name))

    def run(self, instrument: int, agreed: Agreed = frozenset()) -> None:
        """Have the conversation; minutes, with progress and cancel in the chain. `agreed`: what may go unkept or lost.

        A program of the memory that cannot be kept is not written; the report says so.
        """
        write = self._write
        self._go_on.pop(instrument, None)
        keep = before_bring_up(self.desk.library, instrument, self.desk.instruments.standings[instrument].chart)

        def keep_before(place: str, before: Version) -> None:
            try:
                keep(place, before)
            except LibrarianError as problem:
                if place or NotKept not in agreed:
                    said = f"What is in the instrument now could not be kept, so it was not replaced. {problem}"
                    raise NotKept(said, problem.hint) from problem

        def lose(what: str) -> None:
            if _Loses not in agreed:
                raise _Loses(what, "Capture by hand first what shall not be lost.")

        self.desk.instruments.converse(
            instrument, "bring-up", "",
            lambda line, cancel, progress: bring_up(
                line, write_memory=write, keep_before=keep_before, lose=lose, cancel=cancel, progress=progress
            ),
            lambda report: self._ran(instrument, report), lambda problem: self._failed(instrument, problem, agreed),
        )

    def _ran(self, instrument: int, report: object) -> None:
        assert isinstance(report, Report)
        earlier, self.report = self.report, report
        same = earlier is not None and (earlier.instrument, earlier.chart) == (report.instrument, report.chart)
        self._instrument = instrument
        self.changes = changes(report, earlier, self._chart()) if same and earlier is not None else None
        self._scope = "failed" if report.of("failed") else "all"
        failed = len(report.of("failed"))
        standing = self.desk.instruments.standings.get(instrument)
        if standing is not None:
            standing.told(
                mark="different" if failed else "question" if report.unproved else "agrees",
                plate=f"{len(report.of('passed'))} passed, {failed} failed",
                first=f"{report.instrument} was proved against its chart:",
                rest=" ".join(words for words in (f"{report.sentence}.", report.open, report.restored) if words),
                report=True,
            )
        if self.is_open:
            self.load()

    def _chart(self) -> Chart | None:
        """The chart that the report was held against, if the instrument has that one still."""
        standing = self.desk.instruments.standings.get(self._instrument)
        if standing is None or self.report is None:
            return None
        same = (standing.chart.id, standing.chart.revision) == (self.report.chart, self.report.revision)
        return standing.chart if same else None

    def _failed(self, instrument: int, problem: Exception, agreed: Agreed) -> None:
        if isinstance(problem, NotKept):
            self._go_on[instrument] = agreed | {type(problem)}
        if isinstance(problem, Cancelled):
            self.sheet.say("The bring-up was cancelled.", problem.state)
        else:
            self.sheet.say(str(problem), getattr(problem, "hint", ""))
        self._buttons()

    def compare(self, path: Path) -> None:
        """Lay a saved report beside this one."""
        if self.report is None:
            return
        try:
            self.changes = changes(self.report, load(path), self._chart())
        except LibrarianError as problem:
            self.desk.trouble(problem)
            return
        self.load()

    def _choose_place(self) -> None:
        name, _kind = QFileDialog.getSaveFileName(self.areas, "Save the report", "bring-up.json", KINDS)
        if name:
            self.save_to(Path(name))

    def save_to(self, path: Path) -> None:
        """Write the report: .json to be compared with later, .html, .xml for JUnit, any other name as text."""
        report = self.report
        if report is None:
            return
        kind = path.suffix.lower()
        try:
            if kind == ".json":
                save(report, path)
            else:
                made = as_html(report, self.changes) if kind in {".html", ".htm"} else (
                    as_junit(report, self.changes) if kind == ".xml" else as_text(report, self.changes))
                _write(path, made)
        except LibrarianError as problem:
            self.desk.trouble(problem)
        else:
            self.desk.told.emit(Told(f"The report is saved as {path.name}."))


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise OutsideProblem(f"{path} could not be written: {error.strerror}.", "Choose another place.") from error
