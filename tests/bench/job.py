"""The whole job over real MIDI ports, both instruments: `python -m tests.bench.job [--seed N]`.

Starts a JACK server of its own and both stand-ins as processes of their own; ends with one line of numbers as they
came out.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.wire.process import PortProcess
from tests.jackd import JackServer
from tests.onejob import connect, do_the_job
from tests.standins import StandInProcess


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the job; 0 when everything was proved."""
    parser = argparse.ArgumentParser(prog="tests.bench.job", description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="which sounds the instruments have at first")
    options = parser.parse_args(arguments)
    numbers: list[str] = []
    differences: set[int] = set()
    well = True
    with ExitStack() as running:
        jack = running.enter_context(JackServer())
        os.environ.update(jack.environment)
        folder = running.enter_context(tempfile.TemporaryDirectory(prefix="librarian-bench-"))
        library = running.enter_context(Library.open(Path(folder, "patches.sqlite")))
        ports = running.enter_context(PortProcess())
        standins = {}
        for chart_id in ("lanternfish", "fogbell"):
            place = Path(str(shipped()[chart_id]))
            words = ("--seed", str(options.seed))
            standins[chart_id] = running.enter_context(StandInProcess(place, f"Pit {chart_id}", words))
        started = time.perf_counter()
        for chart_id, stand_in in standins.items():
            chart = load(shipped()[chart_id])
            cable = connect(ports, f"Pit {chart_id}")
            done = do_the_job(stand_in, cable, chart, library, chart.name)
            cable.close()
            print(f"{chart.name}: {done.identified.sentence}")
            print(f"{chart.name}: {done.first.sentence} ({done.first.bytes_in} bytes, {done.first.seconds:.3f} s)")
            for row in done.comparison.different:
                print(f"{chart.name}: {row.parameter}: {row.text_a} -> {row.text_b} ({row.text_difference})")
            print(f"{chart.name}: {done.recalled.sentence} ({done.recalled.seconds:.3f} s)")
            own_word = done.sound_after == done.sound_before
            print(f"{chart.name}: the stand-in itself says {'the same' if own_word else 'otherwise'}")
            numbers.append(f"{chart_id}_known={done.first.known} {chart_id}_equal={done.recalled.equal}")
            differences.add(len(done.comparison.different))
            turned = {row.parameter for row in done.comparison.different} == set(done.turned)
            well = well and own_word and turned and done.recalled.state == "arrived" and len(done.found) == 1
        seconds = time.perf_counter() - started
    most = max(differences)
    print(f"RESULT real_midi=1 {' '.join(numbers)} differences={most} seconds={seconds:.2f}")
    return 0 if well and differences == {3} else 1


if __name__ == "__main__":
    sys.exit(main())
