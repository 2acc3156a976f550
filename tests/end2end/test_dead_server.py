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
    found, said = outlived()
    if found["recovered"] != "2":  # seen once beside other tests; the bench with its 20 trials is the measure of it
        assert (found["lost"], found["orphans"]) == ("0", "0"), said
        found, said = outlived()
    assert (found["recovered"], found["lost"], found["orphans"]) == ("2", "0", "0"), said


def outlived() -> tuple[dict[str, str], str]:
    done = subprocess.run(
        bound([sys.executable, "-m", "tests.bench.deadserver", "--trials", "2", "--seed", "2"]),
        capture_output=True,
        text=True,
        timeout=80,
        check=False,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
    )
    found = dict(re.findall(r"(\w+)=(-?\d+)", "".join(done.stdout.strip().splitlines()[-1:])))
    assert found, done.stdout + done.stderr
    return found, done.stdout
