"""The window as a program: its options, its application object, the demo, and a picture of itself."""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import platformdirs
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication

from librarian.collection import Library
from librarian.errors import LibrarianError
from librarian.transfer.connections import Connections
from librarian.window.desk.work import favour_the_window
from librarian.window.ending import EndBySignal
from librarian.window.main import MainWindow
from librarian.window.pages.cannot_open import another_try
from librarian.window.paint.look import Look
from librarian.window.picture import Picture, Shot

_NOBODY_LOOKS = {"offscreen", "minimal"}


def main(arguments: Sequence[str] | None = None) -> int:
    """Open the window; 0 when it was closed, 1 when it could not be opened (the sentence goes to standard error)."""
    options = _parser().parse_args(arguments)
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    if options.picture is not None and not os.environ.get("DISPLAY") and not os.environ.get("WAYLAND_DISPLAY"):
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    application = QApplication(["librarian"])
    application.setApplicationName("Librarian")
    while True:
        with ExitStack() as stack:
            try:
                code = _run(application, options, stack)
                if code is None:
                    continue
                return code
            except LibrarianError as problem:
                sys.stderr.write(f"{problem} {problem.hint}\n".replace(" \n", "\n"))
                told = problem
        if options.picture is not None or application.platformName() in _NOBODY_LOOKS or not _asked(application, told):
            return 1


def _asked(application: QApplication, problem: LibrarianError) -> bool:
    look = Look()
    look.dress(application)
    return another_try(look, problem)


def _run(application: QApplication, options: argparse.Namespace, stack: ExitStack) -> int | None:
    """Until the window is closed; None when it shall be opened again."""
    place = options.library
    if options.demo:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="librarian-demo-")))
        place = place or folder / "demo.library"
        settings = QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat)
    else:
        config = platformdirs.user_config_path("librarian")
        settings = QSettings(str(config / "window.ini"), QSettings.Format.IniFormat)
    stack.callback(settings.sync)  # what is written later would make the demo's folder once more
    ending = EndBySignal(application)
    stack.callback(ending.stop)
    library = stack.enter_context(Library.open(place, only_to_read=True))
    connections = stack.enter_context(Connections())
    look = Look(options.theme)
    look.dress(application)
    window = MainWindow(look, library, connections, settings)
    if options.theme != "system":
        window.choose_theme(options.theme)
    if options.demo and library.total() == 0:
        window.connecting.start_stand_in()
    if options.size:
        window.resize(*options.size)
    window.show()
    favour_the_window()
    if options.picture is None:
        code = int(application.exec())
        return None if window.opens_again else code
    shot = Shot(options.picture, compare=options.compare)
    picture = Picture(window, connections, shot)
    picture.begin()
    code = int(application.exec())
    window.close() or window.close()  # the second time it does not wait for anything
    if picture.problem:
        sys.stderr.write(f"{picture.problem}\n")
    return code if not picture.problem else 1


def _size(text: str) -> tuple[int, int]:
    wide, _, high = text.partition("x")
    try:
        return int(wide), int(high)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is no size; write it as 1280x800") from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="librarian window", description="The window of the patch librarian.")
    parser.add_argument("--library", type=Path, default=None, help="library file; your own library if absent")
    parser.add_argument("--demo", action="store_true", help="a throw-away library with both demo instruments")
    parser.add_argument("--picture", type=Path, default=None, help="save a picture of the window, then end")
    parser.add_argument("--compare", action="store_true", help="with --picture: two sounds side by side")
    parser.add_argument("--size", type=_size, default=None, help="size of the window, as 1280x800")
    parser.add_argument("--theme", choices=("system", "light", "dark"), default="system")
    return parser
