"""Vectors V15 to V26 of tests/data/vectors.csv (MIDI 1.0 Detailed Specification 4.2.1 p.12-17, RP-015, RP-018)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from librarian.chart.controllers.binding import compile_binding
from librarian.chart.controllers.listener import Listener
from librarian.chart.controllers.receiver import ControllerReceiver
from librarian.chart.language.parameters import BindingTable
from librarian.messages import Address, Message
from librarian.wire.assembler import Assembler

DATA = Path(__file__).parents[3] / "data" / "vectors.csv"
WANTED = [f"V{number}" for number in range(15, 27)]


def vectors() -> list[tuple[str, str, str]]:
    with DATA.open(encoding="utf-8", newline="") as file:
        return [(row["id"], row["hex"], row["expectation"]) for row in csv.DictReader(file) if row["id"] in WANTED]


def messages(text: str) -> list[bytes]:
    arrivals = Assembler().feed(bytes.fromhex(text), 0.0)
    return [arrival.raw for arrival in arrivals if isinstance(arrival, Message)]


def pairs(raws: list[bytes], channel: int, number: int) -> list[str]:
    """What a listener with one pair on this channel says, in the words of the vectors."""
    low, high = 0, 16383
    binding = compile_binding(BindingTable(cc14=number), "continuous", low, high)
    listener = Listener([("pair", binding)], Address(channel=channel - 1), selectors={})
    said = []
    for raw in raws:
        heard = listener.feed(raw)
        if listener.is_known(raw):
            said.append(f"cc14 {channel} {number} {heard[0].value if heard else 'unknown'}")
    return said


def received(raws: list[bytes]) -> list[str]:
    """What the standard's receiver says, in the words of the vectors; selections and null say nothing."""
    receiver = ControllerReceiver()
    said = []
    for raw in raws:
        event = receiver.feed(raw)
        channel = (raw[0] & 0x0F) + 1
        if event is None:
            if raw[0] & 0xF0 == 0xB0 and raw[1] in {6, 38, 96, 97}:
                said.append(f"ignored cc {channel} {raw[1]} {raw[2]}")
        elif event.kind == "program":
            said += [f"bank {channel} {event.value}", f"pc {channel} {event.number}"]
        elif event.kind == "cc" and event.number >= 120:
            said.append(f"mode {channel} {event.number} {event.value}")
        elif event.kind == "cc" and event.number == 64:
            said.append(f"switch {channel} 64 {'on' if (event.value or 0) >= 64 else 'off'}")
        elif event.kind in {"rpn", "nrpn"}:
            place = f"{event.kind} {channel} {event.number}"
            if event.part == "msb":
                said.append(f"{place} msb {event.data}")
            elif event.part == "lsb":
                said.append(f"{place} lsb {event.data} value {event.value}")
            else:
                said.append(f"{place} {event.part}")
    return said


@pytest.mark.parametrize(("name", "text", "expectation"), vectors())
def test_vector(name: str, text: str, expectation: str) -> None:
    raws = messages(text)
    if name in {"V15", "V16", "V17"}:
        assert pairs(raws, 1, 7) == expectation.split("; ")
    else:
        assert received(raws) == expectation.split("; ")


def test_all_twelve_vectors_were_read() -> None:
    assert [name for name, _, _ in vectors()] == WANTED
