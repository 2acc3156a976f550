"""Damaged files of every kind: they are read, or refused with one of our own errors, and soon.

    python -m tests.bench.filefuzz --cases 10000 --seed 1

Whole files (.syx, .mid, bundles, tables, hexadecimal text, library files) are cut, joined, bytes of them turned over,
lengths and counts made absurd, texts replaced by spiteful ones; bundles are also damaged inside a zip that is whole
again. Each is looked at, what can be imported is imported and taken back, a library is opened, checked, repaired.
`crashes`: exceptions that are none of ours, or a library that is not whole afterwards. `hangs`: cases that computed for
longer than 20 s. `outside_writes`: files that came to be outside of the library and the place for temporary files.
`mb_peak`: the process at its largest.
"""

from __future__ import annotations

import argparse
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from types import FrameType

from tests.filedamage import Cases

LONGEST_S = 20


class Hang(BaseException):
    """A case took too long. No ordinary exception, so that nothing on the way takes it for its own."""


def _ring(_signal: int, _frame: FrameType | None) -> None:
    raise Hang


def run(folder: Path, cases: int, seed: int, first: int = 0) -> dict[str, float]:
    """Run the cases in a folder of their own; print the trace of each that crashes. Needs the main thread."""
    inside, outside = folder / "cases", folder / "outside"
    inside.mkdir()
    outside.mkdir()
    here = Path.cwd()
    os.chdir(outside)
    before = signal.signal(signal.SIGPROF, _ring)
    outcome: Counter[str] = Counter()
    slowest = 0.0
    try:
        all_cases = Cases(inside, seed)
        known = all_cases.places(folder)
        for number in range(first, first + cases):
            started = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
            try:
                outcome[all_cases.run(number)] += 1
            except Hang:
                outcome["hang"] += 1
                print(f"case {number} of seed {seed} takes longer than {LONGEST_S} s", file=sys.stderr)
                all_cases.renew()
            except Exception:  # noqa: BLE001 - to count whatever it is, is the purpose
                outcome["crash"] += 1
                print(f"case {number} of seed {seed}:", file=sys.stderr)
                traceback.print_exc()
                all_cases.renew()
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            slowest = max(slowest, time.process_time() - started)
            strange = all_cases.places(folder) - known
            if strange:
                outcome["outside"] += len(strange)
                print(f"case {number} of seed {seed} wrote {sorted(map(str, strange))[:3]}", file=sys.stderr)
                known |= strange
        all_cases.close()
    finally:
        signal.signal(signal.SIGPROF, before)
        os.chdir(here)
    return {
        "cases": cases,
        "crashes": outcome["crash"],
        "hangs": outcome["hang"],
        "outside_writes": outcome["outside"],
        "mb_peak": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        "imported": outcome["imported"],
        "read": outcome["read"],
        "refused": outcome["refused"],
        "slowest_s": round(slowest, 2),
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Parse the options, run, print one line of results."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first case, to repeat one")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        found = run(Path(folder), options.cases, options.seed, options.first)
    print("RESULT " + " ".join(f"{name}={value}" for name, value in found.items()))


if __name__ == "__main__":
    main()
