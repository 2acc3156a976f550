"""The keys that no menu has: from area to area, swapping A and B, and Esc, which closes the topmost of what is open."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QKeySequence, QShortcut

from librarian.window.areas import CONNECT, LEARN

if TYPE_CHECKING:
    from librarian.window.main import MainWindow


class Keys(QObject):
    """Of one window."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window
        areas = window.areas
        self._key("F6", lambda: areas.next_area(+1))
        self._key("Shift+F6", lambda: areas.next_area(-1))
        for number, area in enumerate(("chain", "search", "list", "panel", "values", "history"), 1):
            self._key(f"Ctrl+{number}", partial(areas.focus_area, area))
        self._key("Esc", self.escape)
        for place in (areas.panel, areas.values):
            swap = QShortcut(QKeySequence("X"), place)
            swap.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            swap.activated.connect(window.desk.swap)

    def _key(self, keys: str, do: Callable[[], object]) -> None:
        QShortcut(QKeySequence(keys), self._window).activated.connect(do)

    def escape(self) -> None:
        """Close the topmost: a question, the editor, a transfer, a drawer, the comparison."""
        window = self._window
        desk, areas, memory = window.desk, window.areas, window.drawers.memory
        current, standing = desk.instruments.current, desk.instruments.standing
        if window.caution.asked:
            window.caution.answer(down=False)
        elif memory.asked:
            memory.answer(replaced=False)
        elif window.editor.patches:
            window.editor.abandon()
        elif areas.page == CONNECT:
            window.connecting.leave()
        elif areas.page == LEARN:
            window.learning.leave()
        elif desk.work.long is not None:
            desk.work.cancel()
        elif current is not None and standing is not None and standing.transfer not in {"", "identify"}:
            desk.instruments.cancel(current)
        elif areas.drawer:
            areas.close_drawer()
        elif desk.choice.turning:
            desk.match_panel(False)
        else:
            window.end_compare()
