"""The instruments of the library with their lines: who is connected, what is under way, how it ended.

No widgets here. Each instrument has a `Standing` (facts) and a `Link` (thread); this object lives on the window's
thread and turns what links report into facts, and says so by signals.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import cache

from PySide6.QtCore import QObject, QTimer, Signal

from librarian.chart import Chart, loads
from librarian.collection import InstrumentRow, Library
from librarian.errors import Cancelled, LibrarianError
from librarian.messages import Version
from librarian.transfer import (
    Cancel,
    Captured,
    Identified,
    Line,
    OnProgress,
    Progress,
    Recalled,
    Verified,
    capture,
    capture_by_hand,
    identify,
    panic,
    recall,
    verify,
)
from librarian.transfer.connections import Connections, is_embedded
from librarian.window.chain import transfers
from librarian.window.chain.facts import Setting
from librarian.window.chain.state import ChainState
from librarian.window.desk.about import About
from librarian.window.desk.byhand import BY_HAND, ByHand
from librarian.window.desk.learnt import Change, of_answer, of_pace
from librarian.window.desk.link import Link, Talk
from librarian.window.desk.ports import NoPortsYet, opener
from librarian.window.desk.standing import InIt, Standing, Worst, road
from librarian.wire.ports import API_NAMES

_ASK_AGAIN_MS = 5000
# Charts do not change, so one may serve all windows of the process.
_chart_of = cache(loads)


def now() -> datetime:
    """The local time, aware."""
    return datetime.now().astimezone()


class Instruments(QObject):
    """All instruments of one library. Signals carry the instrument's id first.

    `changed`: its facts are others. `captured` (id, Captured, patch or None), `recalled` (id, Recalled, patch,
    version), `compared` (id, Verified, patch, version), `failed` (id, what, exception). `listed`: instruments came or
    went.
    `learnt`: a change of the library to be made in its turn (what firmware answered, what pace worked).
    """

    changed = Signal(int)
    moved = Signal(int)
    listed = Signal()
    captured = Signal(int, object, object)
    recalled = Signal(int, object, int, int)
    compared = Signal(int, object, int, int)
    failed = Signal(int, str, object)
    learnt = Signal(object)

    def __init__(self, library: Library, connections: Connections, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._library = library
        self._connections = connections
        self.standings: dict[int, Standing] = {}
        self._links: dict[int, Link] = {}
        self._by_hand = ByHand()
        self.current: int | None = None
        self._closed = False
        self._under_way: dict[tuple[int, str], About] = {}
        self._asking = QTimer(self)
        self._asking.setInterval(_ASK_AGAIN_MS)
        self._asking.timeout.connect(self.ask_the_silent)
        self._asking.start()

    # -- which there are -------------------------------------------------------------------------------------------

    def chart(self, chart_id: str, revision: int) -> Chart:
        """The chart of a version, from the text that the library keeps. Raises LibrarianError when it has none."""
        # By its text and not its number: it may have been written further since.
        return _chart_of(self._library.chart_text(chart_id, revision), f"{chart_id}, revision {revision}")

    def load(self) -> None:
        """Read the library's instruments: open lines to new ones, close those of removed ones, reopen changed ones."""
        rows = {row.id: row for row in self._library.instruments()}
        for gone in [name for name in self.standings if name not in rows]:
            self._close(gone)
        for row in rows.values():
            known = self.standings.get(row.id)
            chart = self.chart(row.chart, row.revision)
            if known is None or road(known.row) != road(row) or known.chart is not chart:
                self._close(row.id)
                self._begin(row)
            else:
                known.row = row
                known.setting = replace(known.setting, instrument=row.name)
        if self.current not in self.standings:
            self.current = next(iter(self.standings), None)
        self._number()
        self.listed.emit()

    def _number(self) -> None:
        count = len(self.standings)
        for place, standing in enumerate(self.standings.values(), 1):
            standing.setting = replace(standing.setting, place=place, count=count)

    def choose(self, instrument: int) -> None:
        """This one is shown by the chain from now on."""
        if instrument in self.standings and instrument != self.current:
            self.current = instrument
            self.changed.emit(instrument)

    @property
    def standing(self) -> Standing | None:
        """The facts of the instrument that the chain shows."""
        return self.standings.get(self.current) if self.current is not None else None

    def chain(self) -> ChainState:
        """What the chain says of the instrument that it shows, with the worst mark of the others."""
        standing = self.standing
        assert standing is not None
        standing.setting = replace(standing.setting, others=self.others_worst())
        return standing.chain

    def others_worst(self) -> Worst:
        """The worst mark among the instruments that the chain does not show."""
        rank: tuple[Worst, ...] = ("", "unknown", "different", "alarm", "broken")
        worst = [standing.worst for name, standing in self.standings.items() if name != self.current]
        return max(worst, key=rank.index, default="")

    def busy(self, instrument: int) -> bool:
        """True while a conversation with it runs or waits."""
        link = self._links.get(instrument)
        return link is not None and link.busy

    def line(self, instrument: int) -> Line | None:
        """Its line while that is open."""
        return self._links[instrument].line if instrument in self._links else None

    def under_way(self, instrument: int, what: str) -> bool:
        """True from when this conversation was asked for until its end has been told: a key may be hit twice."""
        return (instrument, what) in self._under_way

    @property
    def conversations(self) -> Mapping[tuple[int, str], About]:
        """What was asked for and has not ended, by instrument and kind; those of the background are not in it."""
        return dict(self._under_way)

    def heard_by_hand(self, instrument: int) -> int:
        """How many controls its capture by hand has heard; 0 without one under way."""
        return self._by_hand.heard(instrument) if self.under_way(instrument, BY_HAND) else 0

    def _run(self, instrument: int, what: str, talk: Talk, about: About) -> None:
        if not self.under_way(instrument, what):
            self._under_way[instrument, what] = about
            self._links[instrument].run(what, talk)

    def close(self) -> None:
        """End every line."""
        self._closed = True
        self._asking.stop()
        for name in list(self.standings):
            self._close(name)

    def _close(self, instrument: int) -> None:
        link = self._links.pop(instrument, None)
        if link is not None:
            link.blockSignals(True)
            brought = self._by_hand.heard_so_far(instrument, link) if self.heard_by_hand(instrument) else []
            link.close()
            for what, result in [*brought, *link.take_brought()]:
                # A captured sound is never lost; whoever waits for anything else has gone with the window.
                if isinstance(result, Captured) or not self._closed:
                    self._done(instrument, what, result)
            link.deleteLater()
            if link.cut is not None and not self._closed:
                self._failed(instrument, *link.cut)
        self.standings.pop(instrument, None)
        self._under_way = {one: about for one, about in self._under_way.items() if one[0] != instrument}

    def _begin(self, row: InstrumentRow) -> None:
        chart = self.chart(row.chart, row.revision)
        setting = Setting(
            instrument=row.name, channel=row.address.channel + 1, firmware=row.firmware,
            device=row.address.device if row.address.device != 127 else None, open_ports=0,
        )
        self.standings[row.id] = Standing(row, chart, setting, transfers.asking)
        link = Link(opener(self._library, self._connections, row.id, chart), self)
        link.opened.connect(lambda: self._opened(row.id))
        link.lost.connect(lambda problem: self._lost(row.id, problem))
        link.heard.connect(lambda moves: self._heard(row.id, moves))
        link.started.connect(lambda what: self._started(row.id, what))
        link.advanced.connect(lambda _what, step: self._advanced(row.id, step))
        link.done.connect(lambda: self._brought(row.id, link))
        link.failed.connect(lambda what, problem: self._failed(row.id, what, problem))
        link.measured.connect(lambda out, back: self._measured(row.id, out, back))
        self._links[row.id] = link
        link.start()

    # -- what a person asks for ------------------------------------------------------------------------------------

    def look_again(self, instrument: int) -> None:
        """Open a lost line at once, or ask a silent instrument once more."""
        link, standing = self._links.get(instrument), self.standings.get(instrument)
        if link is None or standing is None:
            return
        link.look_again()
        if standing.open and not link.busy:
            self._ask(instrument)

    def capture(self, instrument: int, into: int | None = None) -> None:
        """Read the sound that is in it now; by hand where it cannot be asked. `into`: the patch it is a version of."""
        if all(way.kind == "hand" or not way.requested for way in self.standings[instrument].chart.ways_in):
            self.capture_by_hand(instrument, into)
        else:
            self._run(
                instrument, "capture", lambda line, cancel, progress: capture(line, cancel=cancel, progress=progress),
                About(into=into),
            )

    def capture_by_hand(self, instrument: int, into: int | None = None) -> None:
        """Listen until every control has moved, or the person says enough."""
        if self.under_way(instrument, BY_HAND):
            return  # its own `enough` is what ends it
        enough = self._by_hand.begin(instrument)
        self._run(
            instrument, BY_HAND,
            lambda line, cancel, progress: capture_by_hand(line, enough=enough, cancel=cancel, progress=progress),
            About(into=into),
        )

    def enough(self, instrument: int) -> None:
        """The person has moved what matters; the rest stays unknown."""
        self._by_hand.enough(instrument)

    def recall(
        self, instrument: int, patch: int, version: int, name: str, content: Version, *,
        slower: bool = False, whole: bool = False, with_setup: bool = False,
        keep_before: Callable[[Version], object] | None = None,
    ) -> None:
        """Bring a stored sound into the instrument and prove it."""
        about = About(name, patch, version, InIt(patch, version, name, now(), content.values))

        def talk(line: Line, cancel: Cancel, progress: OnProgress) -> Recalled:
            if slower:
                line.slower()
            return recall(
                line, content, whole=whole, with_setup=with_setup, keep_before=keep_before, cancel=cancel,
                progress=progress,
            )

        self._run(instrument, "recall", talk, about)

    def compare(self, instrument: int, patch: int, version: int, name: str, content: Version) -> None:
        """Read what is in the instrument and lay it beside a stored sound; nothing is written."""
        self._run(
            instrument, "verify",
            lambda line, cancel, progress: verify(line, content, cancel=cancel, progress=progress),
            About(name, patch, version),
        )

    def converse(
        self, instrument: int, what: str, subject: str, talk: Talk, then: Callable[[object], object],
        otherwise: Callable[[Exception], object],
    ) -> None:
        """Any other conversation: "backup", "restore", "bring-up". The chain shows it; one of the two hears the end."""
        self._run(instrument, what, talk, About(subject, then=then, otherwise=otherwise))

    def usual_pace(self, instrument: int) -> None:
        """Forget the slower pace that worked: the chart's again from the next message on."""
        if (line := self.line(instrument)) is not None:
            line.usual_pace()
        self._keep_pace(instrument)
        self.changed.emit(instrument)

    def cancel(self, instrument: int) -> None:
        """End what is under way with it."""
        if instrument in self._links:
            self._links[instrument].cancel()

    def panic(self) -> int:
        """Silence every instrument whose output is open; returns how many were told. Never waits for anything."""
        told = 0
        for link in self._links.values():
            line = link.line
            if line is not None:
                try:
                    panic(line)
                except LibrarianError:
                    # The link itself finds the lost cable and says so; the other instruments must be silenced first.
                    continue
                told += 1
        return told

    # -- what links report -----------------------------------------------------------------------------------------

    def _ask(self, instrument: int) -> None:
        self._links[instrument].run(
            "identify", lambda line, cancel, progress: identify(line, cancel=cancel, progress=progress)
        )

    def ask_the_silent(self) -> None:
        """Ask those who is there that did not answer, or were held by another program; every five seconds."""
        for name, standing in self.standings.items():
            if standing.to_be_asked_again and not self._links[name].busy:
                self._ask(name)

    def _opened(self, instrument: int) -> None:
        standing = self.standings.get(instrument)
        if standing is None:
            return
        row = standing.row
        if is_embedded(row):
            standing.line_opened("embedded cable", "embedded cable", "stand-in")
        else:
            output, input_ = row.output.split(":", 3), row.input.split(":", 3)
            standing.line_opened(output[-1], input_[-1], API_NAMES.get(output[0], output[0]))
        self._ask(instrument)
        self.changed.emit(instrument)

    def _lost(self, instrument: int, problem: LibrarianError) -> None:
        standing = self.standings.get(instrument)
        if standing is None:
            return
        if isinstance(problem, NoPortsYet):
            standing.no_ports_chosen(problem.found, problem.system, problem.any_system)
        else:
            standing.line_lost(problem, now(), system_gone=not is_embedded(standing.row) and self._system_gone())
        self.changed.emit(instrument)

    def _system_gone(self) -> bool:
        return not (system := self._connections.system()).alive or not system.apis

    def _heard(self, instrument: int, moves: object) -> None:
        standing = self.standings.get(instrument)
        if standing is not None:
            standing.heard(moves)  # type: ignore[arg-type]
            self.moved.emit(instrument)

    def _started(self, instrument: int, what: str) -> None:
        standing = self.standings.get(instrument)
        if standing is None:
            return
        if what == "identify":
            # A silent question in the background must not wipe the sentence that says what is wrong.
            if standing.asked == 0 and not standing.held_elsewhere:
                standing.asking()
            else:
                standing.asked += 1
                standing.transfer = "identify"
        else:
            standing.began(what, self._under_way.get((instrument, what), About()).subject)
        self.changed.emit(instrument)

    def _advanced(self, instrument: int, step: object) -> None:
        standing = self.standings.get(instrument)
        if standing is not None:
            assert isinstance(step, Progress)
            standing.went_on(step)
            if standing.transfer == BY_HAND:
                self._by_hand.moved(instrument, step.done)
            self.changed.emit(instrument)

    def _measured(self, instrument: int, out: float, back: float) -> None:
        standing = self.standings.get(instrument)
        if standing is None:
            return
        setting = replace(standing.setting, out_rate=out, in_rate=back)
        if setting != standing.setting:
            standing.setting = setting
            self.changed.emit(instrument)

    def _brought(self, instrument: int, link: Link) -> None:
        for what, result in link.take_brought():
            self._done(instrument, what, result)

    def _done(self, instrument: int, what: str, result: object) -> None:
        about = self._under_way.pop((instrument, what), About())
        standing = self.standings.get(instrument)
        if standing is None:
            return
        when = now()
        self._keep_pace(instrument)
        if isinstance(result, Identified):
            standing.answered(result, when)
            self._learn(of_answer(self._library, standing, result))
        elif isinstance(result, Captured):
            standing.captured(result, when)
            self.captured.emit(instrument, result, about.into)
        elif isinstance(result, Recalled):
            standing.recalled(result, about.subject, when)
            standing.now.clear()
            standing.in_it = about.in_it if result.state != "differs" else None
            self.recalled.emit(instrument, result, about.patch, about.version)
        elif isinstance(result, Verified):
            standing.recalled(result, about.subject, when)
            self.compared.emit(instrument, result, about.patch, about.version)
        else:
            standing.ended(when)
            if about.then is not None:
                about.then(result)
        self.changed.emit(instrument)

    def _failed(self, instrument: int, what: str, problem: object) -> None:
        about = self._under_way.pop((instrument, what), About())
        standing = self.standings.get(instrument)
        if standing is None or not isinstance(problem, Exception):
            return
        standing.transfer, standing.subject = what, about.subject
        if what == "identify" and isinstance(problem, Cancelled):
            standing.asked = 0
        standing.failed(problem, now())
        if what in {"recall", "bring-up"}:
            standing.in_it = None
        if about.otherwise is not None:
            about.otherwise(problem)
        self.failed.emit(instrument, what, problem)
        self.changed.emit(instrument)

    def _keep_pace(self, instrument: int) -> None:
        line, standing = self.line(instrument), self.standings.get(instrument)
        if line is not None and standing is not None:
            self._learn(of_pace(self._library, standing, line))

    def _learn(self, change: Change | None) -> None:
        if change is not None:
            self.learnt.emit(change)
