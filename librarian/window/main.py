"""The main window: puts the areas, the desk and the commands together, and decides nothing itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QSettings, QTimer
from PySide6.QtGui import QCloseEvent, QShowEvent
from PySide6.QtWidgets import QFileDialog, QMainWindow

from librarian import __version__
from librarian.collection import Library
from librarian.transfer.connections import Connections
from librarian.window.allowing import allow_commands
from librarian.window.areas import CONNECT, FIRST_START, LEARN, SOUND, Areas
from librarian.window.caution import Caution
from librarian.window.chain.now import chain_now
from librarian.window.chain.state import ChainState
from librarian.window.commands import Commands
from librarian.window.connecting import Connecting
from librarian.window.desk.desk import Answer, Desk
from librarian.window.desk.present import header, history, marks, recall_reason
from librarian.window.desk.results import Rows, shown
from librarian.window.desk.standing import Standing
from librarian.window.desk.told import Told
from librarian.window.details.editor import DetailsEditor
from librarian.window.details.of import details_of
from librarian.window.drawers import Drawers
from librarian.window.ending import EndWhenWritten
from librarian.window.exchange.drop import FileDrop
from librarian.window.keys import Keys
from librarian.window.only_to_read import refusing
from librarian.window.pages.learn.learning import Learning
from librarian.window.paint.look import Choice as Theme
from librarian.window.paint.look import Look
from librarian.window.parts.menubar import dress_menu_bar
from librarian.window.safety.starting import Starting
from librarian.window.telling import Telling
from librarian.window.view import View
from librarian.window.working import Working


class MainWindow(QMainWindow):
    """One window on one library."""

    def __init__(self, look: Look, library: Library, connections: Connections, settings: QSettings) -> None:
        super().__init__()
        self.setWindowTitle("Librarian")
        self.look = look
        dress_menu_bar(self.menuBar(), look)
        self.settings = settings
        self.desk = Desk(library, connections, self)
        self.areas = Areas(look, Rows(library, lambda: self.desk.found))
        self.editor = DetailsEditor(look)
        self.areas.under_header.addWidget(self.editor)
        self.connecting = Connecting(look, self.desk, connections, self)
        self.areas.add_page(CONNECT, self.connecting.page)
        self.learning = Learning(look, self.desk, connections, self)
        self.areas.add_page(LEARN, self.learning.page)
        self.caution = Caution(self.areas, settings, str(library.path))
        self.drawers = Drawers(
            look, self.areas, self.desk, connections, self._chosen, self.caution.before, self
        )
        self.telling = Telling(self.areas, self.desk, self)
        self.working = Working(self.areas, self.desk.work, self)
        self.drop = FileDrop(self, self.drawers.importing.take, self._chart_dropped)
        self.setCentralWidget(self.areas)
        self.commands = Commands(self, self._doers())
        self.drawers.everything.commands = self.commands
        self._compare_next = False
        self._seen = False
        self.opens_again = False
        # What happens to an instrument comes in bursts; chain and sound in one turn would hold the loop up.
        self._sound_due = QTimer(self, singleShot=True, interval=0)
        self._sound_due.timeout.connect(self._show_sound)
        self._ending = EndWhenWritten(self, self.desk)
        self._wire()
        self.keys = Keys(self)
        self.view = View(self, self.look, settings, self.commands, self.areas)
        self.desk.instruments.load()
        self.desk.search()
        self.starting = Starting(self.desk, self)
        self._show_everything()

    # -- what each command does ------------------------------------------------------------------------------------

    def _doers(self) -> dict[str, Callable[[], object]]:
        desk, areas = self.desk, self.areas
        doers: dict[str, Callable[[], object]] = self.drawers.doers() | {
            "search": lambda: areas.focus_area("search"),
            "show_all": self.show_all,
            "quit": self.close,
            "open_again": self.open_again,
            "undo": desk.undo,
            "redo": desk.redo,
            "rename": self.rename,
            "details": lambda: self.edit_details(self._chosen()),
            "details_found": lambda: self.edit_details(desk.found.ids if desk.found is not None else ()),
            "merge": self.merge,
            "delete": lambda: desk.delete(self._chosen()),
            "recall": self.recall,
            "recall_b": self.recall,
            "recall_whole": lambda: self.recall(whole=True),
            "recall_setup": lambda: self.recall(with_setup=True),
            "recall_a": self.recall_a,
            "compare": self.compare_next,
            "compare_instrument": desk.compare_with_instrument,
            "swap": desk.swap,
            "end_compare": self.end_compare,
            "revert": desk.go_back,
            "carry": lambda: desk.carry_over(self._chosen()),
            "older": lambda: desk.step_version(-1),
            "newer": lambda: desk.step_version(+1),
            "connect": lambda: self.connecting.begin(None),
            "learn": self.learning.begin,
            "choose_chart": lambda: self.connecting.begin(desk.instruments.current),
            "choose_ports": lambda: self.connecting.begin(desk.instruments.current),
            "stand_in": self.connecting.start_stand_in,
            "standin": self.connecting.start_stand_in,
            "look_again": self._with_current(desk.instruments.look_again),
            "capture": desk.capture,
            "ask_again": desk.capture,
            "capture_version": lambda: desk.capture(as_version_of_a=True),
            "capture_by_hand": lambda: desk.capture(by_hand=True),
            "keep_again": desk.captures.keep_again,
            "save_alone": self.save_alone,
            "recall_unkept": desk.recall_unkept,
            "enough": self._with_current(desk.instruments.enough),
            "undo_recall": desk.undo_recall,
            "cancel": self.cancel,
            "usual_pace": self._with_current(desk.instruments.usual_pace),
            "again_slower": lambda: desk.recall(slower=True),
            "show_differences": desk.compare_with_instrument,
            "match_panel": self.match_panel,
            "panic": desk.instruments.panic,
            "name": self.rename,
            "theme_system": lambda: self.choose_theme("system"),
            "theme_light": lambda: self.choose_theme("light"),
            "theme_dark": lambda: self.choose_theme("dark"),
            "one_line": lambda: self.view.one_line(),  # noqa: PLW0108 - there is no view yet
            "group_none": lambda: desk.search(order="name"),
            "group_tag": lambda: desk.search(order="group tag"),
            "group_instrument": lambda: desk.search(order="group instrument"),
            "about": self.about,
            "monitors_down": lambda: self.caution.answer(down=True),
            "not_now": lambda: self.caution.answer(down=False),
        }
        return doers | (refusing(self._show_told) if desk.library.only_to_read else {})

    def _with_current(self, act: Callable[[int], object]) -> Callable[[], object]:
        def do() -> object:
            current = self.desk.instruments.current
            return act(current) if current is not None else None

        return do

    def cancel(self) -> None:
        """End what is under way in the library, else with the instrument that the chain shows."""
        current = self.desk.instruments.current
        if self.desk.work.long is not None:
            self.desk.work.cancel()
        elif current is not None:
            self.desk.instruments.cancel(current)

    def _wire(self) -> None:
        desk, areas = self.desk, self.areas
        collection = areas.collection
        desk.answered.connect(self._show_answer)
        desk.completed.connect(collection.offer)
        desk.chosen.connect(self._show_everything)
        desk.named.connect(lambda _patch: self.rename())
        desk.edited.connect(self._allow)
        desk.captures.changed.connect(self._allow)
        desk.instruments.changed.connect(self._instrument_changed)
        desk.instruments.moved.connect(lambda _instrument: self._show_sound())
        desk.instruments.listed.connect(self._show_everything)
        collection.query_changed.connect(self._query)
        collection.tag_toggled.connect(self._tag_toggled)
        collection.current_changed.connect(self._row_chosen)
        collection.opened.connect(lambda _patch: areas.focus_area("panel"))
        collection.delete_asked.connect(desk.delete)
        collection.order_chosen.connect(lambda order: desk.search(order=order))
        collection.pressed.connect(self.commands.run)
        collection.failed.connect(lambda sentence, hint: self._show_told(Told(sentence, hint, trouble=True)))
        areas.chain.pressed.connect(self.commands.run)
        areas.chain.instruments_asked.connect(self._next_instrument)
        areas.header.pressed.connect(self.commands.run)
        areas.header.renamed.connect(self._renamed)
        areas.history.chosen.connect(self._version_chosen)
        areas.band.pressed.connect(self.commands.run)
        areas.first_start.pressed.connect(self.commands.run)
        areas.drawers.pressed.connect(self.commands.run)
        self.connecting.finished.connect(self._show_everything)
        self.connecting.looked.connect(self._show_chain)
        self.connecting.opened.connect(lambda: areas.show_page(CONNECT))
        self.learning.opened.connect(lambda: areas.show_page(LEARN))
        self.learning.finished.connect(self._show_everything)
        self.editor.tags_given.connect(desk.set_tags)
        self.editor.note_given.connect(desk.set_note)
        self.editor.closed.connect(lambda: areas.focus_area("list"))
        self.look.changed.connect(self.areas.update)

    def _chart_dropped(self, path: Path) -> None:
        self.connecting.begin(None)
        self.connecting.use_file(path)

    # -- searching and choosing ------------------------------------------------------------------------------------

    def _query(self, text: str) -> None:
        self.desk.search(text=text)
        self.desk.complete(text)

    def _tag_toggled(self, tag: str, on: bool) -> None:
        chosen = self.desk.tags | {tag} if on else self.desk.tags - {tag}
        self.desk.search(tags=frozenset(chosen))

    def show_all(self) -> None:
        """Every patch again: no words, no tags."""
        self.areas.collection.search.set_text("")
        self.desk.search(text="", tags=frozenset())

    def _row_chosen(self, patch: int) -> None:
        choice = self.desk.choice
        a = choice.a.patch.id if choice.a is not None and choice.a.patch is not None else None
        if self._compare_next or choice.b is not None:
            if patch != a:
                self._compare_next = False
                self.desk.choose_b(patch)
        elif patch != a:
            self.desk.choose_a(patch)

    def compare_next(self) -> None:
        """The next sound chosen in the list becomes B."""
        if self.desk.choice.a is not None:
            self._compare_next = True
            self.areas.focus_area("list")
            self._show_told(Told("Choose the second sound in the list: it is laid beside this one."))

    def end_compare(self) -> None:
        """A alone again."""
        self._compare_next = False
        if self.desk.choice.b is not None:
            a = self.desk.choice.a
            self.desk.end_compare()
            if a is not None and a.patch is not None:
                self.areas.collection.list.select_id(a.patch.id)

    def _version_chosen(self, version: int) -> None:
        choice = self.desk.choice
        side = choice.b if choice.b is not None and choice.b.patch is not None else choice.a
        if side is not None and side.patch is not None:
            self.desk.choose_b(side.patch.id, version)

    def match_panel(self) -> None:
        """Let the panel lead the hand back to the stored sound, or stop doing so; nothing is sent."""
        self.desk.match_panel(not self.desk.choice.turning)
        self.areas.focus_area("panel")

    # -- editing ---------------------------------------------------------------------------------------------------

    def rename(self) -> None:
        """Edit the name of A in the header."""
        if self.desk.choice.a is not None and self.desk.choice.a.patch is not None:
            self.areas.show_page(SOUND)
            self.areas.header.begin_rename()

    def _renamed(self, name: str) -> None:
        a = self.desk.choice.a
        if a is not None and a.patch is not None:
            self.desk.rename(a.patch.id, name)

    def _chosen(self) -> list[int]:
        """The patches chosen in the list; A alone when the list shows other ones."""
        chosen = self.areas.collection.list.chosen_ids()
        a = self.desk.choice.a
        if a is None or a.patch is None or self.desk.choice.comparing or a.patch.id in chosen:
            return chosen
        return [a.patch.id]

    def edit_details(self, chosen: Sequence[int]) -> None:
        """Edit tags of these patches; of one alone its note as well."""
        details = None
        with self.desk.reading():
            details = details_of(self.desk.library, chosen)
        if details is not None:
            self.areas.show_page(SOUND)
            self.editor.show_details(details)

    def merge(self) -> None:
        """The patches chosen in the list become one: the one that is looked at, with all their versions."""
        chosen, into = self.areas.collection.list.chosen_ids(), self.areas.collection.list.current_id()
        others = [patch for patch in chosen if patch != into]
        if into is None or not others:
            self._show_told(Told("Choose several patches in the list first.", "The last one takes the others in."))
            return
        self.desk.merge(into, others)

    def save_alone(self) -> None:
        """A captured sound that the library does not take becomes a file."""
        held = self.desk.captures.held
        if held:
            name, _kind = QFileDialog.getSaveFileName(
                self, "Save the captured sound", "captured sound.zip", "Bundle (*.zip)"
            )
            if name:
                # The dialogue has asked already whether a file of exactly this name may be replaced.
                path = Path(name)
                exact = bool(path.suffix)
                self.desk.captures.save(path if exact else path.with_suffix(".zip"), replace=exact)

    # -- recalling, with the caution first -------------------------------------------------------------------------

    def recall(self, *, whole: bool = False, with_setup: bool = False) -> None:
        """Recall what is shown; before the first recall of an instrument on a day, the caution is answered first."""
        choice = self.desk.choice
        side = choice.b if choice.comparing else choice.a
        if side is None or side.patch is None:
            return
        reason = recall_reason(choice, self.desk.instruments.standings.get(side.patch.instrument))
        if reason:
            self._show_told(Told(reason))
            return
        send = partial(self.desk.recall, whole=whole, with_setup=with_setup)
        self.caution.before(side.patch.instrument, send)

    def recall_a(self) -> None:
        """A again, while what the instrument holds lies beside it."""
        self.desk.end_compare()
        self.recall()

    # -- showing ---------------------------------------------------------------------------------------------------

    def _show_answer(self, answer: Answer) -> None:
        collection = self.areas.collection
        collection.show_found(shown(answer, self.desk.tags))
        self._show_marks()
        a = self.desk.choice.b or self.desk.choice.a
        if a is not None and a.patch is not None:
            collection.list.select_id(a.patch.id)
        self._show_page()
        self._allow()

    def _show_everything(self) -> None:
        self._show_chain()
        self._show_sound()
        self._show_page()

    def _show_page(self) -> None:
        if (self.areas.page == CONNECT and self.connecting.active) or self.learning.active:
            return
        empty = not self.desk.instruments.standings and (self.desk.found is None or self.desk.found.total == 0)
        wanted = FIRST_START if empty else SOUND
        if self.areas.page != wanted:
            self.areas.show_page(wanted)
            if empty:
                self.areas.first_start.take_focus()

    def _show_sound(self) -> None:
        choice = self.desk.choice
        standing = self.desk.standing_of_a
        sheet = choice.sheet(standing, self.areas.panel.sheet)
        self.areas.show_sheet(sheet)
        # Laying out and painting what is the same already would hold up the loop while a transfer advances.
        above, below = header(choice, sheet, self._target()), history(choice, standing)
        if self.areas.header.state != above:
            self.areas.header.show_state(above)
        if self.areas.history.state != below:
            self.areas.history.show_state(below)
        self._show_marks()
        self._allow()

    def _target(self) -> Standing | None:
        choice = self.desk.choice
        side = choice.b if choice.b is not None and choice.b.patch is not None else choice.a
        return self.desk.instruments.standings.get(side.patch.instrument) if side and side.patch else None

    def _show_marks(self) -> None:
        self.areas.collection.show_marks(marks(self.desk.choice, self.desk.instruments.standings))

    def _show_chain(self) -> None:
        state = self.chain_state()
        if self.areas.chain.state != state:
            self.areas.chain.show_state(state)

    def chain_state(self) -> ChainState:
        """What the chain has to say now."""
        return chain_now(self.desk.instruments, self.connecting.system, self.connecting.ports_found)

    def _instrument_changed(self, instrument: int) -> None:
        if instrument == self.desk.instruments.current:
            self._show_chain()
        self._sound_due.start()

    def _next_instrument(self) -> None:
        names = list(self.desk.instruments.standings)
        current = self.desk.instruments.current
        if names and current in names:
            self.desk.instruments.choose(names[(names.index(current) + 1) % len(names)])

    def _show_told(self, told: Told) -> None:
        self.telling.show(told)

    def _allow(self) -> None:
        allow_commands(self.commands, self.desk, self._target())

    def open_again(self) -> None:
        """Close the window, to be opened again on what its library is now: whoever runs it looks at `opens_again`."""
        self.opens_again = self.close()

    def choose_theme(self, theme: Theme) -> None:
        """Follow the system, or stay light or dark."""
        self.view.choose_theme(theme)

    def about(self) -> None:
        """Which version this is and where the library lies, at the foot of the list."""
        self._show_told(Told(f"Librarian {__version__}. The library is {self.desk.library.path}."))

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if not self._seen:
            self._seen = True
            self.areas.focus_area("panel" if self.areas.page == FIRST_START else "list")

    def closeEvent(self, event: QCloseEvent) -> None:
        if self._ending.put_off(event):
            return
        self.settings.setValue("geometry", self.saveGeometry())
        self.hide()  # what is under way elsewhere is waited for, but not in sight
        self.connecting.close()
        self.drawers.close()
        self.starting.close()
        self.desk.close()
        event.accept()
