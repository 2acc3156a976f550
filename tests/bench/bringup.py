"""Does a bring-up find planted defects, and nothing else? `python -m tests.bench.bringup [--seed N]`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from librarian.chart import Chart
from librarian.errors import Refused
from librarian.transfer import Line
from librarian.transfer.bringup import Report, as_text, bring_up
from librarian.transfer.read import askable, showing
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable, FarEnd
from tests.conversations import charts
from tests.defects import DEFECTS, planted
from tests.simulated import world
from tests.unseen import unseen

LEFT = "Its edit buffer was left as it is."


def report_of(far_end: FarEnd, chart: Chart, seed: int) -> Report:
    """A whole bring-up, memory included, on virtual wire."""
    line = Line(EmbeddedCable(far_end, VirtualClock(100.0), name="bench"), chart)
    return bring_up(line, write_memory=True, seed=seed)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run them; 0 when every defect was found by the check that is for it and sound instruments have no failure."""
    parser = argparse.ArgumentParser(prog="tests.bench.bringup", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--unseen", type=int, default=0, metavar="N", help="false alarms on N random instruments too")
    parser.add_argument("--show", default="", help="print the whole report of the defects with this word in their name")
    options = parser.parse_args(arguments)
    known = {chart.id: chart for chart in charts()}
    found = 0
    for defect in DEFECTS:
        chart = known[defect.chart]
        _, far_end = planted(defect, chart, options.seed)
        report = report_of(far_end, chart, options.seed)
        checks = sorted({one.check for one in report.of("failed")})
        hit = any(defect.found_by in check for check in checks)
        found += hit
        print(f"{'found ' if hit else 'MISSED'} {defect.name} ({chart.name}): {', '.join(checks) or 'nothing failed'}")
        if options.show and options.show in defect.name:
            print(as_text(report))
    sound = [(chart, seed) for chart in known.values() for seed in range(options.seed, options.seed + 3)]
    first = options.seed * 1000
    sound += [(unseen(number), number) for number in range(first, first + options.unseen)]
    alarms = sum(_alarms(chart, seed) for chart, seed in sound)
    print(f"RESULT defects={len(DEFECTS)} found={found} false_alarms={alarms}")
    return 0 if found == len(DEFECTS) and not alarms else 1


def _alarms(chart: Chart, seed: int) -> int:
    """False alarms of a sound instrument; none where it answers nothing at all, so that nothing can be tried."""
    one = world(chart, seed=seed)
    try:
        report = report_of(one.instrument, chart, seed)
    except Refused:
        return int(bool(showing(one.line)))
    for one in report.of("failed"):
        print(f"false alarm ({chart.name}): {one}")
    readable = bool(askable(one.line))
    back = report.restored == ("What was in it before is there again." if readable else LEFT)
    if not back:
        print(f"false alarm ({chart.name}): {report.restored}")
    return len(report.of("failed")) + (not back)


if __name__ == "__main__":
    sys.exit(main())
