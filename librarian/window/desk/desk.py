"""The desk: what is searched, chosen, compared; every intent of the person as one method; no widgets.

Widgets call these methods and show what the signals announce. Searches run on a thread of their own; conversations
run on the instruments' threads; what writes the library runs on one worker, each edit one step of undo.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Literal

from PySide6.QtCore import QObject, QTimer, Signal

from librarian.collection import ChangedLibrary, Found, Library
from librarian.errors import Cancelled, LibrarianError, OutsideProblem
from librarian.messages import Version
from librarian.transfer import Captured, Recalled, Verified, can_be_read, refusal
from librarian.transfer.before import NotKept
from librarian.transfer.connections import Connections
from librarian.window import only_to_read
from librarian.window.collection.state import Completion
from librarian.window.desk.asker import Asker
from librarian.window.desk.captures import Captures
from librarian.window.desk.choice import Choice, Side
from librarian.window.desk.choosing import Choosing
from librarian.window.desk.editing import Editing
from librarian.window.desk.groups import Group, grouped
from librarian.window.desk.instruments import Instruments, now
from librarian.window.desk.link import LineChanged
from librarian.window.desk.present import cannot_send
from librarian.window.desk.recalls import Before, Recalls
from librarian.window.desk.results import offered
from librarian.window.desk.standing import Standing
from librarian.window.desk.told import Told
from librarian.window.desk.work import Work
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import quoted
from librarian.wire.cable import CableLost

_WATCH_MS = 700
RECALL_UNKEPT = ButtonSpec("recall_unkept", "Recall all the same")
Order = Literal["name", "time", "instrument", "match", "group tag", "group instrument"]


@dataclass(frozen=True)
class Answer:
    """One result of a search with the counts of tags in it, and its `groups` where they are wanted."""

    found: Found
    tags: tuple[tuple[str, int], ...]
    all_tags: int
    order: str = "name"
    groups: tuple[Group, ...] = ()


@dataclass(frozen=True)
class Past:
    """How the library stood at `stamp`: what undo would take back and redo do again, '' for nothing."""

    stamp: int
    undo: str
    redo: str


class Desk(Choosing, Editing, QObject):
    """The window's state. `answered`: a search ended (Answer). `chosen`: A, B or their content changed.

    `told` (Told) says something at the foot of the list; `edited`: the library changed, by us or by another program.
    """

    answered = Signal(object)
    completed = Signal(object)
    chosen = Signal()
    told = Signal(object)
    edited = Signal()
    named = Signal(int)

    def __init__(self, library: Library, connections: Connections, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.library = library
        self.work = Work(self)
        self.work.failed.connect(self.trouble)
        self.instruments = Instruments(library, connections, self)
        if not library.only_to_read:
            self.instruments.learnt.connect(self.work.edit)
        self.instruments.captured.connect(self._captured)
        self.instruments.recalled.connect(self._recalled)
        self.instruments.compared.connect(self._compared)
        self.instruments.failed.connect(self._failed)
        self._asker = Asker(self)
        self._asker.answered.connect(self._found)
        self._asker.failed.connect(lambda _number, problem: self.trouble(problem))
        self._completer = Asker(self)
        self._completer.answered.connect(lambda _number, found: self.completed.emit(found))
        self._completer.failed.connect(lambda _number, problem: self.trouble(problem))
        self.text = ""
        self.tags: frozenset[str] = frozenset()
        self.order: Order = "name"
        self.found: Found | None = None
        self.choice = Choice()
        self.captures = Captures(self, self._kept)
        self.recalls = Recalls(library)
        self._unkept: dict[int, Callable[[], object]] = {}
        self._go_on: Callable[[], object] | None = None
        self._not_kept: set[int] = set()
        self.past = self._read_past()
        self._changes = 0
        self._watcher = Asker(self)
        self._watcher.answered.connect(lambda _number, seen: self._seen(*seen))
        self._watcher.failed.connect(lambda _number, problem: self.trouble(problem))
        self._watch = QTimer(self)
        self._watch.setInterval(_WATCH_MS)
        self._watch.timeout.connect(self._look_for_changes)
        self._watch.start()

    def close(self) -> None:
        """End lines and questions; the library stays open for whoever opened it."""
        self._watch.stop()
        self._changes += 1  # what the watcher still finds concerns nobody
        self.instruments.close()
        self.work.close()
        self._asker.close()
        self._completer.close()
        self._watcher.close()

    def trouble(self, problem: Exception) -> None:
        """Say a problem at the foot of the list; anything that is not ours is raised."""
        if isinstance(problem, Cancelled):
            self.told.emit(Told("Cancelled.", problem.state))
            return
        if not isinstance(problem, LibrarianError):
            raise problem
        if isinstance(problem, ChangedLibrary):
            # One that is only read stays as it was opened; it is not asked for ever whether it is itself again.
            self._watch.stop()
            self.told.emit(Told(str(problem), problem.hint, trouble=True, also=(only_to_read.OPEN_AGAIN,)))
            return
        self.told.emit(Told(str(problem), problem.hint, trouble=True))

    @contextmanager
    def reading(self) -> Iterator[None]:
        """The library is read in the block, on the window's own thread: what cannot be read is said, and left out."""
        try:
            yield
        except LibrarianError as problem:
            self.trouble(problem)

    # -- finding ---------------------------------------------------------------------------------------------------

    def search(self, text: str | None = None, tags: frozenset[str] | None = None, order: Order | None = None) -> None:
        """Look for this; what is not given stays as it was."""
        self.text = self.text if text is None else text
        self.tags = self.tags if tags is None else tags
        self.order = self.order if order is None else order
        line, chosen, by = self.text, tuple(sorted(self.tags)), self.order

        def question() -> Answer:
            group = by.removeprefix("group ") if by.startswith("group ") else ""
            found = self.library.find(line, tags=chosen, order="name" if group else by)  # type: ignore[arg-type]
            counts = tuple(self.library.tag_counts(found))
            groups = grouped(self.library, group, found) if group else ()
            return Answer(found, counts, len(self.library.tag_counts()), by, groups)

        self._asker.ask(question)

    def complete(self, text: str) -> None:
        """Ask what the line could become; `completed` tells (a tuple of Completion)."""

        def question() -> tuple[Completion, ...]:
            return offered(text, self.library.complete(text)) if text.strip() else ()

        self._completer.ask(question)

    def _found(self, _number: int, answer: object) -> None:
        assert isinstance(answer, Answer)
        self.found = answer.found
        self.answered.emit(answer)

    def _look_for_changes(self) -> None:
        changes, stamp = self._changes, self.past.stamp

        def question() -> tuple[int, Past | None]:
            return changes, self._read_past() if self.library.stamp() != stamp else None

        self._watcher.ask(question)

    def _seen(self, changes: int, past: Past | None) -> None:
        """What another program made of the library, asked after so many changes of our own; None: nothing."""
        if past is not None and changes == self._changes:
            self.past = past
            self._after_change()

    def changed_by_us(self, past: Past | None = None) -> None:
        """The library was changed by this window: read again what is shown. `past`: read after that change."""
        self._changes += 1
        with self.reading():
            self.past = self._read_past() if past is None else past
        self._after_change()

    def _read_past(self) -> Past:
        library = self.library
        return Past(library.stamp(), library.undo_label() or "", library.redo_label() or "")

    def _after_change(self) -> None:
        with self.reading():
            self.instruments.load()
            self._read_choice_again()
        self.search()
        self.edited.emit()

    # -- with instruments ------------------------------------------------------------------------------------------

    def capture(self, *, as_version_of_a: bool = False, by_hand: bool = False) -> None:
        """Capture from the instrument that the chain shows; kept at once, as a patch or as a new version of A."""
        current = self.instruments.current
        if current is None:
            return
        a, into = self.choice.a, None
        if as_version_of_a and a is not None and a.patch is not None and a.patch.instrument == current:
            into = a.patch.id
        if by_hand:
            self.instruments.capture_by_hand(current, into)
        else:
            self.instruments.capture(current, into)

    def recall(self, *, slower: bool = False, whole: bool = False, with_setup: bool = False) -> None:
        """Recall B if two sounds are compared, else A, to the instrument that it belongs to.

        `whole`: send what is there already as well; `with_setup`: the set-up parameters too.
        """
        side = self.choice.b if self.choice.comparing else self.choice.a
        if side is None or side.patch is None or side.version is None:
            return
        instrument = side.patch.instrument
        standing = self.instruments.standings.get(instrument)
        if standing is None:
            return
        if self.instruments.under_way(instrument, "recall"):
            self.told.emit(Told("Another transfer is under way."))
            return
        self.instruments.choose(instrument)
        self._tell_not_kept(standing, side.content, with_setup=with_setup)
        self._send(side, slower=slower, whole=whole, with_setup=with_setup)

    def _send(
        self, side: Side, *, slower: bool = False, whole: bool = False, with_setup: bool = False, unkept: bool = False
    ) -> None:
        assert side.patch is not None
        assert side.version is not None
        instrument, name = side.patch.instrument, side.name
        standing = self.instruments.standings[instrument]
        again = partial(self._send, side, slower=slower, whole=whole, with_setup=with_setup, unkept=True)
        self._unkept[instrument], self._go_on = again, None
        self.instruments.recall(
            instrument, side.patch.id, side.version.id, name, side.content, slower=slower, whole=whole,
            with_setup=with_setup,
            keep_before=self.recalls.begin(
                instrument, standing.chart, name, with_setup=with_setup, unkept=unkept
            ),
        )

    @property
    def can_recall_unkept(self) -> bool:
        """True after a recall was not begun because what is in the instrument could not be kept."""
        return self._go_on is not None

    def recall_unkept(self) -> None:
        """Go on with the recall that was not begun, though what it replaces cannot be kept; undo has it for now."""
        go_on, self._go_on = self._go_on, None
        if go_on is not None:
            go_on()

    def _tell_not_kept(self, standing: Standing, content: Version, *, with_setup: bool) -> None:
        """Once for each instrument: what a recall to it replaces is not kept. Not where it replaces nothing."""
        line, name = self.instruments.line(standing.row.id), standing.row.name
        readable = line is None or can_be_read(line)
        if standing.row.id in self._not_kept or (readable and not self.library.only_to_read):
            return
        if line is not None and not readable and refusal(line, content, with_setup=with_setup) is not None:
            return
        self._not_kept.add(standing.row.id)
        if readable:
            self.told.emit(only_to_read.recalling(name))
            return
        self.told.emit(Told(
            f"{name} cannot be read: what is in it now is not kept.",
            "A recall to it cannot be taken back. Capture by hand first what shall not be lost.",
        ))

    def undo_recall(self) -> None:
        """Write back what was captured before the last recall; what was played since is kept first."""
        last = self.recalls.last
        if last is None:
            return
        standing = self.instruments.standings.get(last.instrument)
        reason = cannot_send("The instrument", standing)
        if reason or standing is None:
            self.told.emit(Told(reason))
            return
        if self.instruments.under_way(last.instrument, "recall"):
            return
        self._put_back(last)

    def _put_back(self, back: Before, *, unkept: bool = False) -> None:
        standing = self.instruments.standings[back.instrument]
        self._unkept[back.instrument], self._go_on = partial(self._put_back, back, unkept=True), None
        self.instruments.recall(
            back.instrument, 0, 0, f"what was there before {quoted(back.over)}", back.content,
            with_setup=back.with_setup, keep_before=self.recalls.begin_undo(back, standing.chart, unkept=unkept),
        )

    @property
    def can_undo_recall(self) -> bool:
        """True while nothing was done since a recall before which the instrument could be read."""
        return self.recalls.last is not None

    def compare_with_instrument(self) -> None:
        """Read what A's instrument holds and show it as B; nothing is written."""
        a = self.choice.a
        if a is not None and a.patch is not None and a.version is not None:
            self.instruments.compare(a.patch.instrument, a.patch.id, a.version.id, a.name, a.content)

    def _captured(self, instrument: int, result: object, into: int | None) -> None:
        assert isinstance(result, Captured)
        self.captures.take(self.instruments.standings[instrument], result, into, now())

    def _kept(self, side: Side, new: bool) -> None:
        """A captured sound is in the library, as a new patch or as a version."""
        with self.reading():
            self._set(self._with_a(side))
        if new and side.patch is not None:
            self.named.emit(side.patch.id)

    def _recalled(self, instrument: int, result: object, _patch: int, _version: int) -> None:
        assert isinstance(result, Recalled)
        self.recalls.ended(instrument)
        self._unkept.pop(instrument, None)
        self.chosen.emit()

    def _compared(self, instrument: int, result: object, patch: int, version: int) -> None:
        assert isinstance(result, Verified)
        if result.proof is None:
            return
        a = self.choice.a
        if a is None or a.patch is None or a.patch.id != patch or a.version is None or a.version.id != version:
            return
        standing = self.instruments.standings[instrument]
        read = result.proof.read
        chart = standing.chart
        unknown = frozenset(name for name in chart.parameters if name not in read)
        content = Version(chart=chart.id, revision=chart.revision, values=read, unknown=unknown)
        with self.reading():
            self._set(self._beside(self.choice, Side(f"{standing.row.name} now", content)))

    def _failed(self, instrument: int, what: str, problem: Exception) -> None:
        if what == "recall":
            self.recalls.broke_off(instrument)
            again = self._unkept.pop(instrument, None)
            if isinstance(problem, NotKept):
                self._go_on = again
                name = self.instruments.standings[instrument].row.name
                self.told.emit(Told(
                    f"{problem} {problem.hint}".strip(),
                    f"If you go on, undo brings back what is in {name} until the window is closed or another sound "
                    "is recalled.",
                    trouble=True, also=(RECALL_UNKEPT,),
                ))
                self.chosen.emit()
                return
        # The chain has other things to say soon: that the ports are gone, that they are back, of another instrument.
        elsewhere = instrument != self.instruments.current and isinstance(problem, LibrarianError)
        # Nor has it room for which programs are new and where what was there before is kept.
        account = what == "restore" and isinstance(problem, OutsideProblem)
        if what != "identify" and (isinstance(problem, (CableLost, LineChanged)) or elsewhere or account):
            first = f"{self.instruments.standings[instrument].title(what)} was broken off."
            self.told.emit(Told(f"{first} {problem}", getattr(problem, "hint", ""), trouble=True))
        self.chosen.emit()
