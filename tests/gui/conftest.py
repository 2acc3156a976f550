"""A look for the widgets: light, the usual text size, nothing moving, so that pictures and geometry are the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from librarian.window.paint.look import Look
from tests.gui.whole_window import Desk

House = Callable[[QWidget], QWidget]


@pytest.fixture
def look(qapp: QApplication) -> Iterator[Look]:
    """Light, base 13 px, reduced motion; the application wears it."""
    made = Look("light", 13)
    made.reduced_motion = True
    made.dress(qapp)
    yield made
    made.changed.disconnect()


@pytest.fixture
def house(qtbot: QtBot) -> Iterator[House]:
    """Puts a widget into a shown window of 1920 x 1080 that lives until the test ends, and gives it back.

    Widgets that set their own height do so inside a window; on the offscreen platform a window itself cannot.
    """
    windows = []

    def put(widget: QWidget) -> QWidget:
        window = QWidget()
        windows.append(window)
        widget.setParent(window)
        qtbot.addWidget(window)
        window.resize(1920, 1080)
        window.show()
        widget.show()
        window.activateWindow()
        qtbot.waitUntil(window.isActiveWindow)
        return widget

    yield put
    windows.clear()


@pytest.fixture
def desk(qtbot: QtBot, look: Look, tmp_path: Path) -> Iterator[Desk]:
    """The whole window on a demo library, closed when the test ends."""
    made = Desk(qtbot, look, tmp_path)
    yield made
    made.close()
