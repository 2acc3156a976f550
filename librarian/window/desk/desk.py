"""The desk: what is searched, chosen, compared; every intent of the person as one method; no widgets.

Widgets call these methods and show what the signals announce. Searches run on a thread of their own; conversations
run on the instruments' threads; what writes the library runs on one worker, each edit one step of undo.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from PySide6.QtCore import QObject, QTimer, Signal

from librarian.chart import Chart, carry
from librarian.collection import Found, Library
from librarian.errors import Cancelled, LibrarianError, Refused
from librarian.messages import Version
from librarian.transfer import Captured, Recalled, Verified, can_be_read
from librarian.transfer.before import panel_name
from librarian.transfer.connections import Connections
from librarian.window import only_to_read
from librarian.window.collection.state import Completion
from librarian.window.desk.asker import Asker
from librarian.window.desk.choice import Choice, Side
from librarian.window.desk.editing import Editing
from librarian.window.desk.groups import Group, grouped
from librarian.window.desk.instruments import Instruments
from librarian.window.desk.link import LineChanged
from librarian.window.desk.present import cannot_send
from librarian.window.desk.recalls import Recalls
from librarian.window.desk.results import offered
from librarian.window.desk.standing import Standing
from librarian.window.desk.told import Told
from librarian.window.desk.work import Work
from librarian.window.words import quoted
from librarian.wire.cable import CableLost

_WATCH_MS = 700
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


class Desk(Editing, QObject):
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
        self._as_version_of: dict[int, int] = {}
        self.recalls = Recalls(library)
        self._not_kept: set[int] = set()
        self.past = self._read_past()
        self._changes = 0
        self._watcher = Asker(self)
        self._watcher.answered.connect(lambda _number, seen: self._seen(*seen))
        self._watcher.failed.connect(lambda _number, problem: self.trouble(problem))
        self._watch = QTimer(self)
        self._watch.setInterval(_WATCH_MS)
        self._watch.timeout.connect(self._look_for_changes)
        if not library.only_to_read:
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
        self.told.emit(Told(str(problem), problem.hint, trouble=True))

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
        self.past = self._read_past() if past is None else past
        self._after_change()

    def _read_past(self) -> Past:
        library = self.library
        return Past(library.stamp(), library.undo_label() or "", library.redo_label() or "")

    def _after_change(self) -> None:
        self.instruments.load()
        self._read_choice_again()
        self.search()
        self.edited.emit()

    # -- choosing --------------------------------------------------------------------------------------------------

    def side(self, patch: int, version: int | None = None) -> Side:
        """A patch in its latest or another version."""
        row = self.library.patch(patch)
        versions = self.library.versions(patch)
        chosen = row.latest if version is None else version
        found = next((one for one in versions if one.id == chosen), versions[-1])
        return Side(row.name, self.library.version(found.id), row, found, versions)

    def choose_a(self, patch: int | None) -> None:
        """This patch is A from now on, alone."""
        self._set(Choice() if patch is None else self._with_a(self.side(patch)))

    def choose_b(self, patch: int, version: int | None = None) -> None:
        """Lay this patch beside A; without an A it becomes A."""
        if self.choice.a is None:
            self.choose_a(patch)
        else:
            self._set(self._beside(self.choice, self.side(patch, version)))

    def end_compare(self) -> None:
        """A alone again."""
        if self.choice.a is not None:
            self._set(Choice(self.choice.a, None, self.choice.chart))

    def swap(self) -> None:
        """B becomes A, A becomes B."""
        if self.choice.a is not None and self.choice.b is not None:
            self._set(self._beside(self._with_a(self.choice.b), self.choice.a))

    @property
    def older_beside(self) -> Side | None:
        """The older version that lies beside a later one of the same patch."""
        a, b = self.choice.a, self.choice.b
        if a is None or b is None or a.patch is None or b.patch is None or b.version is None:
            return None
        return b if a.patch.id == b.patch.id and not b.latest else None

    def go_back(self) -> None:
        """The older version that lies beside its patch becomes the latest again, as a new one equal to it."""
        older = self.older_beside
        if older is not None and older.patch is not None and older.version is not None:
            self.end_compare()
            self.revert(older.patch.id, older.version.id, older.version.number)

    def match_panel(self, on: bool) -> None:
        """Let the panel lead the hand back to A, or stop."""
        a = self.choice.a
        if a is not None:
            self._set(Choice(a, None, self.choice.chart, turning=on))

    def step_version(self, step: int) -> None:
        """The next older (-1) or newer (+1) version of A as B."""
        a = self.choice.a
        if a is None or not a.versions:
            return
        ids = [one.id for one in a.versions]
        shown = self.choice.b
        at = len(ids) - 1
        if shown is not None and shown.version is not None and shown.version.id in ids:
            at = ids.index(shown.version.id)
        wanted = min(max(at + step, 0), len(ids) - 1)
        if a.patch is not None:
            if a.version is not None and ids[wanted] == a.version.id:
                self.end_compare()
            else:
                self.choose_b(a.patch.id, ids[wanted])

    def _with_a(self, side: Side) -> Choice:
        return Choice(side, None, self.instruments.chart(side.content.chart, side.content.revision))

    def _beside(self, choice: Choice, side: Side) -> Choice:
        odd, laid = "", None
        if choice.chart is not None and choice.a is not None:
            if side.content.chart != choice.chart.id:
                beside = quoted(choice.a.name)
                odd = f"{quoted(side.name)} belongs to another instrument and cannot be laid beside {beside}."
            elif side.content.revision != choice.chart.revision:
                try:
                    laid = self._by_revision(side.content, choice.chart)
                except Refused as reason:
                    odd = (
                        f"{quoted(side.name)} is kept by chart revision {side.content.revision}, "
                        f"{quoted(choice.a.name)} by revision {choice.chart.revision}. {reason} {reason.hint}"
                    )
        return Choice(choice.a, side, choice.chart, odd, laid)

    def _by_revision(self, content: Version, chart: Chart) -> Version:
        """A sound as another revision of its chart explains it; the later of the two knows how."""
        newest = self.instruments.chart(chart.id, max(content.revision, chart.revision))
        return carry(content, newest, chart.revision).version

    def _set(self, choice: Choice) -> None:
        self.choice = choice
        if choice.a is not None and choice.a.patch is not None:
            self.instruments.choose(choice.a.patch.instrument)
        self.chosen.emit()

    def _read_choice_again(self) -> None:
        """Names, tags, versions may be others now; a sound that is gone is no longer chosen."""
        a, b = self._again(self.choice.a), self._again(self.choice.b)
        if a is None:
            a, b = (b, None) if b is not None and b.patch is not None else (None, None)
        choice = Choice() if a is None else replace(self._with_a(a), turning=self.choice.turning)
        self.choice = choice if b is None else self._beside(choice, b)
        self.chosen.emit()

    def _again(self, side: Side | None) -> Side | None:
        if side is None or side.patch is None or side.version is None:
            return side
        try:
            fresh = self.side(side.patch.id, None if side.latest else side.version.id)
        except LibrarianError:
            return None
        return None if fresh.patch is None or fresh.patch.place == "trash" else fresh

    @property
    def standing_of_a(self) -> Standing | None:
        """The instrument that A belongs to."""
        a = self.choice.a
        if a is None or a.patch is None:
            return None
        return self.instruments.standings.get(a.patch.instrument)

    # -- with instruments ------------------------------------------------------------------------------------------

    def capture(self, *, as_version_of_a: bool = False, by_hand: bool = False) -> None:
        """Capture from the instrument that the chain shows; kept at once, as a patch or as a new version of A."""
        current = self.instruments.current
        if current is None:
            return
        a = self.choice.a
        self._as_version_of.pop(current, None)
        if as_version_of_a and a is not None and a.patch is not None and a.patch.instrument == current:
            self._as_version_of[current] = a.patch.id
        if by_hand:
            self.instruments.capture_by_hand(current)
        else:
            self.instruments.capture(current)

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
        self._tell_not_kept(standing)
        self.instruments.recall(
            instrument, side.patch.id, side.version.id, side.name, side.content, slower=slower, whole=whole,
            with_setup=with_setup,
            keep_before=self.recalls.begin(instrument, standing.chart, side.name, with_setup=with_setup),
        )

    def _tell_not_kept(self, standing: Standing) -> None:
        """Once for each instrument: what a recall to it replaces is not kept."""
        line, name = self.instruments.line(standing.row.id), standing.row.name
        readable = line is None or can_be_read(line)
        if standing.row.id in self._not_kept or (readable and not self.library.only_to_read):
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
        back, keep = self.recalls.begin_undo(standing.chart)
        self.instruments.recall(
            back.instrument, 0, 0, f"what was there before {quoted(back.over)}", back.content,
            with_setup=back.with_setup, keep_before=keep,
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

    def _captured(self, instrument: int, result: object) -> None:
        assert isinstance(result, Captured)
        target = self._as_version_of.pop(instrument, None)
        name = result.version.name.strip() or panel_name(result.version.taken)

        def keep() -> tuple[int, Side]:
            if target is None:
                patch = self.library.keep(instrument, name, result.version)
            else:
                patch = target
                self.library.add_version(patch, result.version)
            return patch, self.side(patch)

        def kept(made: tuple[int, Side]) -> None:
            patch, side = made
            self._set(self._with_a(side))
            if target is None:
                self.named.emit(patch)

        self.edit(keep, result.broke_off, then=kept)

    def _recalled(self, instrument: int, result: object, _patch: int, _version: int) -> None:
        assert isinstance(result, Recalled)
        self.recalls.ended(instrument)
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
        self._set(self._beside(self.choice, Side(f"{standing.row.name} now", content)))

    def _failed(self, instrument: int, what: str, problem: Exception) -> None:
        if what.startswith("capture"):
            self._as_version_of.pop(instrument, None)
        if what == "recall":
            self.recalls.broke_off(instrument)
        # The chain has other things to say soon: that the ports are gone, that they are back, of another instrument.
        elsewhere = instrument != self.instruments.current and isinstance(problem, LibrarianError)
        if what != "identify" and (isinstance(problem, (CableLost, LineChanged)) or elsewhere):
            first = f"{self.instruments.standings[instrument].title(what)} was broken off."
            self.told.emit(Told(f"{first} {problem}", getattr(problem, "hint", ""), trouble=True))
        self.chosen.emit()
