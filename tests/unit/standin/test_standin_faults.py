"""The bad cable: what it does is what was asked for, and the same again from the same seed."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from librarian.standin.faults import BadCable, Faults


class Ear:
    """Keeps what reaches it, says what it is told to."""

    def __init__(self, says: tuple[bytes, ...] = ()) -> None:
        self.heard = bytearray()
        self.says = list(says)

    def feed(self, data: bytes, now: float) -> None:
        self.heard += data

    def due(self, now: float) -> list[tuple[float, bytes]]:
        said, self.says = self.says, []
        return [(now, raw) for raw in said]

    def next_due(self) -> float | None:
        return 0.0 if self.says else None


MESSAGE = b"\xf0\x7d" + bytes(range(100)) + b"\xf7"


def through(faults: Faults, seed: int = 1) -> tuple[bytes, list[tuple[float, bytes]]]:
    ear = Ear((MESSAGE, MESSAGE))
    bad = BadCable(ear, faults, seed)
    bad.feed(MESSAGE, 0.0)
    said = bad.due(1.0) + bad.due(9.0)
    return bytes(ear.heard), said


@given(seed=st.integers(0, 1 << 30))
def test_a_good_cable_changes_nothing_whatever_the_seed(seed: int) -> None:
    heard, said = through(Faults(), seed)
    assert heard == MESSAGE
    assert [raw for _, raw in said] == [MESSAGE, MESSAGE]


def test_each_fault_does_its_own() -> None:
    assert len(through(Faults(lose=0.2))[0]) < len(MESSAGE)
    assert len(through(Faults(double=0.2))[0]) > len(MESSAGE)
    swapped = through(Faults(swap=0.2))[0]
    assert swapped != MESSAGE
    assert sorted(swapped) == sorted(MESSAGE)
    flipped = through(Faults(flip=0.2))[0]
    assert len(flipped) == len(MESSAGE)
    assert all(bin(a ^ b).count("1") <= 1 for a, b in zip(flipped, MESSAGE, strict=True))
    assert through(Faults(lose_message=1.0)) == (b"", [])
    assert all(0 < len(raw) < len(MESSAGE) and raw[-1] != 0xF7 for _, raw in through(Faults(cut=1.0))[1])
    inside = through(Faults(realtime=0.5))[1][0][1]
    assert inside.translate(None, b"\xf8\xfe") == MESSAGE != inside
    foreign = [raw for _, raw in through(Faults(foreign=1.0))[1]]
    assert len(foreign) == 4
    assert foreign.count(MESSAGE) == 2
    assert [raw for _, raw in through(Faults(echo=True))[1]] == [MESSAGE] * 3
    late = through(Faults(stall=1.0, stall_s=5.0))[1]
    assert [at for at, _ in late] == [6.0, 6.0]


def test_only_the_damaged_direction_is_damaged() -> None:
    heard, said = through(Faults(lose=0.5, to_instrument=False))
    assert heard == MESSAGE
    assert said[0][1] != MESSAGE
    heard, said = through(Faults(lose=0.5, from_instrument=False))
    assert heard != MESSAGE
    assert said[0][1] == MESSAGE


def test_the_same_seed_does_the_same_and_bursts_come_together() -> None:
    faults = Faults(lose=0.02, flip=0.02, realtime=0.1, foreign=0.3, late_s=0.2, burst=4)
    assert through(faults, 5) == through(faults, 5)
    assert through(faults, 5) != through(faults, 6)


def test_events_happen_when_their_time_comes() -> None:
    bad = BadCable(Ear(), Faults())
    happened: list[float] = []
    bad.at(2.0, happened.append)
    bad.at(1.0, happened.append)
    assert bad.next_due() == 1.0
    bad.due(1.5)
    assert happened == [1.5]
    bad.due(3.0)
    assert happened == [1.5, 3.0]
    assert bad.next_due() is None


def test_the_next_long_message_can_be_spoilt_once() -> None:
    ear = Ear((b"\xb0\x01\x02", MESSAGE, MESSAGE))
    bad = BadCable(ear, Faults())
    bad.spoil_next = lambda raw: raw[:-2] + b"\x00\xf7"
    assert [raw for _, raw in bad.due(1.0)] == [b"\xb0\x01\x02", MESSAGE[:-2] + b"\x00\xf7", MESSAGE]
