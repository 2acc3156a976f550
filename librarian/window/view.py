"""How the window looks, and that it looks so again next time: theme, row height, size and place."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QSettings
from PySide6.QtWidgets import QMainWindow

from librarian.window.areas import Areas
from librarian.window.commands import Commands
from librarian.window.paint.look import Choice as Theme
from librarian.window.paint.look import Look


class View:
    """The View menu and what the settings remember of it."""

    def __init__(
        self, window: QMainWindow, look: Look, settings: QSettings, commands: Commands, areas: Areas
    ) -> None:
        self._look, self._settings, self._commands, self._areas = look, settings, commands, areas
        theme = settings.value("theme", "system")
        self.choose_theme(theme if theme in {"light", "dark"} else "system")
        if settings.value("one_line") == "yes":
            commands.act["one_line"].setChecked(True)
            self.one_line()
        geometry = settings.value("geometry")
        if isinstance(geometry, QByteArray):
            window.restoreGeometry(geometry)
        else:
            window.resize(1280, 800)

    def choose_theme(self, theme: Theme) -> None:
        """Follow the system, or stay light or dark."""
        self._look.choose(theme)
        self._settings.setValue("theme", theme)
        for name in ("system", "light", "dark"):
            self._commands.act[f"theme_{name}"].setChecked(name == theme)

    def one_line(self) -> None:
        """One line a patch, or two."""
        one = self._commands.act["one_line"].isChecked()
        self._areas.collection.set_row_height("one line" if one else "two lines")
        self._settings.setValue("one_line", "yes" if one else "no")
