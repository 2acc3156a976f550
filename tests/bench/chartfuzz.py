"""Damaged and random charts and dumps: a chart comes out, or one of our own errors, and soon.

    python -m tests.bench.chartfuzz --cases 10000 --seed 1

A quarter of the cases are shipped and invented charts with slips of the hand in the text, a quarter the same with
values replaced, a quarter charts that have to load, a quarter put together at random from the keys of the language. A
chart that loads is used: values displayed and typed, every message and binding proved, carried, printed, dumps damaged
and received. Anything that is not one of our errors is a crash; a case that computes for longer than 20 s is a hang.
"""

from __future__ import annotations

import argparse
import signal
import sys
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from types import FrameType

from librarian.chart import shipped
from tests.fuzzing import case

LONGEST_S = 20
NOTEWORTHY_S = 3
INVENTED = Path(__file__).parents[1] / "data" / "charts"


class Hang(BaseException):
    """A case took too long. No ordinary exception, so that nothing on the way takes it for its own."""


def _ring(_signal: int, _frame: FrameType | None) -> None:
    raise Hang


def run(cases: int, seed: int, first: int = 0) -> dict[str, float]:
    """Run the cases; print the trace of each that crashes. Needs SIGPROF and the main thread."""
    texts = [path.read_text(encoding="utf-8") for path in [*shipped().values(), *sorted(INVENTED.glob("*.toml"))]]
    before = signal.signal(signal.SIGPROF, _ring)
    outcome: Counter[str] = Counter()
    slowest = 0.0
    try:
        for number in range(first, first + cases):
            started = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
            try:
                outcome[case(texts, number, seed)] += 1
            except Hang:
                outcome["hang"] += 1
                print(f"case {number} of seed {seed} takes longer than {LONGEST_S} s", file=sys.stderr)
            except Exception:  # noqa: BLE001 - to count whatever it is, is the purpose
                outcome["crash"] += 1
                print(f"case {number} of seed {seed}:", file=sys.stderr)
                traceback.print_exc()
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            took = time.process_time() - started
            slowest = max(slowest, took)
            if took > NOTEWORTHY_S:
                print(f"case {number} of seed {seed} took {took:.1f} s", file=sys.stderr)
    finally:
        signal.signal(signal.SIGPROF, before)
    return {
        "cases": cases,
        "crashes": outcome["crash"],
        "hangs": outcome["hang"],
        "used": outcome["used"],
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
    found = run(options.cases, options.seed, options.first)
    print("RESULT " + " ".join(f"{name}={value}" for name, value in found.items()))


if __name__ == "__main__":
    main()
