"""When each message starts: wire time and gap of the one before, on absolute moments; urgent ones first."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.wire.schedule import Queued, Schedule

CC = b"\xb0\x4a\x40"
BYTE_S = 1 / 3125


def run(schedule: Schedule, late_s: float = 0.0) -> list[tuple[int, float]]:
    """(ticket, start) of everything, each taken `late_s` after the moment when it may start."""
    starts = []
    while (start := schedule.next_start()) is not None:
        starts.append((schedule.take(start + late_s).ticket, start + late_s))
    return starts


def test_wire_time_and_gap_lie_between_two_messages() -> None:
    schedule = Schedule(3125, buffered=False)
    for ticket in (1, 2, 3):
        schedule.put(Queued(ticket, CC, 0.01, asked_at=100.0), urgent=False)
    assert run(schedule) == [
        (1, pytest.approx(100.0)),
        (2, pytest.approx(100.01096)),
        (3, pytest.approx(100.02192)),
    ]
    assert schedule.free_at == pytest.approx(100.02288)


def test_a_message_asked_for_later_starts_then() -> None:
    schedule = Schedule(3125, buffered=False)
    schedule.put(Queued(1, CC, 0.0, asked_at=1.0), urgent=False)
    schedule.put(Queued(2, CC, 0.0, asked_at=2.0), urgent=False)
    assert run(schedule) == [(1, 1.0), (2, 2.0)]


def test_urgent_waits_for_the_message_on_a_bare_wire_but_for_no_gap() -> None:
    schedule = Schedule(3125, buffered=False)
    schedule.put(Queued(1, CC, 1.0, asked_at=0.0), urgent=False)
    schedule.put(Queued(2, CC, 1.0, asked_at=0.0), urgent=False)
    schedule.take(0.0)
    for ticket in (3, 4):
        schedule.put(Queued(ticket, CC, 0.0, asked_at=0.0005), urgent=True)
    assert run(schedule) == [(3, pytest.approx(0.00096)), (4, pytest.approx(0.00192)), (2, pytest.approx(1.00096))]


def test_urgent_goes_at_once_to_a_port_that_buffers() -> None:
    schedule = Schedule(3125, buffered=True)
    schedule.put(Queued(1, bytes(3125), 0.5, asked_at=0.0), urgent=False)
    schedule.take(0.0)
    for ticket in (2, 3):
        schedule.put(Queued(ticket, CC, 0.0, asked_at=0.1), urgent=True)
    schedule.put(Queued(4, CC, 0.0, asked_at=0.1), urgent=False)
    # The two keep the wire's speed among themselves, and the ordinary one waits for all of them and for the gap.
    assert run(schedule) == [(2, 0.1), (3, pytest.approx(0.10096)), (4, pytest.approx(1.5))]


def test_what_is_dropped_never_starts_and_a_panic_is_not_dropped() -> None:
    schedule = Schedule(3125, buffered=True)
    for ticket in (1, 2):
        schedule.put(Queued(ticket, CC, 0.0, asked_at=0.0), urgent=False)
    schedule.put(Queued(3, CC, 0.0, asked_at=0.0), urgent=True)
    assert schedule.first_waiting() == 1
    assert sorted(schedule.drop()) == [1, 2]
    assert schedule.urgent_waits
    assert run(schedule) == [(3, 0.0)]
    assert not schedule.urgent_waits
    assert schedule.first_waiting() is None


MESSAGES = st.lists(st.tuples(st.integers(1, 400), st.floats(0, 0.2), st.booleans(), st.floats(0, 0.5)), max_size=12)


@given(MESSAGES, st.booleans(), st.floats(0, 0.05))
def test_ordinary_messages_never_start_too_early(
    messages: list[tuple[int, float, bool, float]], buffered: bool, late_s: float
) -> None:
    schedule = Schedule(3125, buffered=buffered)
    for ticket, (length, gap_s, urgent, asked_at) in enumerate(messages):
        schedule.put(Queued(ticket, bytes(length), gap_s, asked_at), urgent=urgent)
    starts = run(schedule, late_s)
    assert sorted(ticket for ticket, _ in starts) == list(range(len(messages)))
    assert [messages[ticket][2] for ticket, _ in starts] == sorted((one[2] for one in messages), reverse=True)
    for (one, start), (other, next_start) in pairwise(starts):
        length, gap_s, urgent, _ = messages[one]
        wanted = length * BYTE_S + (0.0 if messages[other][2] else gap_s)
        assert next_start >= start + wanted - 1e-9
        assert next_start >= messages[other][3]
