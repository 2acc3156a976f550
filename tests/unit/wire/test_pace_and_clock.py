"""How fast an instrument is spoken to, and time."""

from __future__ import annotations

import time

import pytest

from librarian.wire.clock import SystemClock, VirtualClock
from librarian.wire.pace import Pace


def test_the_gap_depends_on_the_message() -> None:
    pace = Pace()
    assert pace.bytes_per_second == 3125  # MIDI 1.0 Detailed Specification 4.2.1, p.1; the gaps are common practice
    assert pace.gap_after(b"\xf0\x7d\xf7") == 0.020
    assert pace.gap_after(b"\xb0\x4a\x40") == 0.001
    assert pace.gap_after(b"\xc3\x05") == 0.100
    assert pace.gap_after(b"\xf8") == 0.0


def test_slower_doubles_every_gap_four_times_at_most() -> None:
    pace = Pace()
    for times in range(1, 5):
        assert pace.can_slow
        pace = pace.slower()
        assert pace.gap_after_sysex_s == pytest.approx(0.020 * 2**times)
        assert pace.gap_after_cc_s == pytest.approx(0.001 * 2**times)
        assert pace.settle_after_program_change_s == pytest.approx(0.1 * 2**times)
        assert pace.write_delay_s == pytest.approx(0.2 * 2**times)
    assert not pace.can_slow
    assert pace.slower() == pace
    assert pace.bytes_per_second == 3125


@pytest.mark.parametrize(
    "wrong",
    [
        {"bytes_per_second": 0},
        {"bytes_per_second": float("nan")},
        {"gap_after_cc_s": -1},
        {"write_delay_s": float("inf")},
    ],
)
def test_an_impossible_pace_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"a pace is above 0|a gap is 0 s or longer"):
        Pace(**wrong)


def test_virtual_time_passes_only_when_told() -> None:
    clock = VirtualClock(5.0)
    clock.sleep(3600.0)
    assert clock.now() == 3605.0
    clock.sleep(-1.0)
    clock.advance_to(10.0)
    assert clock.now() == 3605.0
    clock.advance_to(3606.0)
    clock.advance(0.5)
    assert clock.now() == 3606.5


def test_system_time_is_the_performance_counter_and_sleeps() -> None:
    clock = SystemClock()
    before = time.perf_counter()
    clock.sleep(0.01)
    clock.sleep(-1.0)
    assert before + 0.009 < clock.now() <= time.perf_counter()
