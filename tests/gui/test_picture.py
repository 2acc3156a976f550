"""The picture that the demo makes of itself shows a sound that was recalled, however late the demo's sounds come."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from librarian.collection import Library
from librarian.transfer.connections import Connections
from librarian.window.main import MainWindow
from librarian.window.paint.look import Look
from librarian.window.picture import Picture, Shot
from tests.gui.whole_window import close


def test_a_picture_of_the_demo_waits_for_its_sounds(
    qtbot: QtBot, look: Look, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended: list[int] = []
    monkeypatch.setattr(QApplication, "exit", ended.append)
    shot = Shot(tmp_path / "window.png")
    with Library.open(tmp_path / "demo.library") as library, Connections(bytes_per_second=31250) as connections:
        settings = QSettings(str(tmp_path / "window.ini"), QSettings.Format.IniFormat)
        window = MainWindow(look, library, connections, settings)
        qtbot.addWidget(window)
        window.connecting.start_stand_in()
        window.show()
        picture = Picture(window, connections, shot)
        picture.begin()
        qtbot.wait_until(lambda: bool(ended), timeout=30_000)
        assert picture.problem == ""
        assert shot.path.stat().st_size > 10_000
        chosen, standing = window.desk.choice.a, window.desk.standing_of_a
        assert chosen is not None
        assert standing is not None
        assert standing.in_it is not None
        assert len(standing.now) >= 3, "knobs were turned after the recall"
        close(qtbot, window)
