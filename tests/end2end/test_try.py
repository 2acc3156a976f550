"""`bash assets/try.sh`, the first thing a person runs: in the terminal, and with a screen."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import time
from pathlib import Path

import pytest
from PySide6.QtGui import QImage

from tests.jackd import bound
from tests.screen import VirtualScreen

pytestmark = pytest.mark.slow

TRY = Path(__file__).parents[2] / "assets" / "try.sh"
NO_SCREEN = {"DISPLAY": "", "WAYLAND_DISPLAY": ""}


def test_without_a_screen_the_whole_job_is_done_and_proved(tmp_path: Path):
    temporary = tmp_path / "with a space"
    temporary.mkdir()
    ended = subprocess.run(
        ["bash", str(TRY)],
        env={**os.environ, **NO_SCREEN, "TMPDIR": str(temporary)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=150,
        check=False,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert re.search(r"^(\d+) of \1 steps proved\.$", ended.stdout, re.MULTILINE)
    assert "NOT PROVED" not in ended.stdout
    (picture,) = temporary.iterdir()  # and nothing else was left
    assert str(picture) in ended.stdout
    image = QImage(str(picture))
    assert (image.width(), image.height()) == (1280, 800)
    assert len({image.pixel(x, y) for x in range(0, 1280, 3) for y in range(0, 800, 3)}) > 20


def test_with_a_screen_the_window_opens_and_leaves_nothing_when_it_is_ended(tmp_path: Path):
    with VirtualScreen() as screen:
        process = subprocess.Popen(
            bound(["bash", str(TRY)]),
            env={**os.environ, **screen.environment, "TMPDIR": str(tmp_path)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            give_up = time.monotonic() + 90
            while not list(tmp_path.glob("librarian-demo-*/demo.library")):
                assert process.poll() is None, process.communicate()[0]
                assert time.monotonic() < give_up, "the window did not open its library"
                time.sleep(0.1)
            process.send_signal(signal.SIGTERM)
            said = process.communicate(timeout=30)[0]
        finally:
            process.kill()
            process.communicate()
    assert (process.returncode, said) == (0, "")
    assert [path.name for path in tmp_path.glob("librarian*")] == []
