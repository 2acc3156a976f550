"""The window as a process: ended from outside it leaves nothing behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.jackd import bound

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_demo_that_is_ended_by_a_signal_leaves_nothing_behind(tmp_path: Path, number: signal.Signals):
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    process = subprocess.Popen(
        bound([sys.executable, "-m", "librarian", "window", "--demo"]),
        env={**os.environ, "TMPDIR": str(temporary)},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        give_up = time.monotonic() + 60
        while not list(temporary.glob("librarian-demo-*/demo.library")):
            assert process.poll() is None, process.communicate()[1]
            assert time.monotonic() < give_up, "the window did not open its library"
            time.sleep(0.1)
        process.send_signal(number)
        said = process.communicate(timeout=30)[1]
    finally:
        process.kill()
        process.communicate()
    # Qt's offscreen screen says this of every window; it is not ours.
    assert (process.returncode, said.replace("This plugin does not support propagateSizeHints()\n", "")) == (0, "")
    assert list(temporary.iterdir()) == []
