"""Real ports: two port processes over a real JACK server, and what happens when one of them, or the server, dies."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

import pytest
import rtmidi

from librarian.messages import Damaged, Message
from librarian.wire import universal
from librarian.wire.cable import Cable, CableLost, TooLong
from librarian.wire.ports import Port
from librarian.wire.process import PortProcess
from librarian.wire.traffic import Traffic
from tests.jackd import JackServer

pytestmark = pytest.mark.jack

FAST = 1_000_000.0
"""Bytes per second that no 5-pin cable has, so that tests of other things do not wait for the wire."""
# Clients of one name disturb each other even on different JACK servers, and another copy of the tests may be running.
FOGBELL, BARE = f"Fogbell {os.getpid()}", f"Bare {os.getpid()}"


T = TypeVar("T")


def until(find: Callable[[], T | None], timeout_s: float = 15.0) -> T:
    """What `find` finds, as soon as it finds something."""
    give_up = time.monotonic() + timeout_s
    while not (found := find()):
        assert time.monotonic() < give_up, "it did not come about"
        time.sleep(0.01)
    return found


def pair_called(name: str, process: PortProcess) -> tuple[Port, Port] | None:
    found = {port.direction: port for port in process.ports() if port.name.startswith(name)}
    return (found["out"], found["in"]) if len(found) == 2 else None


class Bench:
    """A computer and an instrument, each with a port process of its own, and the cable between them."""

    def __init__(self, computer: PortProcess, instrument: PortProcess, name: str = FOGBELL) -> None:
        self.computer, self.instrument, self.name = computer, instrument, name
        self.far = instrument.open_virtual(name, bytes_per_second=FAST)
        self.near = self.open()

    def open(self, speed: float = FAST) -> Cable:
        output, source = until(lambda: pair_called(self.name, self.computer))
        return self.computer.open(output, source, bytes_per_second=speed)


@contextmanager
def bench(traffic: Traffic | None = None) -> Iterator[Bench]:
    with PortProcess(traffic=traffic) as computer, PortProcess() as instrument:
        yield Bench(computer, instrument)


def raws(cable: Cable, count: int, timeout_s: float = 5.0) -> list[bytes]:
    """The bytes of the next arrivals, which all have to be whole."""
    found = []
    while len(found) < count and (arrival := cable.receive(timeout_s)) is not None:
        assert isinstance(arrival, Message), arrival
        found.append(arrival.raw)
    return found


def is_lost(cable: Cable) -> bool:
    """Whether it is lost soon; how soon, `tests.bench.deadserver` measures."""
    give_up = time.monotonic() + 10
    try:
        while time.monotonic() < give_up:
            cable.receive(0.5)
    except CableLost:
        return True
    return False


def sysex(length: int) -> bytes:
    return b"\xf0" + bytes(value % 128 for value in range(length - 2)) + b"\xf7"


@pytest.mark.usefixtures("jack_server")
class TestOverJack:
    def test_a_thousand_controllers_in_order_both_ways(self) -> None:
        burst = [bytes((0xB0 | number % 16, number % 120, number // 8)) for number in range(1000)]
        with bench() as on:
            for sender, receiver in ((on.near, on.far), (on.far, on.near)):
                for message in burst:
                    sender.send(message)
                assert raws(receiver, 1000) == burst
                until(lambda sender=sender: sender.sent() == 1000)
                assert sender.counts().bytes_out == receiver.counts().bytes_in == 3000

    def test_sysex_of_every_length_up_to_the_limit_intact(self) -> None:
        lengths = [*range(2, 41), 128, 256, 257, 1024, 4096, 4104, 15_999, 16_000]
        with bench() as on:
            for length in lengths:
                on.near.send(sysex(length))
            assert raws(on.far, len(lengths)) == [sysex(length) for length in lengths]
            with pytest.raises(TooLong, match="16,001 bytes cannot be sent: 16,000 is the most"):
                on.near.send(sysex(16_001))

    def test_fragments_are_joined_and_active_sensing_taken_out(self) -> None:
        raw_out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=BARE)
        raw_in = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=BARE)
        raw_out.open_virtual_port("midi")
        raw_in.open_virtual_port("midi")
        try:
            with PortProcess() as computer:
                cable = computer.open(*until(lambda: pair_called(BARE, computer)))
                for part in (b"\xf0\x7d\x01", b"\xfe", b"\x02\x03\xf7", b"\xb0\x4a\x40"):
                    raw_out.send_message(part)
                    time.sleep(0.02)
                assert set(raws(cable, 3)) == {b"\xfe", b"\xf0\x7d\x01\x02\x03\xf7", b"\xb0\x4a\x40"}
                # The driver glues on what follows a dump without end; the assembler takes it apart again.
                raw_out.send_message(b"\xf0\x7d\x01")
                raw_out.send_message(b"\xf0\x7d\x02\xf7")
                broken = cable.receive(2.0)
                assert isinstance(broken, Damaged)
                assert (broken.kind, broken.raw) == ("unterminated", b"\xf0\x7d\x01")
                assert raws(cable, 1) == [b"\xf0\x7d\x02\xf7"]
        finally:
            raw_out.delete()
            raw_in.delete()

    def test_the_pace_is_kept_and_panic_overtakes(self) -> None:
        dump, panic = sysex(312), b"\xb0\x7b\x00"  # 99.84 ms and 0.96 ms of a 5-pin cable
        traffic = Traffic()
        with bench(traffic) as on:
            near = on.open(speed=3125.0)
            for _ in range(3):
                near.send(dump, gap_s=0.02)
            assert on.far.receive(2.0) is not None
            pressed = near.clock.now()
            near.send(panic, urgent=True)
            assert raws(on.far, 3) == [panic, dump, dump]
            first, urgent, second, third = traffic.after()
            assert urgent.at - pressed < 0.1  # some milliseconds; the machine may be busy
            # Handed over no earlier than wire time and gap after the one before; a late one may be caught up by 1 ms.
            assert second.at - first.at > 0.1198 - 0.001
            assert third.at - second.at > 0.1198 - 0.001

    def test_what_is_not_sent_yet_can_be_forgotten(self) -> None:
        with bench() as on:
            near = on.open(speed=3125.0)
            for _ in range(10):
                near.send(sysex(625))  # 200 ms each
            assert on.far.receive(2.0) is not None
            dropped = near.drop_unsent()
            left = 10 - dropped
            assert 1 <= left <= 3
            assert near.sent() == 10
            assert raws(on.far, left - 1) == [sysex(625)] * (left - 1)
            assert on.far.receive(0.4) is None
            assert near.send(b"\xf0\xf7") == 11
            assert raws(on.far, 1) == [b"\xf0\xf7"]

    def test_closing_lets_leave_what_was_handed_over(self) -> None:
        with bench() as on:
            ticket = on.near.send(sysex(15_000))
            until(lambda: on.near.sent() == ticket)
            on.near.close()
            assert raws(on.far, 1) == [sysex(15_000)]
            with pytest.raises(CableLost, match="is closed"):
                on.near.send(b"\xf6")

    def test_traffic_is_what_crossed(self) -> None:
        traffic = Traffic()
        with bench(traffic) as on:
            on.near.send(universal.identity_request())
            raws(on.far, 1)
            on.far.send(b"\xb0\x4a\x40")
            raws(on.near, 1)
            until(lambda: len(traffic.after()) == 2)
            assert [(one.direction, one.raw) for one in traffic.after()] == [
                ("out", universal.identity_request()),
                ("in", b"\xb0\x4a\x40"),
            ]
            assert traffic.after()[0].at <= traffic.after()[1].at

    def test_own_ends_are_not_offered_as_instruments(self) -> None:
        with bench() as on:
            until(lambda: on.computer.ports() == on.instrument.ports())
            names = {port.name for port in on.computer.ports()}
            assert names == {f"{FOGBELL} IN:midi", f"{FOGBELL} OUT:midi"}
            assert on.computer.system().sentence == "MIDI over JACK; outputs: 1, inputs: 1."

    def test_a_port_that_vanishes_ends_the_cable_and_comes_back(self) -> None:
        with bench() as on:
            on.far.close()
            assert is_lost(on.near)
            with pytest.raises(CableLost, match=rf"The port {FOGBELL} (IN|OUT):midi is gone\."):
                on.near.send(b"\xf6")
            until(lambda: not on.computer.ports())
            with pytest.raises(CableLost, match="is gone"):
                on.computer.open(Port("jack", "out", f"{FOGBELL} IN:midi"), Port("jack", "in", f"{FOGBELL} OUT:midi"))
            again = Bench(on.computer, on.instrument)
            again.near.send(b"\xf6")
            assert raws(again.far, 1) == [b"\xf6"]

    @pytest.mark.slow
    @pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
    def test_a_dead_or_stopped_port_process_is_replaced(self, number: signal.Signals) -> None:
        with bench() as on:
            before = on.computer.pid
            assert before is not None
            os.kill(before, number)
            assert is_lost(on.near)
            on.near = until(lambda: on.computer.ports() and on.open())
            assert on.computer.pid != before
            assert not alive(before)
            on.near.send(b"\xf6")
            assert raws(on.far, 1) == [b"\xf6"]

    def test_no_port_process_outlives_a_killed_program(self) -> None:
        program = subprocess.Popen(
            [sys.executable, "-c", PROGRAM], stdout=subprocess.PIPE, stdin=subprocess.PIPE, stderr=subprocess.PIPE
        )
        assert program.stdout is not None
        child = int(program.stdout.readline())
        assert alive(child)
        program.kill()
        program.communicate()
        until(lambda: not alive(child), 5.0)


PROGRAM = """
from librarian.wire.process import PortProcess
process = PortProcess()
process.ports()
print(process.pid, flush=True)
input()
"""


def alive(pid: int) -> bool:
    with suppress(FileNotFoundError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


@pytest.mark.slow
def test_a_killed_server_is_seen_and_its_return_too(own_jack_server: JackServer) -> None:
    with bench() as on:
        os.kill(own_jack_server.pid, signal.SIGKILL)
        assert is_lost(on.near)
        assert is_lost(on.far)
        with pytest.raises(CableLost, match="JACK server stopped answering"):
            on.near.send(b"\xf6")
        until(lambda: on.computer.system().alive)
        assert on.computer.system().sentence == (
            "No MIDI system found: the kernel's ALSA sequencer is not there; no JACK server is running."
        )
        own_jack_server.stop()
        name = own_jack_server.name
        own_jack_server.start()
        assert own_jack_server.name == name
        until(lambda: "jack" in on.instrument.system().apis)
        again = Bench(on.computer, on.instrument)
        again.near.send(b"\xf6")
        assert raws(again.far, 1) == [b"\xf6"]


@pytest.mark.slow
def test_a_stopped_server_is_seen_while_sending_and_its_return_too(own_jack_server: JackServer) -> None:
    with bench() as on:
        os.kill(own_jack_server.pid, signal.SIGSTOP)
        with suppress(CableLost):
            for _ in range(40):  # far more than the driver's ring holds: a sender in our own process would freeze
                on.near.send(sysex(4096))
        assert is_lost(on.near)
        assert is_lost(on.far)
        assert not on.computer.system().apis
        os.kill(own_jack_server.pid, signal.SIGCONT)
        until(lambda: "jack" in on.instrument.system().apis)
        again = until(lambda: on.computer.system().apis and Bench(on.computer, on.instrument))
        again.near.send(b"\xf6")
        assert raws(again.far, 1) == [b"\xf6"]
