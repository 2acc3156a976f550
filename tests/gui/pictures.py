"""Pictures of the widgets in their states: `python -m tests.gui.pictures FOLDER`. To be looked at, not compared:
fonts differ between machines. The tests beside this file check what can be checked."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QMainWindow

from librarian.window.areas import Areas
from librarian.window.paint.look import Look
from librarian.window.parts.menubar import dress_menu_bar
from tests.gui import demo

SIZES = ((1024, 700), (1280, 800), (1920, 1080))
SCENES: dict[str, Callable[[Areas], None]] = {
    "one-sound": demo.show_one_sound, "compare": demo.show_two_sounds, "broken": demo.show_broken,
    "first-start": demo.show_first_start,
}
MENUS = ("Collection", "Edit", "Patch", "Instrument", "Set list", "View", "Help")


def window_of(look: Look, show: Callable[[Areas], None], width: int, height: int) -> QMainWindow:
    """A window of this inside size with one scene in it."""
    window = QMainWindow()
    for name in MENUS:
        window.menuBar().addMenu(name)
    dress_menu_bar(window.menuBar(), look)
    areas = Areas(look, demo.Source())
    show(areas)
    window.setCentralWidget(areas)
    window.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
    window.resize(width, height)
    window.show()
    return window


def main() -> None:
    """Grab every scene at every size in both themes."""
    options = argparse.ArgumentParser()
    options.add_argument("folder", type=Path)
    options.add_argument("--scene", choices=SCENES)
    options.add_argument("--base", type=float, default=13.0, help="the system's text size, px")
    chosen = options.parse_args()
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    application = QApplication.instance() or QApplication([])
    chosen.folder.mkdir(parents=True, exist_ok=True)
    for theme in ("light", "dark"):
        look = Look(theme, chosen.base)  # type: ignore[arg-type]
        look.reduced_motion = True
        look.dress(application)  # type: ignore[arg-type]
        for name in [chosen.scene] if chosen.scene else SCENES:
            for width, height in SIZES:
                window = window_of(look, SCENES[name], width, height)
                for _ in range(5):
                    application.processEvents()
                window.grab().save(str(chosen.folder / f"{name}-{theme}-{width}.png"))
                window.close()


if __name__ == "__main__":
    main()
