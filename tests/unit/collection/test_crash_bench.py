"""The bench of killed programs in a small setting: an edit, a full disk, an opening and a schema change are killed."""

from __future__ import annotations

import subprocess
import sys

from tests.jackd import bound


def test_nothing_acknowledged_is_lost() -> None:
    command = [sys.executable, "-m", "tests.bench.crash", "--kills", "5", "--seed", "4"]
    with subprocess.Popen(bound(command), stdout=subprocess.PIPE, text=True) as process:
        out, _ = process.communicate(timeout=150)
    assert process.returncode == 0
    result = dict(word.split("=") for word in out.splitlines()[-1].removeprefix("RESULT ").split())
    assert int(result["acknowledged"]) > 0, out
    assert (result["lost"], result["corrupt"], result["half"]) == ("0", "0", "0"), out
