"""Does a bring-up find planted defects, and nothing else? `python -m tests.bench.bringup [--seed N]`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from librarian.transfer import Line
from librarian.transfer.bringup import Report, as_text, bring_up
from librarian.wire.clock import VirtualClock
from librarian.wire.embedded import EmbeddedCable, FarEnd
from tests.conversations import charts
from tests.defects import DEFECTS, planted
from tests.simulated import world


def report_of(far_end: FarEnd, chart: object, seed: int) -> Report:
    """A whole bring-up, memory included, on virtual wire."""
    line = Line(EmbeddedCable(far_end, VirtualClock(100.0), name="bench"), chart)  # type: ignore[arg-type]
    return bring_up(line, write_memory=True, seed=seed)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run them; 0 when every defect was found by the check that is for it and sound instruments have no failure."""
    parser = argparse.ArgumentParser(prog="tests.bench.bringup", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
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
    alarms = 0
    for chart in known.values():
        for seed in range(options.seed, options.seed + 3):
            report = report_of(world(chart, seed=seed).instrument, chart, seed)
            alarms += len(report.of("failed"))
            for one in report.of("failed"):
                print(f"false alarm ({chart.name}): {one}")
    print(f"RESULT defects={len(DEFECTS)} found={found} false_alarms={alarms}")
    return 0 if found == len(DEFECTS) and not alarms else 1


if __name__ == "__main__":
    sys.exit(main())
