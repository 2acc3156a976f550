"""Ctrl+C in the middle of a backup over JACK: answered at once, nothing that was read is lost, and it goes on later."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.collection.memories import Memories
from librarian.wire.process import PortProcess
from tests.jackd import bound
from tests.onejob import pair_of
from tests.standins import StandInProcess

pytestmark = [pytest.mark.jack, pytest.mark.slow]

Start = Callable[..., StandInProcess]


def words(library: Path, *verb: str) -> list[str]:
    return bound([sys.executable, "-m", "librarian", "--library", str(library), *verb, "--json"])


def test_ctrl_c_in_a_backup_is_answered_and_the_backup_goes_on(standin: Start, library_path: Path) -> None:
    one = standin("lanternfish", "Pit stop")
    chart = load(shipped()["lanternfish"])
    with PortProcess() as ports:
        output, source = pair_of(ports, one.port)
    with Library.open(library_path) as library:
        library.add_instrument(chart, "Lanternfish", chart.default_address, output.fingerprint, source.fingerprint)
        running = subprocess.Popen(
            words(library_path, "bank", "backup", "Sunday", "--programs", "1..12"),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=dict(os.environ),
        )
        try:
            give_up = time.monotonic() + 60
            while not any(len(each.kept) >= 2 for each in Memories(library).all()):
                assert running.poll() is None, running.communicate()
                assert time.monotonic() < give_up, "no program was read"
                time.sleep(0.02)
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=30)
        finally:
            if running.poll() is None:
                running.kill()
                running.communicate()
        assert running.returncode == 130, (out, err)
        assert "Traceback" not in err
        problem = json.loads(out)["problem"]
        (broken,) = Memories(library).all()
        assert (broken.ended, broken.name) == (False, "Sunday")
        assert problem["kind"] == "cancelled"
        assert problem["sentence"].startswith(f"{len(broken.kept)} of 12 programs were read and kept.")
    asked = one.state()["received"]
    done = subprocess.run(
        words(library_path, "bank", "backup", "--resume"), capture_output=True, text=True, timeout=90, check=False
    )
    assert done.returncode == 0, (done.stdout, done.stderr)
    answer = json.loads(done.stdout)
    assert (answer["memory"]["complete"], answer["resumed"]) == (True, len(broken.kept))
    # Two requests of 7 bytes for each program that was missing; a few more when an answer was damaged.
    assert one.state()["received"] - asked < (12 - len(broken.kept)) * 3 * 7 + 60
