"""Thousands of conversations with everything that can go wrong: `python -m tests.bench.faults [--conversations N]`.

Virtual wire and clock, so an hour of waiting costs milliseconds; every run comes from its seed. Each conversation must
end by proof or by telling the cause, within its stated time, and what it keeps must be what the instrument had. What
is told must fit the trouble that was planted (`tests.causes`). `--unseen N`: with N random charts of that seed instead
of the four known instruments; `--charts FOLDER`: with the charts of that folder.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from librarian.chart import load
from tests.conversations import TROUBLES, Judgement, charts, converse
from tests.unseen import unseen


def main(arguments: Sequence[str] | None = None) -> int:
    """Run them; 0 when nothing was silently wrong, hung, or kept wrong."""
    parser = argparse.ArgumentParser(prog="tests.bench.faults", description=__doc__)
    parser.add_argument("--conversations", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--unseen", type=int, default=0, metavar="N", help="with N random instruments of this seed")
    parser.add_argument("--charts", type=Path, metavar="FOLDER", help="with the charts of this folder")
    parser.add_argument("--only", type=int, help="run just this one, with everything printed")
    options = parser.parse_args(arguments)
    first = options.seed * 1000
    instruments = [unseen(number) for number in range(first, first + options.unseen)]
    if options.charts is not None:
        instruments += [load(place) for place in sorted(options.charts.glob("*.toml"))]
    instruments = instruments or charts()
    names = sorted(TROUBLES)
    ends: Counter[str] = Counter()
    by_trouble: dict[str, Counter[str]] = {name: Counter() for name in names}
    wrong: list[Judgement] = []
    started = time.perf_counter()
    numbers = range(options.conversations) if options.only is None else [options.only]
    for number in numbers:
        judgement = converse(instruments, names, options.seed, number)
        ends[judgement.end] += 1
        by_trouble[judgement.trouble][judgement.kind] += 1
        if judgement.end not in {"proved", "told"}:
            wrong.append(judgement)
        if options.only is not None:
            print(judgement)
    for name in names:
        counts = by_trouble[name]
        told = ", ".join(f"{kind} {count}" for kind, count in sorted(counts.items()) if kind != "proved")
        print(f"{name:32} proved {counts['proved']:5}  {told}")
    for judgement in wrong[:20]:
        print(judgement)
    print(f"{time.perf_counter() - started:.1f} s")
    print(
        f"RESULT conversations={sum(ends.values())} proved={ends['proved']} told={ends['told']} "
        f"silent_wrong={ends['silent_wrong']} hung={ends['hung']} kept_wrong={ends['kept_wrong']}"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
