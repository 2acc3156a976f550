"""The memory drawer: back the memory up, see what changed, write programs back or store A, always after asking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from PySide6.QtCore import QObject

from librarian.chart import Chart
from librarian.collection import NewPatch
from librarian.collection.memories import Memories, MemoryBackup
from librarian.messages import Version
from librarian.transfer import Backup
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.present import capture_reason
from librarian.window.hand import Hand
from librarian.window.memory.after import Written
from librarian.window.memory.lines import Programs, Question, backup_words, changed_since, program_lines
from librarian.window.memory.talks import backing_up, looking, writing
from librarian.window.paint.look import Look
from librarian.window.parts.choice import Choice
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import LineList
from librarian.window.parts.notice import NoticeState
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, listed, quoted


class MemoryDrawer(Drawer):
    """The programs of one backup."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Memory")
        self.backups = Choice(look, "Backup")
        self.list = LineList(look, "Programs", several=True)
        self.foremost = self.list
        self.padded(self.backups)
        self.body.addWidget(self.list, 1)


class Memory(Hand):
    """The memory of the instrument that the chain shows."""

    name = "memory"
    changing = frozenset({"backup", "restore", "store", "keep"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.instrument: int | None = None
        self.backups: tuple[MemoryBackup, ...] = ()
        self.programs: Programs | None = None
        self.written: Written | None = None
        self.question: Question | None = None
        self._key = ""
        self._numbers: list[int] = []
        self._look_at: int | None = None

    def make(self) -> MemoryDrawer:
        made = MemoryDrawer(self.look)
        made.backups.chosen.connect(self._take_backup)
        made.list.chosen_changed.connect(self._buttons)
        made.list.opened.connect(lambda _row: self.do("restore"))
        self.desk.instruments.changed.connect(lambda _instrument: self._instruments_changed())
        return made

    @property
    def sheet(self) -> MemoryDrawer:
        """The drawer."""
        assert isinstance(self.drawer, MemoryDrawer)
        return self.drawer

    @property
    def chart(self) -> Chart | None:
        """The chart of the instrument."""
        standing = self.desk.instruments.standings.get(self.instrument) if self.instrument is not None else None
        return standing.chart if standing is not None else None

    def _name(self) -> str:
        standing = self.desk.instruments.standings.get(self.instrument) if self.instrument is not None else None
        return standing.row.name if standing is not None else ""

    def _instruments_changed(self) -> None:
        if self.is_open:
            if self.desk.instruments.current != self.instrument:
                self.load()
            else:
                self._buttons()
                self._say()

    # -- what is shown ---------------------------------------------------------------------------------------------

    def load(self) -> None:
        current = self.desk.instruments.current
        if current != self.instrument:
            self.instrument, self._key, self.programs, self.written = current, "", None, None
            self.backups = ()
        instrument, chart, key, library = self.instrument, self.chart, self._key, self.desk.library
        self.sheet.title.say(f"Memory of {self._name()}" if chart is not None else "Memory")
        if instrument is None or chart is None or chart.memory is None:
            self._show()
            return

        def question() -> tuple[tuple[MemoryBackup, ...], Programs | None]:
            memories = Memories(library)
            every = tuple(reversed([one for one in memories.all(instrument) if one.chart == chart.id]))
            chosen = next((one for one in every if one.key == key), every[0] if every else None)
            if chosen is None:
                return every, None
            found = memories.programs(chosen)
            older = [one for one in every if one.taken < chosen.taken and one.kind == "backup"]
            changed = changed_since(found, memories.programs(older[0])) if older else None
            return every, Programs(chosen, found, changed, backup_words(older[0]) if older else "")

        self.ask(question, lambda answer: self._loaded(*answer))

    def _loaded(self, backups: tuple[MemoryBackup, ...], programs: Programs | None) -> None:
        self.backups, self.programs = backups, programs
        self._key = programs.backup.key if programs is not None else ""
        self._show()

    def _show(self) -> None:
        chart, sheet, programs = self.chart, self.sheet, self.programs
        standing = self.desk.instruments.standings.get(self.instrument or 0)
        going = standing is not None and standing.transfer == "backup"
        sheet.backups.show_options(
            [(one.key, backup_words(one, going=going)) for one in self.backups], self._key
        )
        sheet.backups.setVisible(bool(self.backups))
        if chart is None or chart.memory is None:
            name = self._name()
            sheet.list.show_lines(())
            sheet.say(f"{name} has no memory that its chart knows." if name else "No instrument is connected.",
                      "Capture and recall work without one." if name else "")
            sheet.show_buttons()
            return
        self._numbers = list(range(chart.memory.size)) if programs is None else list(programs.backup.wanted)
        written = self.written
        if written is not None:
            # What a write reached that was not meant for it may be no part of the backup that is shown.
            self._numbers = sorted({*self._numbers, *written.wanted, *written.doubtful})
        result = written.result if written is not None else None
        sheet.list.show_lines(program_lines(chart, programs, self._numbers, result), keep=True)
        if self._look_at in self._numbers:
            sheet.list.select_row(self._numbers.index(self._look_at))
            self._look_at = None
        self._say()
        self._buttons()

    def _say(self) -> None:
        programs = self.programs
        written, chart = self.written, self.chart
        if written is not None and chart is not None:
            why = written.reasons([_shown(chart, number) for number in written.doubtful])
            self.sheet.say(f"{written.result.sentence}.", f"{why} {written.next}".strip())
        elif programs is None:
            self.sheet.say("This memory was never backed up here.", "Reading it changes nothing in the instrument.")
        else:
            failed = programs.backup.failed
            lost = f" {counted(len(failed), 'program')} could not be read." if failed else ""
            standing = self.desk.instruments.standings.get(self.instrument or 0)
            if not programs.backup.ended:
                going = standing is not None and standing.transfer == "backup"
                said = "It is being read." if going else "It was broken off; what was read is kept. Go on with it."
            elif programs.changed is None:
                said = "There is no earlier backup to compare it with."
            elif programs.changed:
                said = f"{counted(len(programs.changed), 'program')} changed since {programs.since}."
            else:
                said = f"Nothing has changed since {programs.since}."
            self.sheet.say(f"{quoted(programs.backup.name)}:", f"{said}{lost}")

    def _take_backup(self, key: str) -> None:
        self._key, self.written = key, None
        self.load()

    def _chosen(self) -> list[int]:
        programs = self.programs
        rows = [self._numbers[row] for row in self.sheet.list.chosen() if row < len(self._numbers)]
        return [number for number in rows if programs is not None and number in programs.found]

    def _broken_off(self) -> MemoryBackup | None:
        backup = self.programs.backup if self.programs is not None else None
        return backup if backup is not None and not backup.ended and backup.kind == "backup" else None

    def _buttons(self) -> None:
        chart = self.chart
        if chart is None or chart.memory is None or self.instrument is None:
            return
        busy = capture_reason(self.desk.instruments.standings.get(self.instrument))
        chosen, found = self._chosen(), self.programs.found if self.programs is not None else {}
        none = "" if found else "No backup is chosen."
        a = self.desk.choice.a
        mine = a is not None and a.patch is not None and a.patch.instrument == self.instrument
        one = len(self.sheet.list.chosen()) == 1
        storing = busy or ("" if mine else "Choose a sound of this instrument in the list first.") or (
            "" if one else "Choose one program here.")
        back = self._broken_off()
        specs = [ButtonSpec("backup", "Go on with it" if back is not None else "Back up the memory", primary=True,
                            reason=busy)]
        count = len(chosen)
        words = f"Write {counted(count, 'program')} back…" if 0 < count < len(found) else "Write all back…"
        specs.append(ButtonSpec("restore", words, reason=busy or none))
        specs.append(ButtonSpec("store", "Store A here…", reason=storing))
        specs.append(ButtonSpec("keep", "Make patches of them", reason=none))
        self.sheet.show_buttons(*specs)

    # -- what is done ----------------------------------------------------------------------------------------------

    def do(self, button: str) -> None:
        if button == "backup":
            self.back_up()
        elif button == "restore" and self.programs is not None:
            found = self.programs.found
            numbers = self._chosen() or list(found)
            self.ask_to_write({number: found[number] for number in numbers}, quoted(self.programs.backup.name))
        elif button == "store":
            a = self.desk.choice.a
            rows = self.sheet.list.chosen()
            if a is not None and len(rows) == 1:
                content = a.content if a.content.name.strip() else replace(a.content, name=a.name)
                self.ask_to_write({self._numbers[rows[0]]: content}, quoted(a.name))
        elif button == "keep":
            self.keep_patches()

    def back_up(self) -> None:
        """Read the whole memory; go on with the one that is shown when it was broken off."""
        instrument, chart = self.instrument, self.chart
        if instrument is None or chart is None:
            return
        resumed = self._broken_off()
        self._key, self.written = "", None
        self.desk.instruments.converse(
            instrument, "backup", "", backing_up(self.desk.library, instrument, chart, resumed),
            lambda backup: self._backed_up(instrument, backup), self._failed,
        )

    def _backed_up(self, instrument: int, backup: object) -> None:
        assert isinstance(backup, MemoryBackup)
        count = f"{len(backup.kept)} of {len(backup.wanted)}"
        whole = backup.complete
        name = backup.instrument_name
        self._tell(
            instrument, "agrees" if whole else "question", f"{count} read", f"{name}’s memory is backed up:" if whole
            else f"Not all of {name}’s memory could be read:",
            f"{count} programs are kept as {quoted(backup.name)}.",
        )
        if instrument == self.instrument:
            self._key = backup.key  # an answer that came meanwhile may have chosen an older one
        self.load()

    def ask_to_write(self, wanted: Mapping[int, Version], source: str) -> None:
        """Read what is in these places, then ask; nothing is written before the answer."""
        instrument, chart = self.instrument, self.chart
        if instrument is None or chart is None or not wanted:
            return
        self.written = None
        name = self._name()

        def seen(found: object) -> None:
            assert isinstance(found, Backup)
            self._ask(Question(instrument, name, chart, found.programs, wanted, source))

        self.desk.instruments.converse(instrument, "backup", source, looking(sorted(wanted)), seen, self._failed)

    def _ask(self, question: Question) -> None:
        if not question.numbers:
            same = all(number in question.seen for number in question.wanted)
            words = "holds all of it already" if same else "could not be read there"
            self._tell(question.instrument_id, "equal" if same else "question", "nothing written",
                       f"{question.instrument} {words}.", "Nothing was written.")
            return
        self._tell(question.instrument_id, "question", "asking you", question.first,
                   "Answer below; nothing is written before.")
        self.areas.show_band(NoticeState(
            question.first, question.rest,
            (ButtonSpec("memory_keep", f"Keep {question.what}", key="Esc"),
             ButtonSpec("memory_replace", f"Replace {question.what}")), safe="memory_keep",
        ), self._not_answered)
        self.question = question

    def _not_answered(self) -> None:
        """Another question has taken its place: nothing is written."""
        question, self.question = self.question, None
        if question is not None:
            self._stays(question)

    def _stays(self, question: Question) -> None:
        self._tell(question.instrument_id, "question", "nothing written",
                   f"{question.what[:1].upper()}{question.what[1:]} stays as it is.", "Nothing was written.")

    @property
    def asked(self) -> bool:
        """True while the question stands."""
        return self.question is not None

    def answer(self, *, replaced: bool) -> None:
        """The person answered; without `replaced` nothing is written."""
        question, self.question = self.question, None
        if question is None:
            return
        self.areas.show_band(None)
        if self.is_open:
            self.areas.focus_area("drawer")
        if not replaced:
            self._stays(question)
            return
        instrument = question.instrument_id
        talk = writing(self.desk.library, instrument, question.chart, question.wanted, question.seen, question.source)
        self.desk.instruments.converse(
            instrument, "restore", question.source.strip("“”"), talk,
            lambda result: self._written(question, result), self._failed,
        )

    def _written(self, question: Question, result: object) -> None:
        assert isinstance(result, Written)
        self.written = result if question.instrument_id == self.instrument else None
        self._look_at = next(iter(result.doubtful), None) if self.written is not None else None
        said = f"{result.result.sentence}."
        self._tell(
            question.instrument_id, "equal" if result.good else "different", result.count,
            f"Written into {question.instrument}’s memory:", said if result.good else f"{said} {result.brief}",
        )
        if self.is_open:
            self.load()

    def _failed(self, _problem: Exception) -> None:
        # The chain says what went wrong and what state things are in; here stands what was kept nevertheless.
        if self.is_open:
            self.load()

    def _tell(self, instrument: int, mark: str, plate: str, first: str, rest: str) -> None:
        standing = self.desk.instruments.standings.get(instrument)
        if standing is not None:
            standing.told(mark=mark, plate=plate, first=first, rest=rest)  # type: ignore[arg-type]
            self.desk.instruments.changed.emit(standing.row.id)

    def keep_patches(self) -> None:
        """The chosen programs (all when none is chosen) as patches; what the library holds already is left out."""
        programs, chart, instrument, library = self.programs, self.chart, self.instrument, self.desk.library
        if programs is None or chart is None or instrument is None:
            return
        numbers: Sequence[int] = self._chosen() or list(programs.found)
        name = programs.backup.name

        def keep() -> tuple[int, int]:
            versions = [programs.found[number] for number in numbers]
            held = [bool(there) for there in library.holders(versions)]
            new = [
                NewPatch(instrument, version.name.strip() or f"Program {_shown(chart, number)}", version, (),
                         f"Program {_shown(chart, number)} of “{name}”")
                for number, version, there in zip(numbers, versions, held, strict=True) if not there
            ]
            if new:
                library.keep_many(new, f"Keep programs of “{name}”")
            return len(new), sum(held)

        def said(done: tuple[int, int]) -> str:
            parts = [f"{counted(done[0], 'program is', 'programs are')} new patches" if done[0] else "",
                     f"{counted(done[1], 'was', 'were')} in the collection already" if done[1] else ""]
            return f"{listed([part for part in parts if part])}."

        self.desk.edit(keep, said)


def _shown(chart: Chart, number: int) -> str:
    return chart.memory.shown(number) if chart.memory is not None else str(number)
