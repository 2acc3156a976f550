"""The loop of the port process with a driver played by the test: what other systems than JACK do, and refusals."""

from __future__ import annotations

import io
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict

import pytest
import rtmidi

from librarian.wire import portdriver
from librarian.wire.frames import Frame, Kind, read_frame, told
from librarian.wire.portpair import PortPair
from librarian.wire.portpump import Pump
from librarian.wire.ports import Port

OUTPUT, SOURCE = Port("winmm", "out", "Fogbell 1"), Port("winmm", "in", "Fogbell 0")
CC = b"\xb0\x4a\x40"


class End:
    """A MidiOut or MidiIn."""

    def __init__(self) -> None:
        self.sent: list[bytes] = []
        self.coming: list[list[int]] = []
        self.deleted = False
        self.problem: Exception | None = None

    def send_message(self, message: bytes) -> None:
        if self.problem is not None:
            raise self.problem
        self.sent.append(message)

    def get_message(self) -> tuple[list[int], float] | None:
        return (self.coming.pop(0), 0.0) if self.coming else None

    def delete(self) -> None:
        self.deleted = True


class System:
    """A MIDI system with Fogbell on it."""

    listed: tuple[Port, ...] = (OUTPUT, SOURCE)
    there = True

    def __init__(self, api: str) -> None:
        if not System.there:
            raise rtmidi.SystemError("no such system")

    def ports(self) -> tuple[Port, ...]:
        return self.listed

    def close(self) -> None:
        """Nothing to leave."""


class Served:
    """A pump at work, and what it has told so far."""

    def __init__(self) -> None:
        self.orders: queue.SimpleQueue[Frame | None] = queue.SimpleQueue()
        self.told = io.BytesIO()
        self.output, self.source = End(), End()
        self.pump = threading.Thread(target=Pump(self.orders, self.told).run)

    def frames(self, kind: Kind) -> list[Frame]:
        stream = io.BytesIO(self.told.getvalue())
        return [frame for frame in iter(lambda: read_frame(stream), None) if frame.kind is kind]

    def first(self, kind: Kind) -> Frame:
        until(lambda: self.frames(kind))
        return self.frames(kind)[0]

    def open(self) -> None:
        self.first(Kind.PORTS)
        content = {"output": asdict(OUTPUT), "input": asdict(SOURCE), "bytes_per_second": 3125.0}
        self.orders.put(told(Kind.OPEN, content, 1))


def until(find: Callable[[], object]) -> None:
    give_up = time.monotonic() + 10
    while not find():
        assert time.monotonic() < give_up, "it did not come about"
        time.sleep(0.005)


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    one = Served()
    monkeypatch.setattr(System, "listed", (OUTPUT, SOURCE))
    monkeypatch.setattr(System, "there", True)
    monkeypatch.setattr(portdriver, "System", System)
    monkeypatch.setattr(portdriver, "compiled_apis", lambda: ("winmm",))
    monkeypatch.setattr(portdriver, "open_output", lambda port: one.output)
    monkeypatch.setattr(portdriver, "open_input", lambda port: one.source)
    one.pump.start()
    yield one
    one.orders.put(None)
    one.pump.join()


def test_ports_are_told_once_until_they_change(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    assert served.first(Kind.PORTS).content == {
        "apis": ["winmm"],
        "troubles": [],
        "ports": [["winmm", "out", "Fogbell 1", 0], ["winmm", "in", "Fogbell 0", 0]],
    }
    monkeypatch.setattr(System, "listed", ())
    until(lambda: len(served.frames(Kind.PORTS)) == 2)
    assert served.frames(Kind.PORTS)[1].content["ports"] == []


def test_a_system_that_comes_later_is_found(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    served.first(Kind.PORTS)
    monkeypatch.setattr(System, "there", False)
    late = Served()
    late.pump.start()
    assert late.first(Kind.PORTS).content["troubles"] == ["Windows MIDI does not answer"]
    monkeypatch.setattr(System, "there", True)
    until(lambda: late.frames(Kind.PORTS)[-1].content["apis"] == ["winmm"])
    assert late.frames(Kind.PORTS)[-1].content["troubles"] == []
    late.orders.put(None)
    late.pump.join()


def test_messages_leave_and_come(served: Served) -> None:
    served.open()
    assert served.first(Kind.OPENED).content == {"longest": None}
    served.orders.put(Frame(Kind.SEND, 1, 1, 0.0, CC))
    served.source.coming.append([0xF8])
    assert served.first(Kind.SENT).ticket == 1
    assert served.output.sent == [CC]
    assert served.first(Kind.CAME).body == b"\xf8"
    served.orders.put(Frame(Kind.PING))
    assert served.first(Kind.PONG)


def test_a_port_that_another_program_has_is_held(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    def held(port: Port) -> End:
        raise rtmidi.SystemError("MidiInWinMM::openPort: error creating Windows MM MIDI input port.")

    monkeypatch.setattr(portdriver, "open_input", held)
    served.open()
    assert served.first(Kind.REFUSED).content == {
        "kind": "held",
        "sentence": "Another program has the port Fogbell 0.",
    }
    assert served.output.deleted  # what was open already is free again


def test_a_port_that_is_gone_is_refused(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(port: Port) -> End:
        raise portdriver.PortGone

    monkeypatch.setattr(portdriver, "open_output", gone)
    served.open()
    assert served.first(Kind.REFUSED).content == {"kind": "gone", "sentence": "The port Fogbell 1 is gone."}


def test_windows_has_no_virtual_ports(served: Served) -> None:
    served.first(Kind.PORTS)
    served.orders.put(told(Kind.OPEN_VIRTUAL, {"name": "Fogbell", "api": "", "bytes_per_second": 3125.0}, 1))
    refused = served.first(Kind.REFUSED).content
    assert refused["kind"] == "no system"
    assert refused["sentence"].startswith("The ports Fogbell cannot be made: no JACK server is running;")


def test_a_port_that_vanishes_is_lost(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    served.open()
    served.first(Kind.OPENED)
    monkeypatch.setattr(System, "listed", (OUTPUT,))
    assert served.first(Kind.LOST).content == {"sentence": "The port Fogbell 0 is gone."}
    until(lambda: served.output.deleted and served.source.deleted)


def test_a_driver_that_refuses_a_message_ends_the_cable(served: Served) -> None:
    served.open()
    served.first(Kind.OPENED)
    served.output.problem = rtmidi.SystemError("no room")
    served.orders.put(Frame(Kind.SEND, 1, 1, 0.0, CC))
    assert served.first(Kind.LOST).content == {"sentence": "Windows MIDI did not take a message: no room"}
    assert not served.frames(Kind.SENT)


def test_closing_waits_for_the_wire(served: Served) -> None:
    served.open()
    served.first(Kind.OPENED)
    served.orders.put(Frame(Kind.SEND, 1, 1, 0.0, b"\xf0" + bytes(310) + b"\xf7"))  # 99.84 ms
    served.orders.put(Frame(Kind.SEND, 1, 2, 0.0, CC))
    sent_at = served.first(Kind.SENT).moment
    served.orders.put(Frame(Kind.CLOSE, 1))
    until(lambda: served.output.deleted)
    assert time.perf_counter() - sent_at >= 0.0998 + 0.05
    assert len(served.output.sent) == 1  # what was not handed over is forgotten


def test_a_panic_goes_out_though_the_port_is_closed_at_once(served: Served) -> None:
    served.open()
    served.first(Kind.OPENED)
    served.orders.put(Frame(Kind.SEND, 1, 1, 0.0, b"\xf0" + bytes(300) + b"\xf7"))
    served.orders.put(Frame(Kind.SEND, 1, 2, 0.0, CC))
    silence = [b"\xb0\x40\x00", b"\xb0\x7b\x00", b"\xb0\x78\x00"]
    for ticket, message in enumerate(silence, 3):
        served.orders.put(Frame(Kind.SEND_URGENT, 1, ticket, 0.0, message))
    served.orders.put(Frame(Kind.CLOSE, 1))
    until(lambda: served.output.deleted)
    assert [bytes(message) for message in served.output.sent][-3:] == silence
    assert CC not in [bytes(message) for message in served.output.sent]


def test_opening_again_does_not_wait_for_the_wire(served: Served) -> None:
    served.open()
    served.first(Kind.OPENED)
    served.orders.put(Frame(Kind.SEND, 1, 1, 0.0, b"\xf0" + bytes(300_000) + b"\xf7"))  # a minute and a half
    served.first(Kind.SENT)
    served.orders.put(Frame(Kind.CLOSE, 1))
    served.open()
    until(lambda: len(served.frames(Kind.OPENED)) == 2)
    assert served.output.deleted  # the old ends, which the test uses for the new ones too


def test_where_sending_blocks_the_parent_is_asked_for_patience() -> None:
    output = End()
    pair = PortPair(1, "winmm", (OUTPUT, SOURCE), output, End(), 3125.0)
    frames: list[Frame] = []
    for ticket, length in ((1, 3125), (2, 100)):
        message = b"\xf0" + bytes(length - 2) + b"\xf7"
        pair.put(Frame(Kind.SEND, 1, ticket, 0.0, message), 0.0, urgent=False)
    pair.write(lambda: 10.0, frames.append)
    assert [(frame.kind, frame.ticket, frame.moment) for frame in frames] == [
        (Kind.BUSY, 0, 1.0),
        (Kind.SENT, 1, 10.0),
    ]
    assert pair.next_start() == pytest.approx(10.0 - 0.001 + 1.0)
    assert pair.drop() == [2]


def test_a_late_message_delays_the_next_but_for_a_millisecond() -> None:
    output = End()
    pair = PortPair(1, "jack", (OUTPUT, SOURCE), output, End(), 3125.0)
    for ticket in (1, 2):
        pair.put(Frame(Kind.SEND, 1, ticket, 0.0, CC), 0.0, urgent=False)
    pair.write(lambda: 0.0004, lambda frame: None)  # 0.4 ms late: made up for
    assert pair.next_start() == pytest.approx(0.00096)
    pair.write(lambda: 0.5, lambda frame: None)  # half a second late: not made up for
    assert pair.may_close_at() == pytest.approx(0.5 - 0.001 + 0.00096 + 0.05)
