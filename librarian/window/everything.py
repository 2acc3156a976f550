"""All commands by name with their keys: typed for, chosen with Enter, also those that are buttons elsewhere."""

from __future__ import annotations

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence

from librarian.window.areas import Areas
from librarian.window.commands import COMMANDS, Command, Commands
from librarian.window.desk.desk import Desk
from librarian.window.hand import Hand
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer
from librarian.window.parts.field import Field
from librarian.window.parts.lines import Line, LineList


class EverythingDrawer(Drawer):
    """The list of commands with a field above it."""

    def __init__(self, look: Look) -> None:
        super().__init__(look, "All commands")
        self.field = Field(look, "words of a command", "Words of a command")
        self.list = LineList(look, "Commands", "one line")
        self.foremost = self.field
        self.padded(self.field, stretch_last=False)
        self.body.addWidget(self.list, 1)


class Everything(Hand):
    """The list of commands. `commands` is given once they exist."""

    name = "all commands"
    follows = False

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(look, areas, desk, parent)
        self.commands: Commands | None = None
        self.shown: list[Command] = []

    def make(self) -> EverythingDrawer:
        made = EverythingDrawer(self.look)
        made.field.edit.textChanged.connect(lambda _text: self.load())
        made.field.key.connect(self._key)
        made.list.opened.connect(self.run)
        return made

    @property
    def sheet(self) -> EverythingDrawer:
        """The drawer."""
        assert isinstance(self.drawer, EverythingDrawer)
        return self.drawer

    def load(self) -> None:
        assert self.commands is not None
        words = self.sheet.field.edit.text().casefold().split()
        self.shown = []
        lines = []
        for command in COMMANDS:
            action = self.commands.act[command.name]
            text = action.text()
            if not all(word in f"{text} {command.menu}".casefold() for word in words):
                continue
            key = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
            why = "" if action.isEnabled() else action.toolTip()
            self.shown.append(command)
            lines.append(Line(text if not why else f"{text}: {why}", right=key or command.menu))
        self.sheet.list.show_lines(lines)
        self.sheet.list.select_row(0)

    def _key(self, event: QKeyEvent) -> None:
        row = self.sheet.list.current or 0
        if event.key() in {Qt.Key.Key_Down, Qt.Key.Key_Up}:
            self.sheet.list.select_row(max(0, row + (1 if event.key() == Qt.Key.Key_Down else -1)))
            event.accept()
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            self.run(row)
            event.accept()

    def run(self, row: int) -> None:
        """Close the list and do what was chosen."""
        assert self.commands is not None
        if not 0 <= row < len(self.shown):
            return
        command = self.shown[row]
        action = self.commands.act[command.name]
        if not action.isEnabled():
            self.sheet.say(action.text(), action.toolTip())
            return
        self.areas.close_drawer()
        action.trigger()

    def left(self) -> None:
        self.sheet.field.edit.clear()
        self.sheet.say("")
