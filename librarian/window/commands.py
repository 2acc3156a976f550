"""Every command of the window, declared once: its name, menu, words and keys. Menus and buttons share the actions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow

MENUS = ("Collection", "Edit", "Patch", "Instrument", "View", "Help")
Keys = str | QKeySequence.StandardKey | None


@dataclass(frozen=True)
class Command:
    """One command. `keys`: portable text, one of the platform's standard keys, or none. `gap`: a line above it."""

    name: str
    menu: str
    text: str
    keys: Keys = None
    checkable: bool = False
    gap: bool = False


COMMANDS = (
    Command("search", "Collection", "Search", "Ctrl+F"),
    Command("show_all", "Collection", "Show every patch"),
    Command("searches", "Collection", "Saved searches", "Ctrl+Shift+F"),
    Command("save_search", "Collection", "Save this search…"),
    Command("import", "Collection", "Import files…", QKeySequence.StandardKey.Open, gap=True),
    Command("export", "Collection", "Export…", "Ctrl+Shift+O"),
    Command("unread", "Collection", "Not understood"),
    Command("tags", "Collection", "Tags", gap=True),
    Command("duplicates", "Collection", "Duplicates"),
    Command("diary", "Collection", "What was done", "Ctrl+Shift+H"),
    Command("trash", "Collection", "Trash"),
    Command("backups", "Collection", "Backups", gap=True),
    Command("back_up", "Collection", "Back up now"),
    Command("check", "Collection", "Check the library"),
    Command("quit", "Collection", "Quit", QKeySequence.StandardKey.Quit, gap=True),
    Command("undo", "Edit", "Undo", QKeySequence.StandardKey.Undo),
    Command("redo", "Edit", "Redo", QKeySequence.StandardKey.Redo),
    Command("rename", "Edit", "Rename", "F2", gap=True),
    Command("details", "Edit", "Tags and note…", "Ctrl+G"),
    Command("details_found", "Edit", "Tags of all that are found…", "Ctrl+Shift+G"),
    Command("merge", "Edit", "Merge the chosen into this one"),
    Command("delete", "Edit", "Delete"),
    Command("recall", "Patch", "Recall", "Ctrl+R"),
    Command("recall_whole", "Patch", "Recall, sending everything"),
    Command("recall_setup", "Patch", "Recall with the set-up"),
    Command("like", "Patch", "Sounds like this one", "Ctrl+Shift+N", gap=True),
    Command("compare", "Patch", "Compare with the next chosen", "Ctrl+J", gap=True),
    Command("compare_instrument", "Patch", "Compare with the instrument", "Ctrl+Shift+J"),
    Command("swap", "Patch", "Swap A and B"),
    Command("end_compare", "Patch", "End compare"),
    Command("older", "Patch", "Compare with an older version", "Alt+Left", gap=True),
    Command("newer", "Patch", "Compare with a newer version", "Alt+Right"),
    Command("revert", "Patch", "Go back to the version that is compared"),
    Command("carry", "Patch", "Carry over to the instrument's chart"),
    Command("connect", "Instrument", "Connect…", "Ctrl+I"),
    Command("learn", "Instrument", "Learn an instrument…", "Ctrl+Shift+L"),
    Command("choose_ports", "Instrument", "Ports and chart…"),
    Command("stand_in", "Instrument", "Start the stand-in", "Ctrl+Shift+I"),
    Command("look_again", "Instrument", "Look again"),
    Command("capture", "Instrument", "Capture", "Ctrl+B", gap=True),
    Command("capture_version", "Instrument", "Capture as a new version of this patch", "Ctrl+Shift+B"),
    Command("capture_by_hand", "Instrument", "Capture by hand"),
    Command("keep_again", "Instrument", "Keep what was captured and not kept"),
    Command("save_alone", "Instrument", "Save what was captured and not kept as a file…"),
    Command("match_panel", "Instrument", "Match the panel", "Ctrl+T", gap=True),
    Command("show_traffic", "Instrument", "Traffic", "Ctrl+Shift+T"),
    Command("memory", "Instrument", "Memory", "Ctrl+Shift+M", gap=True),
    Command("bring_up", "Instrument", "Bring-up"),
    Command("usual_pace", "Instrument", "Back to the usual pace"),
    Command("undo_recall", "Instrument", "Undo recall"),
    Command("cancel", "Instrument", "Cancel what is under way"),
    Command("panic", "Instrument", "Panic: everything off", "Shift+Esc", gap=True),
    Command("theme_system", "View", "As the system", checkable=True),
    Command("theme_light", "View", "Light", checkable=True),
    Command("theme_dark", "View", "Dark", checkable=True),
    Command("one_line", "View", "One line a patch", checkable=True, gap=True),
    Command("group_tag", "View", "Group by tag", checkable=True, gap=True),
    Command("group_instrument", "View", "Group by instrument", checkable=True),
    Command("group_none", "View", "No groups", checkable=True),
    Command("all_commands", "Help", "All commands", "F1"),
    Command("about", "Help", "About Librarian"),
)


class Commands:
    """The actions of one window, in its menus. `act[name]` is the QAction; `run(name)` does what it does."""

    def __init__(self, window: QMainWindow, doers: Mapping[str, Callable[[], object]]) -> None:
        self.act: dict[str, QAction] = {}
        self._doers = doers
        menus = {name: window.menuBar().addMenu(name) for name in MENUS}
        self.menus = menus
        for command in COMMANDS:
            menu = menus[command.menu]
            if command.gap:
                menu.addSeparator()
            action = QAction(command.text, window)
            action.setCheckable(command.checkable)
            action.setMenuRole(QAction.MenuRole.NoRole)
            if command.keys is not None:
                action.setShortcut(QKeySequence(command.keys))
                action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
            doer = doers[command.name]
            action.triggered.connect(lambda _checked=False, do=doer: do())
            menu.addAction(action)
            self.act[command.name] = action

    @property
    def names(self) -> frozenset[str]:
        """Every name that `run` takes."""
        return frozenset(self._doers)

    def run(self, name: str) -> bool:
        """Do a command by its name, as a button of the same name does; False when there is none."""
        doer = self._doers.get(name)
        if doer is None:
            return False
        doer()
        return True

    def allow(self, name: str, reason: str = "") -> None:
        """Enable a command, or disable it with the reason as its tip."""
        action = self.act[name]
        action.setEnabled(not reason)
        action.setToolTip(reason or action.text())
        action.setStatusTip(reason)
