"""What was not understood when it came: looked at byte by byte, exported, read again with the charts there are now."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog

from librarian.chart import load, shipped
from librarian.collection import UnreadRow
from librarian.errors import LibrarianError
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.hand import Hand
from librarian.window.paint.fonts import SMALL
from librarian.window.paint.look import Look
from librarian.window.parts.arranged import text_to_read
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.lines import Line, LineList
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, day, listed, size
from librarian.wire import universal

_SHOWN_BYTES, _IN_A_ROW = 4096, 12


class UnreadDrawer(Drawer):
    """The pieces, and the bytes of the one that is looked at."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "Not understood")
        self.list = LineList(look, "Pieces that no chart understands", several=True)
        self.foremost = self.list
        self.bytes = text_to_read(look, "Bytes of this piece, in hexadecimal")
        self.body.addWidget(self.list, 3)
        self.body.addWidget(self.bytes, 2)
        self.look_changed()

    def look_changed(self) -> None:
        self.bytes.setFont(self.fonts.get(SMALL, fixed=True))


def hex_rows(messages: tuple[bytes, ...]) -> str:
    """Messages one below the other: what the first bytes say, then offset and bytes, at most some thousand."""
    made: list[str] = []
    left = _SHOWN_BYTES
    for number, raw in enumerate(messages, 1):
        made.append(f"message {number} of {len(messages)}: {_named(raw)}, {size(len(raw))}")
        shown = raw[:left]
        left -= len(shown)
        made += [f"{at:5d}  {shown[at : at + _IN_A_ROW].hex(' ').upper()}" for at in range(0, len(shown), _IN_A_ROW)]
        if len(shown) < len(raw) or left <= 0:
            made.append("… the rest is in the export")
            break
    return "\n".join(made)


def _named(raw: bytes) -> str:
    if not raw or raw[0] < 0x80:
        return "bytes outside messages"
    return universal.describe(raw)


class Unread(Hand):
    """The list of what was not understood."""

    name = "not understood"
    changing = frozenset({"again", "forget"})

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.rows: tuple[UnreadRow, ...] = ()

    def make(self) -> UnreadDrawer:
        made = UnreadDrawer(self.look)
        made.list.current_changed.connect(self._look_at)
        made.list.delete_asked.connect(lambda _rows: self.do("forget"))
        return made

    @property
    def sheet(self) -> UnreadDrawer:
        """The drawer."""
        assert isinstance(self.drawer, UnreadDrawer)
        return self.drawer

    def load(self) -> None:
        self.ask(self.desk.library.unread, self._loaded)

    def _loaded(self, rows: tuple[UnreadRow, ...]) -> None:
        self.rows = rows
        sheet = self.sheet
        sheet.list.show_lines([
            Line(row.source, row.reason, f"{size(sum(map(len, row.messages)))} · {day(row.kept)}", "unknown")
            for row in rows
        ], keep=True)
        pieces = counted(len(rows), "piece")
        if rows:
            sheet.say(f"{pieces} that no chart understands yet.", "They are kept as they came. With a new chart, try "
                      "again: what it understands becomes sounds.")
        else:
            sheet.say("Nothing is waiting here.", "What an import does not understand is kept in this list.")
            sheet.bytes.clear()
        none = "" if rows else "The list is empty."
        sheet.show_buttons(
            ButtonSpec("again", "Try again", primary=True, reason=none), ButtonSpec("export", "Export…", reason=none),
            ButtonSpec("forget", "Forget", key="Del", reason=none),
        )

    def _look_at(self, row: int) -> None:
        if row < len(self.rows):
            self.sheet.bytes.setPlainText(hex_rows(self.rows[row].messages))

    def _meant(self) -> list[UnreadRow]:
        rows = [self.rows[row] for row in self.sheet.list.chosen() if row < len(self.rows)]
        return rows or list(self.rows)

    def do(self, button: str) -> None:
        if button == "again":
            self.try_again()
        elif button == "export":
            name, _kind = QFileDialog.getSaveFileName(
                self.areas, "Export what was not understood", "not understood.syx", "SysEx (*.syx);;All files (*)"
            )
            if name:
                self.write(Path(name), replace=True)
        elif button == "forget":
            rows = self._meant()
            ids = [row.id for row in rows]
            self.desk.edit(
                lambda: self.desk.library.forget_unread(ids), f"{counted(len(ids), 'piece')} taken from the list."
            )

    def write(self, path: Path, *, replace: bool = False) -> None:
        """Write the chosen pieces (all when none is chosen), byte for byte as they came."""
        messages = [raw for row in self._meant() for raw in row.messages]

        def done(written: int) -> None:
            self.desk.told.emit(Told(f"{counted(len(messages), 'message')}, {size(written)}, written to {path.name}."))

        def write(_cancel: Any, _progress: Any) -> int:
            from librarian.files import syx

            return syx.write(path, messages, replace=replace)

        self.desk.work.run(write, title=f"Writing {path.name}", then=done)

    def try_again(self) -> None:
        """Read everything in the list again, with the charts of the library and those that are shipped."""
        library = self.desk.library

        def again(cancel: Any, progress: Any) -> Any:
            from librarian.files import rereading
            from librarian.files.targets import targets_of

            charts = []
            for path in shipped().values():
                try:
                    charts.append(load(path))
                except LibrarianError:
                    # A faulty chart is told where charts are chosen; the others may still understand this.
                    continue
            seen = rereading.preview(library, targets_of(library, charts), cancel=cancel, progress=progress)
            if not seen.rows:
                return None
            return rereading.apply(library, seen, cancel=cancel, progress=progress)

        self.desk.work.run(again, title="Reading again what was not understood", then=self._tried,
                           kept="cancel keeps nothing of it")

    def _tried(self, done: Any) -> None:
        if done is None:
            names = listed(sorted({standing.chart.name for standing in self.desk.instruments.standings.values()}))
            known = f" The charts in use are {names}." if names else ""
            self.desk.told.emit(Told(f"None of it is understood yet; the list is as it was.{known}"))
            return
        self.desk.changed_by_us()
        sentence = done.sentence if done.sentence.endswith(".") else f"{done.sentence}."
        self.desk.told.emit(Told(sentence, undo=self.desk.past.undo))
