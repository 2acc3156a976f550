"""The loop of the port process: obeys, writes, reads, looks for ports that come and go, feels the server's pulse."""

from __future__ import annotations

import os
import queue
import struct
import time
from collections.abc import Iterable
from typing import Any, BinaryIO

from librarian.wire import portdriver as driver
from librarian.wire.frames import Frame, Kind, told
from librarian.wire.portpair import PortPair
from librarian.wire.ports import API_NAMES, Port

_POLL_S = 0.001
_IDLE_S = 0.020
_LOOK_S = 0.25
_TRY_AGAIN_S = 1.0
_PULSE_S = 0.05
_MISSED_TO_HOLD_BACK, _MISSED_PULSES = 3, 16
"""In a row. On a busy machine the server loses single ones; a dead one is seen after 0.8 s."""
_OPENING_S = 3.0
"""A system may take so long to open a port: servers answer late on a busy machine."""
_LONGEST_FAREWELL_S = 6.0
_VIRTUAL_APIS = ("jack", "alsa", "coremidi")


class Pump:
    """`orders`: frames of the parent, None at their end. `frames_out`: where the answers go, unbuffered."""

    def __init__(self, orders: queue.SimpleQueue[Frame | None], frames_out: BinaryIO) -> None:
        self._orders = orders
        self._frames_out = frames_out
        self._to_tell: list[bytes] = []
        self._pairs: dict[int, PortPair] = {}
        self._closing: list[PortPair] = []
        self._systems: dict[str, driver.System] = {}
        self._troubles: dict[str, str] = {}
        self._told_ports: object = None
        self._look_at = self._try_at = self._pulse_at = 0.0
        self._missed = 0

    def run(self) -> None:
        """Serve until the parent is gone."""
        while self._obey():
            now = time.perf_counter()
            self._serve_pairs(now)
            if now >= self._look_at:
                self._look_at = now + _LOOK_S
                self._look(now)
            if now >= self._pulse_at and "jack" in self._systems:
                self._pulse_at = now + _PULSE_S
                self._feel_pulse()
            self._flush()
        self._say_goodbye()

    # Telling

    def _tell(self, frame: Frame) -> None:
        self._to_tell.append(frame.to_bytes())
        if frame.kind is Kind.BUSY:
            self._flush()

    def _flush(self) -> None:
        data = memoryview(b"".join(self._to_tell))
        self._to_tell.clear()
        while data:
            data = data[self._frames_out.write(data) :]

    # Obeying

    def _obey(self) -> bool:
        """Wait for something to do and obey; False when the parent is gone."""
        pairs = [pair for pair in self._pairs.values() if not self._held_back(pair)]
        starts = [start for pair in pairs if (start := pair.next_start()) is not None]
        wait_s = _POLL_S if self._pairs else _IDLE_S
        if starts:
            wait_s = min(wait_s, max(0.0, min(starts) - time.perf_counter()))
        try:
            order = self._orders.get(timeout=wait_s)
            while order is not None:
                self._do(order)
                order = self._orders.get_nowait()
        except queue.Empty:
            return True
        return False

    def _do(self, order: Frame) -> None:
        pair = self._pairs.get(order.handle)
        if order.kind is Kind.PING:
            self._tell(Frame(Kind.PONG))
        elif order.kind is Kind.OPEN:
            self._open(order)
        elif order.kind is Kind.OPEN_VIRTUAL:
            self._open_virtual(order)
        elif pair is None:
            return  # an order that crossed with the news of a loss
        elif order.kind in (Kind.SEND, Kind.SEND_URGENT):
            pair.put(order, time.perf_counter(), urgent=order.kind is Kind.SEND_URGENT)
        elif order.kind is Kind.DROP:
            tickets = pair.drop()
            self._tell(Frame(Kind.DROPPED, order.handle, body=struct.pack(f"!{len(tickets)}Q", *tickets)))
        elif order.kind is Kind.CLOSE:
            self._begin_closing(self._pairs.pop(order.handle))

    def _begin_closing(self, pair: PortPair) -> None:
        """Forget what waits, but let a panic go out; the ports close when everything has left."""
        pair.drop()
        try:
            if not self._held_back(pair):
                pair.hurry(time.perf_counter, self._tell)
        except driver.PROBLEMS:
            pair.close()  # they are broken; whoever closed them is not interested any more
            return
        self._closing.append(pair)

    def _open(self, order: Frame) -> None:
        self._tell(Frame(Kind.BUSY, moment=_OPENING_S))
        asked = order.content
        output, source = Port(**asked["output"]), Port(**asked["input"])
        for port in (output, source):
            if port.api not in self._systems:
                self._refuse(order, "no system", f"{port.name} cannot be opened: {_not_there(port.api)}.")
                return
        self._close_all(pair for pair in self._closing if {output, source}.intersection(pair.ports))
        opened: list[Any] = []
        for port, opening in ((output, driver.open_output), (source, driver.open_input)):
            try:
                opened.append(opening(port))
            except (driver.PortGone, *driver.PROBLEMS) as error:
                for end in opened:
                    end.delete()
                self._refuse(order, *_why(port, error))
                return
        self._add(order, output.api, (output, source), opened[0], opened[1])

    def _open_virtual(self, order: Frame) -> None:
        self._tell(Frame(Kind.BUSY, moment=_OPENING_S))
        asked = order.content
        wanted = [api for api in _VIRTUAL_APIS if api in self._systems and asked["api"] in ("", api)]
        if not wanted:
            reasons = "; ".join(_not_there(api) for api in _VIRTUAL_APIS if asked["api"] in ("", api))
            self._refuse(order, "no system", f"The ports {asked['name']} cannot be made: {reasons}.")
            return
        try:
            midi_out, midi_in = driver.open_virtual(wanted[0], asked["name"])
        except driver.PROBLEMS as error:
            self._refuse(order, "failed", f"{API_NAMES[wanted[0]]} made no ports called {asked['name']}: {error}")
            return
        self._add(order, wanted[0], (), midi_out, midi_in)

    def _add(self, order: Frame, api: str, ports: tuple[Port, ...], midi_out: Any, midi_in: Any) -> None:
        speed = float(order.content["bytes_per_second"])
        self._pairs[order.handle] = PortPair(order.handle, api, ports, midi_out, midi_in, speed)
        self._tell(told(Kind.OPENED, {"longest": driver.LONGEST.get(api)}, order.handle))

    def _refuse(self, order: Frame, kind: str, sentence: str) -> None:
        self._tell(told(Kind.REFUSED, {"kind": kind, "sentence": sentence}, order.handle))

    # Pairs

    def _serve_pairs(self, now: float) -> None:
        for pair in list(self._pairs.values()):
            try:
                if not self._held_back(pair):
                    pair.write(time.perf_counter, self._tell)
            except driver.PROBLEMS as error:
                self._lose(pair, f"{API_NAMES[pair.api]} did not take a message: {error}")
                continue
            for frame in pair.read(time.perf_counter):
                self._tell(frame)
        self._close_all(pair for pair in self._closing if now >= pair.may_close_at())

    def _held_back(self, pair: PortPair) -> bool:
        """True while nothing may be sent: what a dead server does not fetch piles up until sending never returns."""
        return pair.api == "jack" and self._missed >= _MISSED_TO_HOLD_BACK

    def _lose(self, pair: PortPair, sentence: str) -> None:
        del self._pairs[pair.handle]
        self._tell(told(Kind.LOST, {"sentence": sentence}, pair.handle))
        pair.close()

    def _close_all(self, pairs: Iterable[PortPair]) -> None:
        for pair in list(pairs):
            self._closing.remove(pair)
            pair.close()

    def _say_goodbye(self) -> None:
        """Let leave what was handed over, then close everything: a server takes seconds to miss who just goes."""
        pairs = [*self._pairs.values(), *self._closing]
        wait_s = max((pair.may_close_at() for pair in pairs), default=0.0) - time.perf_counter()
        time.sleep(min(max(wait_s, 0.0), _LONGEST_FAREWELL_S))
        for pair in pairs:
            pair.close()
        for system in self._systems.values():
            system.close()

    # Systems

    def _look(self, now: float) -> None:
        """Find out which ports there are, and which pairs have lost one."""
        if now >= self._try_at:
            self._try_at = now + _TRY_AGAIN_S
            self._reach_systems()
        ports = self._listed()
        if self._gone(ports):
            # A port that comes or goes while a list is made moves the others under it: only a second look is proof.
            ports = self._listed()
        self._tell_ports(ports)
        for pair, gone in self._gone(ports):
            self._lose(pair, f"The port {gone.name} is gone.")

    def _listed(self) -> list[Port]:
        ports: list[Port] = []
        for api, system in list(self._systems.items()):
            try:
                ports += system.ports()
            except driver.PROBLEMS as error:
                self._flush_end(f"{API_NAMES[api]} does not list its ports any more: {error}")
        return ports

    def _gone(self, ports: list[Port]) -> list[tuple[PortPair, Port]]:
        """The pairs that have lost a port, with the first one that each has lost."""
        listed = {(port.api, port.direction, port.name) for port in ports}
        missing = [
            (pair, [port for port in pair.ports if (port.api, port.direction, port.name) not in listed])
            for pair in self._pairs.values()
        ]
        return [(pair, gone[0]) for pair, gone in missing if gone]

    def _reach_systems(self) -> None:
        for api in driver.compiled_apis():
            if api not in self._systems:
                try:
                    self._systems[api] = driver.System(api)
                    self._troubles.pop(api, None)
                    self._missed = 0
                except driver.PROBLEMS:
                    self._troubles[api] = _not_there(api)

    def _tell_ports(self, ports: list[Port]) -> None:
        content = {
            "apis": list(self._systems),
            "troubles": list(self._troubles.values()),
            "ports": [[port.api, port.direction, port.name, port.ordinal] for port in ports],
        }
        if content != self._told_ports:
            self._told_ports = content
            self._tell(told(Kind.PORTS, content))

    def _feel_pulse(self) -> None:
        self._missed = 0 if self._systems["jack"].beat() else self._missed + 1
        if self._missed >= _MISSED_PULSES:
            self._flush_end("The JACK server stopped answering.")

    def _flush_end(self, sentence: str) -> None:
        """A system died under us. Its library's state is unknown, and a fresh process is the only sure cure."""
        self._tell(told(Kind.SYSTEM_LOST, {"sentence": sentence}))
        self._flush()
        os._exit(1)


def _not_there(api: str) -> str:
    what = {"jack": "no JACK server is running", "alsa": "the kernel's ALSA sequencer is not there"}
    return what.get(api, f"{API_NAMES[api]} does not answer")


def _why(port: Port, error: Exception) -> tuple[str, str]:
    """(kind, sentence) of why a port could not be opened."""
    if isinstance(error, driver.PortGone):
        return "gone", f"The port {port.name} is gone."
    if port.api == "winmm":  # its only message is "error creating Windows MM MIDI port"
        return "held", f"Another program has the port {port.name}."
    return "failed", f"{API_NAMES[port.api]} could not open the port {port.name}: {error}"
