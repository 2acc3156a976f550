"""The bench `deadserver` at a small size: one server is killed, one is stopped, both under the real window."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest

from tests.jackd import bound

pytestmark = [pytest.mark.jack, pytest.mark.slow]


@pytest.mark.usefixtures("room_for_a_server")
def test_the_window_outlives_a_killed_and_a_stopped_server() -> None:
    done = subprocess.run(
        bound([sys.executable, "-m", "tests.bench.deadserver", "--trials", "2", "--seed", "2"]),
        capture_output=True,
        text=True,
        timeout=150,
        check=False,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )
    result = done.stdout.strip().splitlines()[-1:]
    found = dict(re.findall(r"(\w+)=(-?\d+)", "".join(result)))
    assert found, done.stdout + done.stderr
    # How long the loop stood still depends on who else uses this machine; the bench by itself is the measure of that.
    assert (found["recovered"], found["lost"], found["orphans"]) == ("2", "0", "0"), done.stdout
