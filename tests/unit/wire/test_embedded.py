"""The cable to a simulated instrument: the wire's speed and order, whatever the clock.

Expected times: 320 us a byte (MIDI 1.0 Detailed Specification 4.2.1, p.1).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.messages import Damaged, Message
from librarian.wire import universal
from librarian.wire.cable import CableLost, Counts, NotOneMessage
from librarian.wire.clock import SystemClock, VirtualClock
from librarian.wire.embedded import GRAIN, EmbeddedCable
from librarian.wire.traffic import Traffic

BYTE_S = 1 / 3125
REPLY = bytes.fromhex("F0 7E 10 06 02 7D 02 01 34 12 00 01 02 00 F7")
CC = b"\xb0\x4a\x40"


class Recorder:
    """An instrument that notes what reaches it, and sends `answer` after every F7 and what it is told to."""

    def __init__(self, answer: bytes = b"", delay_s: float = 0.0) -> None:
        self.came: list[tuple[float, bytes]] = []
        self.waiting: list[tuple[float, bytes]] = []
        self.answer, self.delay_s = answer, delay_s
        self.lock = threading.Lock()

    def feed(self, data: bytes, now: float) -> None:
        with self.lock:
            self.came.append((now, data))
            if self.answer and data.endswith(b"\xf7"):
                self.waiting.append((now + self.delay_s, self.answer))

    def due(self, now: float) -> list[tuple[float, bytes]]:
        with self.lock:
            ready = [one for one in self.waiting if one[0] <= now]
            self.waiting = [one for one in self.waiting if one[0] > now]
            return ready

    def next_due(self) -> float | None:
        with self.lock:
            return min((moment for moment, _ in self.waiting), default=None)

    def say(self, moment: float, data: bytes) -> None:
        with self.lock:
            self.waiting.append((moment, data))

    @property
    def bytes_came(self) -> bytes:
        return b"".join(data for _, data in self.came)


@pytest.fixture
def real() -> Iterator[tuple[EmbeddedCable, Recorder]]:
    far = Recorder(REPLY, 0.005)
    cable = EmbeddedCable(far, SystemClock())
    yield cable, far
    cable.close()


def virtual(far: Recorder, **more: object) -> tuple[EmbeddedCable, VirtualClock]:
    clock = VirtualClock()
    return EmbeddedCable(far, clock, **more), clock  # type: ignore[arg-type]


def test_an_identity_request_takes_the_time_of_the_wire() -> None:
    far = Recorder(REPLY)
    cable, clock = virtual(far)
    cable.send(universal.identity_request())
    assert cable.receive(1.0) == Message(REPLY)
    assert clock.now() == pytest.approx(0.00672)  # 1.92 + 4.80 ms, the least that is possible on a cable
    assert far.came == [(pytest.approx(0.00192), universal.identity_request())]
    assert cable.counts() == Counts(6, 15)


def test_nothing_comes_in_the_given_time() -> None:
    cable, clock = virtual(Recorder())
    assert cable.receive(3600.0) is None
    assert clock.now() == 3600.0


def test_a_long_message_arrives_little_by_little() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    dump = b"\xf0" + bytes(4102) + b"\xf7"
    cable.send(dump)
    clock.sleep(0.5)
    assert cable.counts().bytes_out == 1562 // GRAIN * GRAIN  # 0.5 s * 3,125 bytes
    assert len(far.bytes_came) == cable.counts().bytes_out
    clock.sleep(4104 * BYTE_S)
    cable.counts()
    assert far.bytes_came == dump
    assert [moment for moment, _ in far.came[:-1]] == [
        pytest.approx(count * GRAIN * BYTE_S) for count in range(1, len(far.came))
    ]
    assert far.came[-1][0] == pytest.approx(1.31328)  # standards table: 4,104 bytes


def test_gaps_lie_between_messages_and_urgent_ones_overtake() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    tickets = [cable.send(CC, gap_s=0.010) for _ in range(3)]
    assert tickets == [1, 2, 3]
    clock.sleep(0.0005)
    assert cable.send(b"\xb0\x7b\x00", urgent=True) == 4
    assert cable.sent() == 1
    clock.sleep(0.0015)
    assert cable.sent() == 1  # 4 has left, 2 and 3 have not
    clock.sleep(1.0)
    assert cable.sent() == 4
    assert [data for _, data in far.came] == [CC, b"\xb0\x7b\x00", CC, CC]
    assert [moment for moment, _ in far.came] == [
        pytest.approx(moment) for moment in (0.00096, 0.00192, 0.01192, 0.02288)
    ]


def test_a_panic_arrives_though_everything_is_cancelled_and_closed() -> None:
    far = Recorder()
    cable, _ = virtual(far)
    for _ in range(3):
        cable.send(CC)
    silence = [b"\xb0\x40\x00", b"\xb0\x7b\x00", b"\xb0\x78\x00"]
    for message in silence:
        cable.send(message, urgent=True)
    cable.drop_unsent()
    cable.close()
    assert [data for _, data in far.came] == [CC, *silence]


def test_what_is_dropped_never_arrives() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    for _ in range(5):
        cable.send(CC)
    clock.sleep(0.0015)
    assert cable.drop_unsent() == 3
    assert cable.drop_unsent() == 0
    assert cable.sent() == 5
    clock.sleep(1.0)
    cable.counts()
    assert far.bytes_came == CC * 2
    assert cable.send(CC) == 6


def test_what_the_instrument_sends_goes_through_an_assembler() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    far.say(0.0, b"\xb0\x4a\x40\x4b\xfe\x41")  # running status with active sensing inside
    far.say(0.0, b"\xf0\x7d\x01")  # no end
    assert [cable.receive(1.0) for _ in range(3)] == [Message(CC), Message(b"\xfe"), Message(b"\xb0\x4b\x41")]
    broken = cable.receive(5.0)
    assert isinstance(broken, Damaged)
    assert (broken.kind, broken.raw) == ("unterminated", b"\xf0\x7d\x01")
    assert clock.now() == pytest.approx(9 * BYTE_S + 1.0)


def test_two_answers_share_the_wire() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    far.say(0.0, CC)
    far.say(0.0, CC)
    assert cable.receive(1.0) is not None
    assert clock.now() == pytest.approx(3 * BYTE_S)
    assert cable.receive(1.0) is not None
    assert clock.now() == pytest.approx(6 * BYTE_S)


@given(
    st.lists(st.tuples(st.integers(0, 60), st.floats(0, 0.05)), min_size=1, max_size=8),
    st.lists(st.floats(0.0001, 0.3), max_size=8),
)
def test_every_byte_arrives_in_order_and_never_too_fast(messages: list[tuple[int, float]], naps: list[float]) -> None:
    far = Recorder()
    cable, clock = virtual(far)
    sent = b""
    for number, (length, gap_s) in enumerate(messages):
        message = b"\xf0" + bytes(length) + b"\xf7"
        cable.send(message, gap_s=gap_s)
        sent += message
        if number < len(naps):
            clock.sleep(naps[number])
    clock.sleep(60.0)
    assert cable.sent() == len(messages)
    assert far.bytes_came == sent
    count = 0
    for moment, data in far.came:
        count += len(data)
        assert moment >= count * BYTE_S - 1e-9
    assert [moment for moment, _ in far.came] == sorted(moment for moment, _ in far.came)


def test_the_same_run_twice_is_the_same() -> None:
    def run() -> list[tuple[float, bytes]]:
        far = Recorder(REPLY, 0.003)
        cable, clock = virtual(far)
        for _ in range(3):
            cable.send(universal.identity_request(), gap_s=0.02)
            cable.receive(0.1)
            clock.sleep(0.0123)
        return far.came

    assert run() == run()


def test_a_faster_wire_is_faster() -> None:
    far = Recorder(REPLY)
    cable, clock = virtual(far, bytes_per_second=31250.0)
    cable.send(universal.identity_request())
    assert cable.receive(1.0) is not None
    assert clock.now() == pytest.approx(0.000672)


def test_a_lost_cable_says_so_after_what_had_come() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    far.say(0.0, CC)
    clock.sleep(0.1)
    cable.lose("The port Fogbell is gone.", "Plug it in.")
    assert cable.receive(1.0) == Message(CC)
    for act in (lambda: cable.receive(1.0), lambda: cable.send(CC)):
        with pytest.raises(CableLost) as problem:
            act()
        assert (str(problem.value), problem.value.hint) == ("The port Fogbell is gone.", "Plug it in.")


def test_closing_lets_the_message_under_way_leave_and_forgets_the_rest() -> None:
    far = Recorder()
    cable, clock = virtual(far)
    cable.send(REPLY)
    cable.send(CC)
    clock.sleep(0.001)
    cable.close()
    cable.close()
    clock.sleep(1.0)
    assert far.bytes_came == REPLY
    with pytest.raises(CableLost, match="embedded cable is closed"):
        cable.receive(1.0)


def test_only_whole_messages_are_taken() -> None:
    cable, _ = virtual(Recorder())
    with pytest.raises(NotOneMessage):
        cable.send(b"\xb0\x4a")


def test_traffic_has_both_directions_in_order() -> None:
    traffic = Traffic()
    far = Recorder(REPLY)
    cable, _ = virtual(far, traffic=traffic)
    cable.send(universal.identity_request())
    cable.receive(1.0)
    assert [(one.direction, one.raw, one.cable) for one in traffic.after()] == [
        ("out", universal.identity_request(), "embedded cable"),
        ("in", REPLY, "embedded cable"),
    ]
    assert [one.at for one in traffic.after()] == [0.0, pytest.approx(0.00672)]


def test_a_far_end_that_keeps_what_is_due_is_found_out() -> None:
    class Stuck(Recorder):
        def due(self, now: float) -> list[tuple[float, bytes]]:
            return []

    far = Stuck()
    far.say(0.0, CC)
    cable, _ = virtual(far)
    with pytest.raises(RuntimeError, match="keeps what was due at"):
        cable.receive(1.0)


def test_real_time_keeps_the_wires_speed_while_nobody_reads(real: tuple[EmbeddedCable, Recorder]) -> None:
    cable, far = real
    asked = time.perf_counter()
    cable.send(universal.identity_request())
    while not cable.counts().bytes_in:
        time.sleep(0.001)
    answer = cable.receive(1.0)
    assert answer == Message(REPLY)
    assert answer.at - asked >= 0.00672 + 0.005 - 1e-6
    assert far.came[0][0] - asked >= 0.00192 - 1e-6


def test_real_time_a_reader_is_woken_by_what_comes(real: tuple[EmbeddedCable, Recorder]) -> None:
    cable, far = real
    threading.Timer(0.05, lambda: far.say(time.perf_counter(), CC)).start()
    assert cable.receive(5.0) == Message(CC)


def test_real_time_a_reader_is_woken_by_the_loss(real: tuple[EmbeddedCable, Recorder]) -> None:
    cable, _ = real
    ended: list[Exception] = []

    def wait() -> None:
        try:
            cable.receive(3600.0)
        except CableLost as problem:
            ended.append(problem)

    reader = threading.Thread(target=wait, daemon=True)
    reader.start()
    threading.Timer(0.05, lambda: cable.lose("Gone.")).start()
    reader.join(60.0)
    assert [str(problem) for problem in ended] == ["Gone."]
