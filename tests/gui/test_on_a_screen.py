"""On a real window system: every system library that tests/run.sh asks for is there, and text has a font."""

from __future__ import annotations

import os
import subprocess
import sys

from tests.screen import VirtualScreen

SHOW = """
import sys
from PySide6.QtGui import QFontDatabase, QGuiApplication
from PySide6.QtWidgets import QApplication, QLabel

app = QApplication(sys.argv)
label = QLabel("Lanternfish")
label.show()
app.processEvents()
picture = label.grab().toImage()
shades = {picture.pixel(x, y) for x in range(picture.width()) for y in range(picture.height())}
print(QGuiApplication.platformName(), bool(QFontDatabase.families()), len(shades) > 2)
"""


def test_a_window_opens_on_x11_and_shows_text():
    with VirtualScreen() as screen:
        ended = subprocess.run(
            [sys.executable, "-c", SHOW],
            env={**os.environ, **screen.environment},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
    assert (ended.stdout.split(), ended.returncode) == (["xcb", "True", "True"], 0), ended.stderr
