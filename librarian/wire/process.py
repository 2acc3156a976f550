"""The port process seen from the program: its ports, its cables, its life.

A driver can hang for ever with the interpreter locked (a sender whose JACK server died does), so drivers live in a
process of their own. It is asked for a sign of life all the time; when it, or a MIDI server, stops answering, its
cables are lost with a sentence, it is ended, and another one is started. No call here waits for a driver longer than
its documentation says.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from types import TracebackType
from typing import Any, Self

from librarian.errors import OutsideProblem
from librarian.wire.cable import WIRE_BYTES_PER_SECOND, Cable, CableLost, NoMidiSystem, PortHeld
from librarian.wire.childlink import ChildLink
from librarian.wire.clock import SystemClock
from librarian.wire.frames import Frame, Kind, told
from librarian.wire.portcable import PortCable
from librarian.wire.ports import API_NAMES, Port
from librarian.wire.traffic import Traffic

_ROUND_S = 0.1
_ROUNDS_WITHOUT_ANSWER = 5
"""A process that lets so many rounds go by after a ping is dead for us: seen within 0.8 s. Rounds are counted and not
seconds, so that a program that was itself stopped, or a machine that slept, does not judge too soon."""
_ROUNDS_FOR_START = 45
_PAUSE_S, _LONGEST_PAUSE_S = 0.2, 1.0
_OPEN_PATIENCE_S = 4.0
_FAREWELL_S = 1.0


@dataclass(frozen=True, slots=True)
class SystemState:
    """What is true now. `apis`: usable systems (keys of `API_NAMES`). `alive`: the port process answers.

    `sentence` is for the person: what there is, or what is wrong.
    """

    apis: tuple[str, ...]
    alive: bool
    sentence: str


class _Opening:
    """A pair of ports that is being opened."""

    def __init__(self, cable: PortCable) -> None:
        self.cable = cable
        self.answered = threading.Event()
        self.problem: OutsideProblem | None = None


class PortProcess:
    """Owns the port process; a context manager. All methods may be called from any thread."""

    def __init__(self, *, traffic: Traffic | None = None) -> None:
        self._traffic = traffic
        self._clock = SystemClock()
        self._lock = threading.RLock()
        self._child: ChildLink | None = None
        self._cables: dict[int, PortCable] = {}
        self._openings: dict[int, _Opening] = {}
        self._last_handle = 0
        self._ports: tuple[Port, ...] = ()
        self._apis: tuple[str, ...] = ()
        self._sentence = "MIDI ports are being looked for."
        self._answers = False
        self._pinged = False
        self._busy_rounds = self._silent_rounds = 0
        self._starts = 0
        self._system_lost = ""
        self._listed = threading.Event()
        self._closing = threading.Event()
        self._keeper = threading.Thread(target=self._keep, name="keeper of the port process", daemon=True)
        self._keeper.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def ports(self, wait_s: float = 2.0) -> tuple[Port, ...]:
        """The ports that are there now, outputs first within each system.

        Waits at most `wait_s` seconds, and only while the first list has not come yet.
        """
        self._listed.wait(wait_s)
        with self._lock:
            return self._ports

    def system(self) -> SystemState:
        """What is true now; never waits."""
        with self._lock:
            return SystemState(self._apis, self._answers, self._sentence)

    @property
    def starts(self) -> int:
        """How many port processes have been started so far."""
        return self._starts

    @property
    def pid(self) -> int | None:
        """Process ID of the port process that runs now."""
        with self._lock:
            return self._child.pid if self._child is not None else None

    def open(self, output: Port, source: Port, *, bytes_per_second: float = WIRE_BYTES_PER_SECOND) -> Cable:
        """Connect to an instrument's two ports. Waits at most 4 s.

        Raises `CableLost` when a port is gone or does not open, `PortHeld`, `NoMidiSystem`.
        """
        content = {"output": asdict(output), "input": asdict(source), "bytes_per_second": bytes_per_second}
        name = output.name if output.name == source.name else f"{output.name} / {source.name}"
        return self._opened(name, Kind.OPEN, content)

    def open_virtual(self, name: str, *, api: str = "", bytes_per_second: float = WIRE_BYTES_PER_SECOND) -> Cable:
        """Make two ports of our own, `name` IN and `name` OUT, which other programs see as an instrument.

        `api`: a key of `API_NAMES`; '' takes the first that can. Waits at most 4 s. Raises as `open` does.
        """
        self._listed.wait(_OPEN_PATIENCE_S)
        return self._opened(name, Kind.OPEN_VIRTUAL, {"name": name, "api": api, "bytes_per_second": bytes_per_second})

    def close(self) -> None:
        """Let leave what was handed over, end the process, and return when it has ended. A second call does nothing."""
        self._closing.set()
        self._listed.set()  # nobody need wait for a list any more
        self._keeper.join()

    def _opened(self, name: str, kind: Kind, content: dict[str, Any]) -> Cable:
        with self._lock:
            if self._child is None:
                raise CableLost(self._sentence)
            if self._answers and not self._apis:
                raise NoMidiSystem(self._sentence)
            speed = float(content["bytes_per_second"])
            self._last_handle += 1
            handle = self._last_handle
            opening = _Opening(PortCable(handle, name, speed, self._clock, self._order, self._traffic))
            self._openings[handle] = opening
            self._order(told(kind, content, handle))
        answered = opening.answered.wait(_OPEN_PATIENCE_S)
        if not answered:
            with self._lock:
                self._openings.pop(handle, None)
                self._order(Frame(Kind.CLOSE, handle))
            raise CableLost(f"{name} did not open within {_OPEN_PATIENCE_S:g} s.")
        if opening.problem is not None:
            raise opening.problem
        return opening.cable

    def _order(self, order: Frame) -> None:
        with self._lock:
            if order.kind is Kind.CLOSE:
                self._cables.pop(order.handle, None)
            if self._child is not None:
                self._child.send(order)

    # The keeper's thread

    def _keep(self) -> None:
        pause_s = _PAUSE_S
        while not self._closing.is_set():
            child = ChildLink(self._on_frame)
            with self._lock:
                self._child = child
                self._starts += 1
                self._system_lost = ""
            why = self._watch(child)
            if self._closing.is_set():
                patience_s = _FAREWELL_S + self._still_leaving_s()
                self._lose_all("The program has closed its ports.")
                child.leave(patience_s)
                return
            pause_s = _PAUSE_S if self._answers else min(pause_s * 2, _LONGEST_PAUSE_S)
            self._lose_all(why)
            child.kill()
            self._closing.wait(pause_s)

    def _watch(self, child: ChildLink) -> str:
        """Why it has to go, as a sentence; or anything when the program is closing."""
        self._silent_rounds = 0
        self._pinged = False
        while not self._closing.is_set():
            if child.ended.wait(_ROUND_S):
                return self._system_lost or "The MIDI port process ended unexpectedly."
            if not self._pinged:
                self._silent_rounds = 0
                self._pinged = True
                child.send(Frame(Kind.PING))
                continue
            self._silent_rounds += 1
            patience = _ROUNDS_WITHOUT_ANSWER if self._answers else _ROUNDS_FOR_START
            if self._silent_rounds > patience + self._busy_rounds:
                return f"{' and '.join(API_NAMES[api] for api in self._apis) or 'The MIDI system'} stopped answering."
        return ""

    def _still_leaving_s(self) -> float:
        """Seconds until what was handed over has left a 5-pin cable."""
        with self._lock:
            free_at = max((cable.free_at for cable in self._cables.values()), default=0.0)
        return max(0.0, free_at - self._clock.now())

    def _lose_all(self, why: str) -> None:
        with self._lock:
            self._child = None
            self._ports, self._apis, self._answers, self._sentence = (), (), False, why
            cables, openings = list(self._cables.values()), list(self._openings.values())
            self._cables.clear()
            self._openings.clear()
        for opening in openings:
            opening.problem = CableLost(why)
            opening.answered.set()
        for cable in cables:  # outside the lock: a cable that sends holds its own first
            cable.lose(why)

    # The reading thread

    def _on_frame(self, frame: Frame) -> None:
        if frame.kind is Kind.BUSY:
            self._busy_rounds = int(frame.moment / _ROUND_S) + 1
            return
        # The process does one thing after another: whatever else it tells, no driver keeps it any more.
        self._busy_rounds = self._silent_rounds = 0
        if frame.kind is Kind.PONG:
            self._pinged = False
        elif frame.kind is Kind.SYSTEM_LOST:
            self._system_lost = frame.content["sentence"]
        elif frame.kind is Kind.PORTS:
            self._note_ports(frame.content)
        elif frame.kind in (Kind.OPENED, Kind.REFUSED):
            self._note_opening(frame)
        else:
            with self._lock:
                cable = self._cables.get(frame.handle)
                if frame.kind is Kind.LOST:
                    self._cables.pop(frame.handle, None)
            if cable is not None:
                cable.take(frame)

    def _note_ports(self, content: Mapping[str, Any]) -> None:
        ports = tuple(Port(*fields) for fields in content["ports"])
        apis = tuple(content["apis"])
        if apis:
            outputs = sum(port.direction == "out" for port in ports)
            systems = " and ".join(API_NAMES[api] for api in apis)
            sentence = f"MIDI over {systems}; outputs: {outputs}, inputs: {len(ports) - outputs}."
        else:
            sentence = f"No MIDI system found: {'; '.join(content['troubles'])}."
        with self._lock:
            self._ports, self._apis, self._answers, self._sentence = ports, apis, True, sentence
        self._listed.set()

    def _note_opening(self, frame: Frame) -> None:
        with self._lock:
            opening = self._openings.pop(frame.handle, None)
            if opening is None:
                return  # given up meanwhile; the order to close it is under way
            if frame.kind is Kind.OPENED:
                opening.cable.opened(frame.content["longest"])
                self._cables[frame.handle] = opening.cable
            else:
                problem = _PROBLEMS.get(frame.content["kind"], CableLost)
                opening.problem = problem(frame.content["sentence"])
            opening.answered.set()


_PROBLEMS: dict[str, type[OutsideProblem]] = {"held": PortHeld, "no system": NoMidiSystem}
