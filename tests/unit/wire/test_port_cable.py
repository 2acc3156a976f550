"""This side of a cable over real ports, with the port process played by the test."""

from __future__ import annotations

import struct
import threading
import time

import pytest

from librarian.messages import Damaged, Message
from librarian.wire import portcable
from librarian.wire.cable import CableLost, Counts, NotOneMessage, TooLong
from librarian.wire.clock import SystemClock, VirtualClock
from librarian.wire.frames import Frame, Kind, told
from librarian.wire.portcable import PortCable

CC = b"\xb0\x4a\x40"


def cable() -> tuple[PortCable, list[Frame]]:
    orders: list[Frame] = []
    made = PortCable(7, "Fogbell", 3125.0, SystemClock(), orders.append, None)
    made.opened(16_000)
    return made, orders


def came(data: bytes, at: float = 0.0) -> Frame:
    return Frame(Kind.CAME, 7, moment=at, body=data)


def test_messages_are_ordered_with_tickets_gaps_and_urgency() -> None:
    one, orders = cable()
    assert one.send(CC, gap_s=0.02) == 1
    assert one.send(CC, urgent=True) == 2
    assert orders == [Frame(Kind.SEND, 7, 1, 0.02, CC), Frame(Kind.SEND_URGENT, 7, 2, 0.0, CC)]


def test_sent_is_what_the_port_process_reports_without_holes() -> None:
    one, _ = cable()
    for _ in range(3):
        one.send(CC)
    assert one.sent() == 0
    one.take(Frame(Kind.SENT, 7, 3, 1.0))  # an urgent one
    assert one.sent() == 0
    one.take(Frame(Kind.SENT, 7, 1, 1.0))
    assert one.sent() == 1
    one.take(Frame(Kind.SENT, 7, 2, 1.0))
    assert one.sent() == 3
    assert one.counts() == Counts(9, 0)
    assert one.free_at == pytest.approx(1.0 + 9 / 3125)


def test_dropping_asks_the_port_process_what_has_left() -> None:
    one, orders = cable()
    for _ in range(3):
        one.send(CC)
    one.take(Frame(Kind.SENT, 7, 1, 1.0))

    def answer() -> None:
        while orders[-1].kind is not Kind.DROP:
            time.sleep(0.001)
        one.take(Frame(Kind.DROPPED, 7, body=struct.pack("!2Q", 2, 3)))

    thread = threading.Thread(target=answer)
    thread.start()
    assert one.drop_unsent() == 2
    thread.join()
    assert one.sent() == 3


def test_there_is_nothing_to_drop() -> None:
    one, orders = cable()
    assert one.drop_unsent() == 0
    assert orders == []


def test_a_port_process_that_does_not_say_what_it_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(portcable, "_DROP_PATIENCE_S", 0.05)
    one, _ = cable()
    one.send(CC)
    with pytest.raises(CableLost, match="did not say within"):
        one.drop_unsent()


def test_a_loss_wakes_who_drops_or_receives() -> None:
    one, _ = cable()
    one.send(CC)
    threading.Timer(0.05, lambda: one.take(told(Kind.LOST, {"sentence": "The port is gone."}, 7))).start()
    with pytest.raises(CableLost, match="The port is gone"):
        one.drop_unsent()
    for act in (lambda: one.receive(5.0), lambda: one.send(CC)):
        with pytest.raises(CableLost, match="The port is gone"):
            act()
    assert one.drop_unsent() == 0


def test_what_came_before_the_loss_is_read_first() -> None:
    one, _ = cable()
    one.take(came(CC + b"\xf0\x7d\x01", 5.0))
    one.lose("Gone.")
    assert one.receive(1.0) == Message(CC)
    cut = one.receive(1.0)
    assert isinstance(cut, Damaged)
    assert cut.raw == b"\xf0\x7d\x01"
    with pytest.raises(CableLost):
        one.receive(1.0)
    assert one.counts() == Counts(0, 6)


def test_a_dump_without_end_is_given_up_while_waiting() -> None:
    one, _ = cable()
    one.take(came(b"\xf0\x7d\x01", one.clock.now() - 0.9))
    cut = one.receive(5.0)
    assert isinstance(cut, Damaged)
    assert cut.kind == "unterminated"


def test_nothing_comes() -> None:
    one = PortCable(7, "Fogbell", 3125.0, VirtualClock(), lambda order: None, None)
    assert one.receive(0.0) is None


def test_the_systems_limit_and_whole_messages() -> None:
    one, orders = cable()
    with pytest.raises(TooLong):
        one.send(b"\xf0" + bytes(15_999) + b"\xf7")
    with pytest.raises(NotOneMessage):
        one.send(CC + CC)
    assert orders == []


def test_closing_is_ordered_once() -> None:
    one, orders = cable()
    one.close()
    one.close()
    assert orders == [Frame(Kind.CLOSE, 7)]
    with pytest.raises(CableLost, match="Fogbell is closed"):
        one.receive(1.0)


def test_a_flood_that_nobody_reads_is_bounded_and_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(portcable, "_MOST_UNREAD", 10)
    one, _ = cable()
    one.take(came(CC * 5))
    assert [one.receive(0.0) for _ in range(3)] == [Message(CC)] * 3
    missed = one.receive(0.0)
    assert isinstance(missed, Damaged)
    assert missed.reason == "2 messages from this one on were not kept, because nobody read them."
    assert one.receive(0.0) is None
    one.take(came(CC))
    assert one.receive(0.0) == Message(CC)
