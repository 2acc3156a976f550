"""How much longer than the bare wire the conversations take: `python -m tests.bench.recall [--rounds N] [--no-jack]`.

Ratio = measured seconds / (bytes that must travel, both ways, / 3,125 bytes a second), on the machine's own clock. The
instrument answers at once and wants no gaps, so that everything above 1 is ours. First over the embedded cable at wire
speed, then over JACK to a stand-in in another process; panic is pressed in the middle of a long recall by controllers.

JACK works in periods (`--period` frames of 1/48,000 s): each question and each answer waits for the next one, half a
period on average, so that a question with its answer takes one period longer than its bytes. `jack_turn_ms` is what
the shortest question takes beyond its bytes, measured; a conversation pays it once for each question. No pacing can
win that back, and a 5-pin cable does not have it.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from librarian.chart import Chart, load, shipped
from librarian.messages import Values, Version
from librarian.standin import Behaviour, Instrument
from librarian.transfer import Line, Progress, Recalled, Verified, capture, identify, panic, recall, verify
from librarian.wire.cable import WIRE_BYTES_PER_SECOND, Cable
from librarian.wire.clock import SystemClock
from librarian.wire.embedded import EmbeddedCable
from librarian.wire.process import PortProcess
from librarian.wire.traffic import Traffic
from tests.jackd import JackServer
from tests.onejob import connect, elsewhere
from tests.standins import StandInProcess

_CHANGED = 5


@dataclass(frozen=True, slots=True)
class Figures:
    """One cable's figures; ratios are medians."""

    cc: float
    sysex: float
    share: float
    verify: float
    panic_ms: float
    turn_ms: float


class Watched:
    """A far end that notes when the first byte of a panic reaches the instrument."""

    def __init__(self, inner: Instrument) -> None:
        self.inner = inner
        self.silenced_at: float | None = None

    def feed(self, data: bytes, now: float) -> None:
        """See `FarEnd.feed`; a hold pedal released is the panic's first message."""
        if self.silenced_at is None and bytes((0xB0 | self.inner.address.channel, 64, 0)) in data:
            self.silenced_at = now
        self.inner.feed(data, now)

    def due(self, now: float) -> list[tuple[float, bytes]]:
        """See `FarEnd.due`."""
        return self.inner.due(now)

    def next_due(self) -> float | None:
        """See `FarEnd.next_due`."""
        return self.inner.next_due()


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure; 0 when every figure reaches its goal on the embedded cable."""
    parser = argparse.ArgumentParser(prog="tests.bench.recall", description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--no-jack", action="store_true")
    parser.add_argument("--period", type=int, default=256, help="frames of a period of the JACK server")
    options = parser.parse_args(arguments)
    chart = load(shipped()["lanternfish"])
    wire = embedded(chart, options.rounds, options.seed)
    _print("embedded", wire)
    more = ""
    if not options.no_jack:
        jack = _jack(chart, options.rounds, options.seed, options.period)
        _print("JACK", jack)
        more = (
            f" jack_cc_wire_ratio={jack.cc:.3f} jack_sysex_wire_ratio={jack.sysex:.3f}"
            f" jack_verify_wire_ratio={jack.verify:.3f} jack_panic_ms={jack.panic_ms:.1f}"
            f" jack_turn_ms={jack.turn_ms:.1f} jack_period_ms={options.period / 48:.1f}"
        )
    print(
        f"RESULT cc_wire_ratio={wire.cc:.3f} sysex_wire_ratio={wire.sysex:.3f} "
        f"delta_bytes_share={wire.share:.3f} verify_wire_ratio={wire.verify:.3f} "
        f"panic_ms={wire.panic_ms:.1f}{more}"
    )
    reached = wire.cc <= 1.05 and wire.sysex <= 1.05 and wire.share <= 0.15
    return 0 if reached and wire.verify <= 1.10 and wire.panic_ms <= 20 else 1


def _print(cable: str, figures: Figures) -> None:
    print(
        f"{cable:9} controllers {figures.cc:.3f}  dump {figures.sysex:.3f}  five of 52: {figures.share:.3f} of the "
        f"bytes  verify {figures.verify:.3f}  panic {figures.panic_ms:.1f} ms  a turn {figures.turn_ms:.1f} ms"
    )


def embedded(chart: Chart, rounds: int, seed: int) -> Figures:
    """Figures over the embedded cable at wire speed, on the machine's own clock."""
    watched = Watched(Instrument(chart, seed=seed, behaviour=Behaviour(answer_delay_s=0.0)))
    cable = EmbeddedCable(watched, SystemClock())

    def press(line: Line) -> float:
        watched.silenced_at = None
        pressed = cable.clock.now()
        panic(line)
        give_up = pressed + 2.0
        while watched.silenced_at is None and cable.clock.now() < give_up:
            cable.clock.sleep(0.0005)
        return ((watched.silenced_at or give_up) - pressed) * 1000

    try:
        return _measured(chart, cable, rounds, seed, lambda name, value: _turn(watched, name, value, cable), press)
    finally:
        cable.close()


def _turn(watched: Watched, name: str, value: int, cable: Cable) -> None:
    watched.inner.set_sound({name: value}, cable.clock.now())


def _jack(chart: Chart, rounds: int, seed: int, period: int) -> Figures:
    with ExitStack() as running:
        jack = running.enter_context(JackServer(period=period))
        os.environ.update(jack.environment)
        traffic = Traffic()
        silence = bytes((0xB0 | chart.channel, 64, 0))
        ports = running.enter_context(PortProcess(traffic=traffic))
        folder = running.enter_context(tempfile.TemporaryDirectory(prefix="librarian-bench-"))
        place = Path(folder, "jumps.toml")
        # Its pots take over at once, so that turning one by the other road changes the sound.
        place.write_text(chart.text.replace('takeover = "waits"', 'takeover = "jumps"'), encoding="utf-8")
        words = ("--seed", str(seed), "--behave", "answer_delay_s=0.0", "--behave", "send_controllers=no")
        stand_in = running.enter_context(StandInProcess(place, "Pit bench", words))
        cable = connect(ports, "Pit bench")

        def press(line: Line) -> float:
            pressed = cable.clock.now()
            panic(line)
            while cable.clock.now() < pressed + 2.0:
                first = [one.at for one in traffic.after() if one.raw == silence and one.at >= pressed]
                if first:
                    return (first[0] - pressed) * 1000
                cable.clock.sleep(0.0005)
            return 2000.0

        try:
            return _measured(chart, cable, rounds, seed, stand_in.turn, press)
        finally:
            cable.close()


def _measured(
    chart: Chart,
    cable: Cable,
    rounds: int,
    seed: int,
    turn: Callable[[str, int], object],
    press: Callable[[Line], float],
) -> Figures:
    line = Line(cable, chart)
    line.pace = replace(chart.pace, gap_after_cc_s=0.0, gap_after_sysex_s=0.0)
    turns = [_turn_ms(line) for _ in range(4 * rounds)]
    dice = Random(seed)
    controllers, dumps, verified, shares, panics = [], [], [], [], []
    for _ in range(rounds):
        values = {name: dice.randint(one.low, one.high) for name, one in chart.parameters.items()}
        version = Version(chart.id, chart.revision, Values(values))
        result = recall(line, version, way="controllers", whole=True, with_setup=True, verify=False)
        controllers.append(_ratio(result))
        whole = recall(line, version, way="dump", whole=True, with_setup=True, verify=False)
        dumps.append(_ratio(whole))
        verified.append(_ratio(verify(line, version, with_setup=True)))
        sound = capture(line).version
        for name in dice.sample(list(chart.sound_ids), _CHANGED):
            turn(name, elsewhere(chart, name, sound.values[name]))
        short = recall(line, sound)
        assert short.state == "arrived", short.sentence
        assert short.sent == _CHANGED, short.sent
        written = sum(len(raw) for burst in chart.codec.controllers(values, line.address) for raw in burst.messages)
        shares.append(_delta_bytes(short) / written)
        panics.append(_panic_in_the_middle(line, version, press))
    median = statistics.median
    return Figures(median(controllers), median(dumps), median(shares), median(verified), max(panics), median(turns))


def _turn_ms(line: Line) -> float:
    """Milliseconds that the identity question and its answer take beyond their own bytes."""
    before = line.cable.counts()
    waited = identify(line).waited_s
    after = line.cable.counts()
    size = after.bytes_out - before.bytes_out + after.bytes_in - before.bytes_in
    return (waited - size / WIRE_BYTES_PER_SECOND) * 1000


def _ratio(result: Recalled | Verified) -> float:
    return result.seconds / ((result.bytes_out + result.bytes_in) / WIRE_BYTES_PER_SECOND)


def _delta_bytes(short: Recalled) -> int:
    """What the recall wrote: everything sent but the three questions for the sound, of 5 bytes each."""
    return short.bytes_out - 15


def _panic_in_the_middle(line: Line, version: Version, press: Callable[[Line], float]) -> float:
    """Milliseconds from the key to the wire, while another thread sends every controller."""
    sending = threading.Event()

    def watch(progress: Progress) -> None:
        if progress.what == "parameters" and progress.done >= 10 and progress.total == len(version.values):
            sending.set()

    running = threading.Thread(
        target=lambda: recall(
            line, version, way="controllers", whole=True, with_setup=True, verify=False, progress=watch
        )
    )
    running.start()
    assert sending.wait(10)
    took = press(line)
    assert running.is_alive(), "the recall was over before the key was pressed"
    running.join()
    return took


if __name__ == "__main__":
    sys.exit(main())
