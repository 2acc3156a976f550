"""From bytes to messages: the rules of the MIDI 1.0 Detailed Specification 4.2.1 (M1), p.5 and p.A-2."""

from __future__ import annotations

import csv
from collections import Counter
from itertools import pairwise
from pathlib import Path

import mido
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from librarian.messages import Arrival, Damaged, Message
from librarian.wire.assembler import Assembler

VECTORS = Path(__file__).parents[2] / "data" / "vectors.csv"

# V15 to V19 and V21 to V26 say what pairs and parameter numbers mean; that is the chart's business. Here: V01 to V14
# and V20. The wording is that of the file; its source is named in each of its rows.
ASSEMBLING = [*(f"V{number:02}" for number in range(1, 15)), "V20"]


def in_words(arrival: Arrival) -> str:
    """An arrival in the wording of vectors.csv."""
    raw = arrival.raw
    shown = raw.hex(" ").upper()
    if isinstance(arrival, Damaged):
        undefined = len(raw) == 1 and raw[0] in (0xF4, 0xF5, 0xF9, 0xFD)
        word = "undefined" if undefined else "ignored"
        return f"error {arrival.kind} {shown}" if arrival.kind != "ignored" else f"{word} {shown}"
    status, channel = raw[0] & 0xF0, (raw[0] & 0x0F) + 1
    if raw[0] >= 0xF0:
        words = {0xF0: f"sysex {shown}", 0xF6: "tune_request"}
        if raw[0] == 0xF2:
            return f"song_position {raw[1] | raw[2] << 7}"
        return words.get(raw[0], f"realtime {shown}")
    if status == 0xE0:
        return f"bend {channel} {raw[1] | raw[2] << 7}"
    if status == 0xB0:
        return f"{'cc' if raw[1] < 120 else 'mode'} {channel} {raw[1]} {raw[2]}"
    if status == 0x90:
        return f"{'note_on' if raw[2] else 'note_off'} {channel} {raw[1]} {raw[2] or 64}"
    return f"{ {0xC0: 'pc', 0xD0: 'pressure'}[status] } {channel} {raw[1]}"


def vectors() -> dict[str, tuple[bytes, str]]:
    with VECTORS.open(encoding="utf-8", newline="") as file:
        return {row["id"]: (bytes.fromhex(row["hex"]), row["expectation"]) for row in csv.DictReader(file)}


def arrivals(data: bytes, cuts: list[int] | None = None, cap: int = 4 * 1024 * 1024) -> list[Arrival]:
    """Feed `data` in the pieces between `cuts`, all at the same moment."""
    assembler = Assembler(cap=cap)
    found = [
        arrival for a, b in pairwise([0, *(cuts or ()), len(data)]) for arrival in assembler.feed(data[a:b], at=0.0)
    ]
    return found + assembler.finish()


@pytest.mark.parametrize("name", ASSEMBLING)
@pytest.mark.parametrize("size", [1, 2, 3, 1000])
def test_published_vector(name: str, size: int) -> None:
    data, expected = vectors()[name]
    # A note on with velocity 0 is a note off, in the file with the standard's velocity 64 (M1 p.10).
    assert "; ".join(map(in_words, arrivals(data, list(range(size, len(data), size))))) == expected


LENGTHS = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2, 0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0}


def by_the_book(data: bytes) -> list[tuple[str, bytes]]:
    """The rules again, the slow and obvious way: (kind, bytes) of each arrival."""
    found: list[tuple[str, bytes]] = []
    open_kind, held, running = "", bytearray(), 0

    def end() -> None:
        nonlocal open_kind, held
        names = {"sysex": "unterminated", "short": "incomplete", "implied": "incomplete", "stray": "ignored"}
        if open_kind:
            found.append((names[open_kind], bytes(held)))
        open_kind, held = "", bytearray()

    for byte in data:
        if byte >= 0xF8:
            found.append(("ignored" if byte in (0xF9, 0xFD) else "message", bytes((byte,))))
        elif byte == 0xF7 and open_kind == "sysex":
            found.append(("message", bytes((*held, byte))))
            open_kind, held = "", bytearray()
        elif byte >= 0x80:
            end()
            running = byte if byte < 0xF0 else 0
            length = LENGTHS.get(byte if byte >= 0xF0 else byte & 0xF0)
            if byte == 0xF0:
                open_kind, held = "sysex", bytearray((byte,))
            elif length is None:
                found.append(("ignored", bytes((byte,))))
            elif length == 0:
                found.append(("message", bytes((byte,))))
            else:
                open_kind, held, status = "short", bytearray((byte,)), byte
        elif open_kind == "sysex":
            held.append(byte)
        else:
            if not open_kind:
                open_kind = "implied" if running else "stray"
                status = running
            held.append(byte)
            whole = bytes(held) if open_kind == "short" else bytes((status, *held))
            if open_kind != "stray" and len(whole) == LENGTHS[status if status >= 0xF0 else status & 0xF0] + 1:
                found.append(("message", whole))
                open_kind, held = "", bytearray()
    end()
    return found


def in_short(found: list[Arrival]) -> list[tuple[str, bytes]]:
    return [(arrival.kind if isinstance(arrival, Damaged) else "message", arrival.raw) for arrival in found]


CHANNEL = st.builds(
    lambda status, data: bytes((status, *data[: LENGTHS[status & 0xF0]])),
    st.integers(0x80, 0xEF),
    st.lists(st.integers(0, 127), min_size=2, max_size=2),
)
SEVEN = st.binary(max_size=30).map(lambda body: bytes(byte & 0x7F for byte in body))
SYSEX = SEVEN.map(lambda body: b"\xf0" + body + b"\xf7")
ODD = st.one_of(st.binary(max_size=4), SEVEN, st.integers(0x80, 0xFF).map(lambda byte: bytes((byte,))))
RUNNING = st.builds(lambda first, rest: first + rest, CHANNEL, SEVEN)
STREAM = st.lists(st.one_of(CHANNEL, SYSEX, RUNNING, ODD), max_size=20).map(b"".join)
NOISE = st.binary(max_size=200)


@given(st.one_of(STREAM, NOISE), st.data())
@example(bytes.fromhex("B0 4A 40 4B"), None)
@example(bytes.fromhex("F6 F6 C0 05 06 07 F6"), None)
@example(bytes.fromhex("B0 4A 40 4B F8 41 FE"), None)
def test_any_pieces_give_the_same_and_the_book_agrees(data: bytes, draw: st.DataObject | None) -> None:
    cuts = sorted(draw.draw(st.lists(st.integers(0, len(data)), max_size=10))) if draw else list(range(len(data)))
    expected = by_the_book(data)
    assert in_short(arrivals(data)) == expected
    assert in_short(arrivals(data, cuts)) == expected
    # The reasons, too, do not depend on the pieces.
    assert arrivals(data, cuts) == arrivals(data)


@settings(max_examples=60)
@given(st.one_of(STREAM, NOISE), st.integers(2, 40))
def test_every_byte_is_accounted_for(data: bytes, cap: int) -> None:
    found = arrivals(data, cap=cap)
    surplus = Counter(b"".join(arrival.raw for arrival in found))
    surplus.subtract(data)
    assert all(count >= 0 for count in surplus.values())
    implied = {byte: count for byte, count in surplus.items() if count}
    assert all(0x80 <= byte < 0xF0 for byte in implied)  # only running status may add a byte
    assert sum(implied.values()) <= sum(isinstance(arrival, Message) for arrival in found)
    assert all(len(arrival.raw) <= cap or arrival.raw[0] < 0xF0 for arrival in found)


@given(st.lists(st.one_of(CHANNEL, SYSEX), max_size=20))
def test_mido_agrees_on_whole_messages(messages: list[bytes]) -> None:
    parser = mido.Parser()
    parser.feed(b"".join(messages))
    assert [arrival.raw for arrival in arrivals(b"".join(messages))] == [bytes(m.bytes()) for m in parser]


@settings(max_examples=40)
@given(st.lists(SYSEX, min_size=1, max_size=5), st.data())
def test_mido_agrees_on_realtime_inside_sysex(messages: list[bytes], draw: st.DataObject) -> None:
    stream = b"".join(messages)
    for place in sorted(draw.draw(st.sets(st.integers(0, len(stream)), max_size=10)), reverse=True):
        byte = draw.draw(st.sampled_from([0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF]))
        stream = stream[:place] + bytes((byte,)) + stream[place:]
    parser = mido.Parser()
    parser.feed(stream)
    assert [arrival.raw for arrival in arrivals(stream)] == [bytes(m.bytes()) for m in parser]


def test_whole_messages_carry_the_moment_of_their_last_byte() -> None:
    assembler = Assembler()
    assert assembler.feed(b"\xf0\x7d\x01", 1.0) == []
    (message,) = assembler.feed(b"\x02\xf7", 1.5)
    assert isinstance(message, Message)
    assert message.at == 1.5
    (controller,) = assembler.feed(b"\xb0\x4a\x40", 2.0)
    assert (controller.raw, controller.at) == (b"\xb0\x4a\x40", 2.0)


def test_a_dump_without_end_is_given_up_after_the_timeout_with_its_bytes() -> None:
    assembler = Assembler(timeout_s=1.0)
    assembler.feed(b"\xf0\x7d\x01", 5.0)
    assert assembler.deadline() == 6.0
    assert assembler.expire(5.999) == []
    (lost,) = assembler.expire(6.0)
    assert isinstance(lost, Damaged)
    assert (lost.kind, lost.raw) == ("unterminated", b"\xf0\x7d\x01")
    assert lost.reason == "SysEx cut off after 3 bytes, without F7: nothing more came for 1 s."
    assert assembler.deadline() is None
    assert [arrival.raw for arrival in assembler.feed(b"\xb0\x07\x64", 6.1)] == [b"\xb0\x07\x64"]


def test_active_sensing_does_not_keep_a_dump_without_end_open() -> None:
    assembler = Assembler(timeout_s=1.0)
    assembler.feed(b"\xf0\x7d\x01", 0.0)
    kinds = [in_words(a) for at in (0.3, 0.6, 0.9, 1.2) for a in assembler.feed(b"\xfe", at)]
    assert kinds == ["realtime FE", "realtime FE", "realtime FE", "error unterminated F0 7D 01", "realtime FE"]


def test_half_a_controller_waits_for_its_other_half() -> None:
    assembler = Assembler(timeout_s=1.0)
    assembler.feed(b"\xb0\x4a", 0.0)
    assert assembler.expire(100.0) == []
    assert [arrival.raw for arrival in assembler.feed(b"\x40", 100.0)] == [b"\xb0\x4a\x40"]


@pytest.mark.parametrize("cuts", [None, [5], list(range(1, 12))])
def test_a_message_above_the_cap_is_cut_and_the_rest_reported(cuts: list[int] | None) -> None:
    data = b"\xf0" + bytes(range(10)) + b"\xf7"
    assert in_short(arrivals(data, cuts, cap=12)) == [("message", data)]
    assert in_short(arrivals(data, cuts, cap=11)) == [
        ("unterminated", data[:10]),
        ("ignored", data[10:11]),
        ("ignored", b"\xf7"),
    ]


def test_a_dump_of_the_largest_size_passes_in_small_pieces() -> None:
    data = b"\xf0" + bytes(100_000) + b"\xf7"
    assert arrivals(data, list(range(256, len(data), 256))) == [Message(data)]


def test_implied_status_is_not_among_the_bytes_of_a_cut_off_message() -> None:
    *_, damaged = arrivals(b"\xb0\x4a\x40\x4b")
    assert isinstance(damaged, Damaged)
    assert (damaged.raw, damaged.kind) == (b"\x4b", "incomplete")
    assert damaged.reason == "Message B0 cut off after 1 of 2 data bytes: the input ended."


def test_a_cap_below_two_is_refused() -> None:
    with pytest.raises(ValueError, match="a cap of 1 bytes"):
        Assembler(cap=1)
