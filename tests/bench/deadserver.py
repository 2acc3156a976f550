"""The MIDI server dies under an open window: `python -m tests.bench.deadserver [--trials N] [--seed N]`.

A real JACK server is killed (SIGKILL), or stopped (SIGSTOP), at a random moment of a capture, of a recall or of
nothing, with the real window (offscreen) and an instrument in a process of its own, and is then brought back. A timer
in the window's own event loop measures the longest time in which the loop did not turn, from the beginning of what was
hit to the recovery. On a busy machine that says little of the window, so there are two figures more: without the time
in which the thread was ready and got no processor (own), and how long a process beside it that only sleeps had to wait.

Lost: a sound of the library that is gone or changed, or one that was kept and that the instrument never had. Orphans:
processes that nobody needs any more after the recovery. The last line is RESULT.
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
from random import Random
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["JACK_NO_START_SERVER"] = "1"

from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.messages import Values, Version
from librarian.transfer.connections import Connections
from librarian.window.desk.standing import Standing
from librarian.window.desk.work import favour_the_window
from librarian.window.main import MainWindow
from librarian.window.paint.look import Look
from tests.leftovers import marked, parent
from tests.outage import MARK, DistantPit, Loop, MachineNoise, Stalls

MOMENTS = ("capture", "recall", "idle")
SAID_S, BACK_S = 1.5, 20.0
STALL_S = 0.050
_PATIENCE_S = 30.0
_ATTEND_S = 2.0


class Bench:
    """The window on a library with one instrument, and what is done to its server."""

    def __init__(self, stack: ExitStack, seed: int, noise: MachineNoise) -> None:
        self._noise = noise
        self.dice = Random(seed)
        self.application = QApplication.instance() or QApplication(["librarian"])
        self.loop = Loop()
        stack.callback(self.loop.close)
        self.pit = DistantPit("lanternfish")
        stack.callback(self.pit.close)
        started = self.at_the_pit("start")
        self.port = started["port"]
        os.environ.update(started["environment"])
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="librarian-bench-")))
        self.library = stack.enter_context(Library.open(folder / "patches.library"))
        self.connections = stack.enter_context(Connections())
        self.chart = load(shipped()["lanternfish"])
        settings = QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat)
        self.window = MainWindow(Look("light", 13), self.library, self.connections, settings)
        stack.callback(self.window.close)
        favour_the_window()  # as the program does when it starts
        self.stalls = Stalls()
        self.window.show()
        self.instrument = self._connect()
        self.loop.until(lambda: self.standing.ready, _PATIENCE_S, "the instrument did not answer at first")
        self.sounds = self._first_sounds()

    @property
    def standing(self) -> Standing:
        """The facts of the instrument as the window has them."""
        return self.window.desk.instruments.standings[self.instrument]

    @property
    def said(self) -> str:
        """What the chain says now."""
        return str(self.window.areas.chain.sentence.said)

    def _connect(self) -> int:
        def pair() -> list[str]:
            ports = [port for port in self.connections.ports() if self.port in port.name]
            return [port.fingerprint for way in ("out", "in") for port in ports if port.direction == way]

        self.loop.until(lambda: len(pair()) == 2, _PATIENCE_S, "the instrument's ports did not appear")
        output, source = pair()
        made = self.library.add_instrument(self.chart, "Lanternfish", self.chart.default_address, output, source)
        self.window.desk.instruments.load()
        return made

    def _first_sounds(self) -> list[int]:
        """Two sounds to be recalled in turn: the one that is in the instrument, and another."""
        sounds = []
        for count in range(2):
            values = Values({
                name: self.dice.randint(one.low, one.high)
                for name, one in self.chart.parameters.items() if one.sound
            })  # fmt: skip
            version = Version(self.chart.id, self.chart.revision, values, frozenset(self.chart.setup_ids))
            sounds.append(self.library.keep(self.instrument, f"Sound {count + 1}", version))
        return sounds

    def at_the_pit(self, what: str) -> Any:
        """Have something done to server or instrument, while the window goes on."""
        return self.loop.work(lambda: self.pit.ask(what))

    def is_back(self) -> bool:
        """Wait until the window has its instrument again, which is plugged in anew if the server threw it out."""
        give_up = time.monotonic() + BACK_S
        while not self.loop.until(lambda: self.standing.ready, _ATTEND_S):
            if time.monotonic() > give_up:
                return False
            self.at_the_pit("attend")
        return True

    def captures(self) -> dict[str, int] | None:
        """Capture what is in the instrument now, and what that is; None where no capture came.

        Once more only where the instrument itself was thrown out.
        """
        count = self.library.total()
        while True:
            held = self.held()
            self.loop.until(lambda: not self.window.desk.instruments.busy(self.instrument), _PATIENCE_S)
            self.window.commands.run("capture")
            if self.loop.until(lambda: self.library.total() > count, _PATIENCE_S):
                return held
            if not self.at_the_pit("attend") or not self.is_back():
                return None

    def held(self) -> dict[str, int]:
        """The sound that the instrument has, by its own word beside MIDI."""
        while not (state := self.at_the_pit("state")):
            self.at_the_pit("attend")
            self.is_back()
        return {str(name): int(value) for name, value in state["sound"].items()}

    def kept(self) -> dict[int, Version]:
        """Version id -> content of everything in the library."""
        ids = [row.id for patch in self.library.find().ids for row in self.library.versions(patch)]
        return self.library.version_contents(ids)

    def needed(self) -> set[int]:
        """The processes that a window with one instrument needs, and those that the bench needs."""
        own = self.connections.port_process
        return {self._noise.pid, *self.at_the_pit("processes"), *({own} if own is not None else set())}

    def kept_sound(self, patch: int, before: dict[str, int]) -> dict[str, int]:
        """What the instrument holds once this sound was recalled over `before`."""
        return {**before, **self.library.version(self.library.patch(patch).latest).values}

    def choose(self, number: int) -> None:
        """Look at one of the two sounds, and let the window be done with showing it."""
        self.window.desk.choose_a(self.sounds[number % 2])
        self.loop.pause(0.3)

    def begin(self, moment: str) -> None:
        """Start what the server is to be hit in."""
        if moment == "capture":
            self.window.commands.run("capture")
        elif moment == "recall":
            self.window.commands.run("recall")
            if self.window.areas.band.isVisible():
                self.window.areas.band.buttons["monitors_down"].click()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the trials; 0 when all of it held."""
    parser = argparse.ArgumentParser(prog="tests.bench.deadserver", description=__doc__)
    parser.add_argument("--trials", type=int, default=20, help="how often the server dies")
    parser.add_argument("--seed", type=int, default=1, help="which moments, which sounds")
    options = parser.parse_args(arguments)
    worst = own = said = recovered = lost = orphans = 0
    with ExitStack() as stack:
        os.environ[MARK] = str(os.getpid())
        stack.callback(os.environ.pop, MARK)
        noise = stack.enter_context(MachineNoise())
        bench = Bench(stack, options.seed, noise)
        for number in range(options.trials):
            done = _trial(bench, number)
            worst, own, said = max(worst, done.stall_ms), max(own, done.own_ms), max(said, done.said_ms)
            recovered += done.recovered
            lost += done.lost
            orphans += done.orphans
            print(f"{number + 1:3} {done.how:7} in {done.moment:7} after {done.after_ms:3} ms: {done}", flush=True)
        machine = noise.worst_ms()
    left = _left(set())
    orphans += len(left)
    print("".join(f"left running: {one}\n" for one in left), end="")
    print(
        f"RESULT trials={options.trials} window_max_stall_ms={worst} recovered={recovered} lost={lost} "
        f"orphans={orphans} own_max_stall_ms={own} machine_max_wait_ms={machine} said_max_ms={said}"
    )
    well = recovered == options.trials and not lost and not orphans and said <= SAID_S * 1000
    return 0 if well and min(worst, own) <= STALL_S * 1000 else 1


class Done:
    """What one trial came to."""

    def __init__(self, how: str, moment: str, after_ms: int) -> None:
        self.how, self.moment, self.after_ms = how, moment, after_ms
        self.stall_ms = self.own_ms = self.said_ms = self.back_ms = self.lost = self.orphans = 0
        self.recovered = False
        self.words = ""

    def __str__(self) -> str:
        return (
            f"said after {self.said_ms} ms, back {self.back_ms} ms after the server, stall {self.stall_ms} ms "
            f"({self.own_ms} of its own), "
            f"{'recovered' if self.recovered else 'NOT RECOVERED'}{self.words}"
        )


def _trial(bench: Bench, number: int) -> Done:
    dice, loop = bench.dice, bench.loop
    how = ("killed", "stopped")[number % 2]
    moment = MOMENTS[number // 2 % len(MOMENTS)] if number < 2 * len(MOMENTS) else dice.choice(MOMENTS)
    after_s = dice.uniform(0.0, 0.4)
    done = Done(how, moment, round(after_s * 1000))
    before, true_now = bench.kept(), bench.held()
    true = [true_now, *(bench.kept_sound(patch, true_now) for patch in bench.sounds)]
    bench.choose(number)
    bench.stalls.begin()
    bench.begin(moment)
    loop.pause(after_s)
    hit = time.perf_counter()
    bench.at_the_pit("kill" if how == "killed" else "freeze")
    was_told = loop.until(lambda: not bench.standing.open and "stopped at" in bench.said, 5.0)
    done.said_ms = round((time.perf_counter() - hit) * 1000)
    if not was_told:
        done.words += f"; the chain says: {bench.said}"
    loop.pause(dice.uniform(0.1, 1.0))
    bench.at_the_pit("back" if how == "killed" else "thaw")
    again = time.perf_counter()
    back = bench.is_back()
    done.back_ms = round((time.perf_counter() - again) * 1000)
    bench.stalls.end()
    done.stall_ms, done.own_ms = round(bench.stalls.whole * 1000), round(bench.stalls.own * 1000)
    if back:
        held = bench.captures()
        done.recovered = was_told and held is not None and _newest(bench) == held
        if held is None:
            done.words += f"; no capture came, the chain says: {bench.said}"
        else:
            true.append(held)
            if not done.recovered:
                done.words += f"; was told: {was_told}, or the capture differs; the chain says: {bench.said}"
    else:
        done.words += f"; the chain says: {bench.said}"
    after = bench.kept()
    gone = [one for one, version in before.items() if after.get(one) != version]
    untrue = [one for one, version in after.items() if one not in before and dict(version.values) not in true]
    done.lost = len(gone) + len(untrue)
    if done.lost:
        done.words += f"; versions gone or changed: {gone}, never true: {untrue}"
    left = _left(bench.needed())
    done.orphans = len(left)
    done.words += "".join(f"; orphan: {one}" for one in left)
    return done


def _newest(bench: Bench) -> dict[str, int]:
    version = max(bench.kept().items())[1]
    return dict(version.values)


def _left(needed: set[int], patience_s: float = 5.0) -> list[str]:
    """Processes of this run that nobody needs; what is just ending gets a while."""
    mark = os.environ.get(MARK, str(os.getpid()))
    give_up = time.monotonic() + patience_s
    while True:
        found = {
            pid: command
            for pid, command in marked(mark, MARK).items()
            if pid not in needed and parent(pid) not in needed - {os.getpid()}
        }
        if not found or time.monotonic() > give_up:
            return [f"{pid} {command}" for pid, command in found.items()]
        time.sleep(0.1)


if __name__ == "__main__":
    sys.exit(main())
