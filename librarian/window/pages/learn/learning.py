"""Learning from the window: opens the ports, leads through the sheets, writes the chart and opens the instrument."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import cast

from PySide6.QtCore import QObject, QStandardPaths, QTimer, Signal
from PySide6.QtWidgets import QFileDialog

from librarian.chart import Chart, loads
from librarian.chart.learn import BLANK
from librarian.chart.learn.dumps import DumpLearner, dials_of
from librarian.chart.learn.writing import slug, with_revision
from librarian.collection import Library
from librarian.errors import BadInput, LibrarianError, OutsideProblem, Refused
from librarian.files.syx import write_whole
from librarian.transfer.connections import Connections
from librarian.window.desk.asker import Asker
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.pages.learn.begin import Begun
from librarian.window.pages.learn.listening import Listening
from librarian.window.pages.learn.page import LearnPage
from librarian.window.pages.learn.panelsheet import Named
from librarian.window.pages.learn.subjects import DumpSubject, DumpView, PanelSubject, PanelView
from librarian.window.paint.look import Look
from librarian.window.words import quoted
from librarian.wire import universal
from librarian.wire.cable import Cable
from librarian.wire.ports import Port
from librarian.wire.process import SystemState

_LOOK_MS = 1000


class Learning(QObject):
    """`opened`: the page wants to be shown; `finished`: it is done with. `active` in between."""

    opened = Signal()
    finished = Signal()

    def __init__(self, look: Look, desk: Desk, connections: Connections, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.page = LearnPage(look)
        self.active = False
        self._desk, self._connections = desk, connections
        self._ports: tuple[Port, ...] = ()
        self._begun = Begun("", "", "", "")
        self._existing = ""
        self._panel: PanelSubject | None = None
        self._dumps: DumpSubject | None = None
        self._listening: Listening | None = None
        self._looker: Asker | None = None
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look)
        page = self.page
        page.left.connect(self.leave)
        page.begin.pressed.connect(self._pressed)
        page.panel.pressed.connect(self._pressed)
        page.dumps.pressed.connect(self._pressed)
        page.panel.named.connect(self._name)
        page.panel.left_out.connect(self._leave_out)
        page.dumps.told.connect(self._told_text)

    # -- from opening to closing -----------------------------------------------------------------------------------

    def begin(self) -> None:
        """Open the page at its beginning; a session that runs is shown again as it is."""
        if not self.active:
            self.active = True
            folder = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation)
            self.page.begin.begin(Path(folder))
            self.page.show_sheet(self.page.begin)
            if self._looker is None:
                self._looker = Asker(self)
                self._looker.answered.connect(self._looked)
                self._looker.failed.connect(lambda _number, problem: self._say_at_begin(problem))
            self._timer.start()
            self._look()
        self.opened.emit()
        self.page.take_focus()

    def leave(self) -> None:
        """Close the page; what was not written is forgotten."""
        self._stop()
        self.active = False
        self.finished.emit()

    def close(self) -> None:
        """End the threads."""
        self._stop()
        if self._looker is not None:
            self._looker.close()

    def _stop(self) -> None:
        self._timer.stop()
        if self._listening is not None:
            self._listening.close()
            self._listening.deleteLater()
            self._listening = None
        self._panel = self._dumps = None

    def _look(self) -> None:
        if self._looker is not None:
            self._looker.ask(lambda: (self._connections.ports(), self._connections.system()))

    def _looked(self, _number: int, found: object) -> None:
        ports, system = cast("tuple[tuple[Port, ...], SystemState]", found)
        if self._listening is not None:
            return
        if ports != self._ports:
            self._ports = ports
        self.page.begin.show_ports(self._offered("out"), self._offered("in"))
        if not ports:
            self.page.begin.say(system.sentence or "No MIDI port was found. Plug in an interface; this looks again.")

    def _offered(self, direction: str) -> list[tuple[str, str]]:
        return [(port.fingerprint, port.name) for port in self._ports if port.direction == direction]

    def _say_at_begin(self, problem: LibrarianError) -> None:
        self.page.begin.say(f"{problem} {problem.hint}".strip())

    # -- what is pressed -------------------------------------------------------------------------------------------

    def _pressed(self, name: str) -> None:
        acts: dict[str, Callable[[], object]] = {
            "listen": self._listen, "file": self._choose_file, "leave": self.leave, "write": self.write,
            "dumps": self._to_dumps, "panel": self._to_panel, "ask": self._ask, "skip": self._skip,
            "back": self._back,
        }  # fmt: skip
        acts[name]()

    def _choose_file(self) -> None:
        before = self.page.begin.begun.file
        name, _kind = QFileDialog.getSaveFileName(
            self.page, "Chart of the instrument", before, "Charts (*.toml)",
            options=QFileDialog.Option.DontConfirmOverwrite,
        )  # fmt: skip
        if name:
            self.page.begin.show_file(name if name.endswith(".toml") else f"{name}.toml")

    def _listen(self) -> None:
        begun = self.page.begin.begun
        try:
            self._existing = _read(Path(begun.file))
            known = _chart(self._existing, Path(begun.file)) if self._existing else None
        except LibrarianError as problem:
            self._say_at_begin(problem)
            return
        self._begun = begun
        self._panel, self._dumps = PanelSubject(known), None
        listening = self._listening = Listening(partial(self._open, begun), self._panel, self)
        listening.opened.connect(self._heard_open)
        listening.told.connect(self._show)
        listening.thinking.connect(self._thinking)
        listening.refused.connect(self._refused)
        listening.lost.connect(self._lost)
        self._timer.stop()
        self.page.begin.say("Opening the ports…")
        listening.start()

    def _open(self, begun: Begun) -> Cable:
        """On the listening thread."""
        ports = self._connections.ports()
        there = {port.fingerprint: port for port in ports}
        output, input_ = there.get(begun.output), there.get(begun.input)
        if output is None or input_ is None:
            raise OutsideProblem("A port that was chosen is gone.", "Plug its interface in, then listen again.")
        return self._connections.open_ports(output, input_, loads(BLANK)).cable

    def _heard_open(self) -> None:
        assert self._listening is not None
        self._send(universal.identity_request())
        self.page.panel.begin()
        known = "" if not self._existing else f"Added to {Path(self._begun.file).name}: what it explains is not heard."
        self.page.show_sheet(self.page.panel, f"Learning {self._name_of_model()} from its panel.", known)

    def _name_of_model(self) -> str:
        return self._begun.name or Path(self._begun.file).stem

    # -- panel -----------------------------------------------------------------------------------------------------

    def _show(self, view: object) -> None:
        if isinstance(view, PanelView):
            self.page.panel.show_view(view)
        elif isinstance(view, DumpView):
            self.page.dumps.show_view(view)

    def _name(self, said: Named) -> None:
        subject = self._panel
        if subject is not None and self._listening is not None:
            self._listening.do(lambda _cable: subject.learner.name(said.key, said.naming))

    def _leave_out(self, key: int) -> None:
        subject = self._panel
        if subject is not None and self._listening is not None:
            self._listening.do(lambda _cable: subject.learner.leave_out(key))

    def _to_panel(self) -> None:
        if self._listening is not None and self._panel is not None:
            self._listening.change(self._panel)
            self.page.show_sheet(self.page.panel, f"Learning {self._name_of_model()} from its panel.")

    def _thinking(self, sentence: str) -> None:
        self.page.dumps.say(sentence)

    def _refused(self, problem: LibrarianError) -> None:
        if self.page.sheets.currentWidget() is self.page.dumps:
            self.page.dumps.say(str(problem), problem.hint)
        else:
            self.page.panel.say(f"{problem} {problem.hint}".strip())

    def _lost(self, problem: LibrarianError) -> None:
        """The ports did not open, or the cable is gone. What was learnt stays and can be written."""
        at_begin = self.page.sheets.currentWidget() is self.page.begin
        if at_begin:
            self._stop()
            self._timer.start()
            self._say_at_begin(problem)
        else:
            self._refused(problem)

    # -- dumps -----------------------------------------------------------------------------------------------------

    def _to_dumps(self) -> None:
        """The controls that have names, and those of the chart that is added to, are looked for in dumps."""
        subject, begun, listening = self._panel, self._begun, self._listening
        if listening is None or subject is None:
            return
        if self._dumps is not None:
            listening.change(self._dumps)
            self.page.show_sheet(self.page.dumps, f"Learning the dumps of {self._name_of_model()}.")
            return

        def prepared(_cable: Cable | None) -> DumpSubject:
            chart = loads(_panel_text(subject, self._existing, begun), Path(begun.file).name)
            return DumpSubject(DumpLearner(dials_of(chart), names=True), chart)

        listening.do(prepared, self._dumps_prepared)

    def _dumps_prepared(self, subject: DumpSubject) -> None:
        if self._listening is None:
            return
        self._dumps = subject
        self.page.dumps.begin()
        self._listening.change(subject)
        self.page.show_sheet(self.page.dumps, f"Learning the dumps of {self._name_of_model()}.")

    def _ask(self) -> None:
        text = self.page.dumps.request.edit.text()
        try:
            raw = _sysex(text)
        except BadInput as problem:
            self.page.dumps.say(str(problem), problem.hint)
            return
        self._send(raw)

    def _send(self, raw: bytes) -> None:
        def send(cable: Cable | None) -> None:
            if cable is None:
                raise Refused("The cable is lost; nothing can be sent.", "Leave this page and begin again.")
            cable.send(raw)

        if self._listening is not None:
            self._listening.do(send)

    def _skip(self) -> None:
        subject = self._dumps
        if subject is not None and self._listening is not None:
            self._listening.do(lambda _cable: subject.skip())

    def _back(self) -> None:
        subject = self._dumps
        if subject is not None and self._listening is not None:
            self._listening.do(lambda _cable: subject.take_back())

    def _told_text(self, text: str) -> None:
        subject = self._dumps
        if subject is not None and self._listening is not None:
            self._listening.do(lambda _cable: subject.told(text))

    # -- writing ---------------------------------------------------------------------------------------------------

    def write(self) -> None:
        """Write the chart, add the instrument to the library (or its new revision), and open it."""
        panel, dumps, begun, existing = self._panel, self._dumps, self._begun, self._existing
        if panel is None or self._listening is None:
            return
        text = self.page.dumps.request.edit.text().strip()
        try:
            request = _sysex(text) if text else None
        except BadInput as problem:
            self._refused(problem)
            return
        library = self._desk.library

        def made(_cable: Cable | None) -> tuple[str, tuple[str, ...]]:
            text = _panel_text(panel, existing, begun)
            if dumps is None or len(dumps.learner.evidence.shots) < 2:
                return text, ()
            device = panel.learner.identity.device if panel.learner.identity is not None else None
            return dumps.learner.chart_text(text, request=request, device=device), dumps.learner.notes

        def keep(result: tuple[str, tuple[str, ...]]) -> None:
            text, notes = result
            self._desk.work.run(
                lambda _cancel, _progress: (*_kept(library, text, begun), notes),
                title="Writing the chart", then=self._written, otherwise=self._not_written,
                kept="the chart is written whole or not at all",
            )  # fmt: skip

        self._listening.do(made, keep)

    def _written(self, result: tuple[int, Chart, tuple[str, ...]]) -> None:
        instrument, chart, notes = result
        sentence = f"{chart.name} is described by {quoted(self._begun.file)}: {len(chart.parameters)} parameters."
        self._stop()
        self.active = False
        self._desk.changed_by_us()
        self._desk.instruments.choose(instrument)
        self._desk.told.emit(Told(" ".join([sentence, *notes]), undo=self._desk.past.undo))
        self.finished.emit()

    def _not_written(self, problem: Exception) -> None:
        if isinstance(problem, LibrarianError):
            self._refused(problem)


def _panel_text(subject: PanelSubject, existing: str, begun: Begun) -> str:
    """The chart with the controls that were named; the one that exists, where no new one was."""
    learner = subject.learner
    if existing and not any(one.label for one in learner.controls()):
        return existing
    name = begun.name or Path(begun.file).stem
    return learner.chart_text(id=slug(name), name=name, existing=existing)


def _kept(library: Library, text: str, begun: Begun) -> tuple[int, Chart]:
    """Write the file, then take the chart into the library: a new instrument, or the one there is described anew."""
    path = Path(begun.file)
    chart = _chart(text, path)
    there = [revision for name, revision, _ in library.charts() if name == chart.id]
    if chart.revision in there and library.chart_text(chart.id, chart.revision) != text:
        text = with_revision(text, max(there) + 1)
        chart = _chart(text, path)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, [text.encode()], replace=True)
    row = next((one for one in library.instruments() if one.chart == chart.id and one.output == begun.output), None)
    if row is not None:
        library.update_instrument(row.id, chart=chart)
        return row.id, chart
    name = begun.name or chart.name
    return library.add_instrument(chart, name, chart.default_address, begun.output, begun.input), chart


def _chart(text: str, path: Path) -> Chart:
    return loads(text, path.name, folder=path.parent)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8") if path.exists() else ""
    except (OSError, UnicodeDecodeError) as wrong:
        raise OutsideProblem(f"{path} cannot be read.", "Choose a text file, or a new one.") from wrong


def _sysex(text: str) -> bytes:
    try:
        raw = bytes.fromhex(text)
    except ValueError as wrong:
        raise BadInput(f"{quoted(text)} is not hexadecimal.", "Write bytes such as F0 7D 10 11 F7.") from wrong
    if len(raw) < 3 or raw[0] != 0xF0 or raw[-1] != 0xF7 or not raw[1:-1].isascii():
        raise BadInput("The request is no whole SysEx message.", "It begins with F0 and ends with F7.")
    return raw
