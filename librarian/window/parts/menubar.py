"""The menu bar in the palette's colours: plain words, 12 px, no frame around the one that is open."""

from __future__ import annotations

from PySide6.QtWidgets import QMenuBar

from librarian.window.paint.fonts import TEXT
from librarian.window.paint.look import Look

HEIGHT = 26


def dress_menu_bar(bar: QMenuBar, look: Look) -> None:
    """Give a menu bar its size and colours, now and at every change of the look.

    Where the platform shows its own bar (macOS) this has no effect.
    """

    def put() -> None:
        colours, fonts = look.palette, look.fonts
        bar.setFixedHeight(fonts.room(HEIGHT))
        bar.setFont(fonts.get(TEXT))
        bar.setStyleSheet(
            f"QMenuBar {{ background: {colours.ground.name()}; border-bottom: 1px solid {colours.line.name()};"
            " spacing: 0px; padding: 0px; margin: 0px; }"
            f"QMenuBar::item {{ background: transparent; color: {colours.ink.name()}; padding: 5px 11px 4px 11px;"
            " margin: 0px; }"
            f"QMenuBar::item:selected, QMenuBar::item:pressed {{ background: {colours.select.name()}; }}"
        )

    put()
    look.changed.connect(put)
