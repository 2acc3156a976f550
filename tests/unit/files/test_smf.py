"""Standard MIDI Files: the published files, mido as the other reader, and everything that mido refuses or changes."""

from __future__ import annotations

import csv
import io
from contextlib import suppress
from functools import cache
from itertools import pairwise
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart import Chart, load, shipped
from librarian.errors import BadInput
from librarian.files import moments, smf, smf_write, snapshot
from librarian.files.targets import Target
from librarian.wire.pace import Pace

with (Path(__file__).parents[2] / "data" / "vectors.csv").open(encoding="utf-8") as vectors:
    VECTORS = {row["id"]: bytes.fromhex(row["hex"]) for row in csv.DictReader(vectors)}

# Standard MIDI File 1.1 as applied by hand; decoded alike by mido and two more libraries.
FILE_B = bytes.fromhex(
    "4D546864 00000006 0000 0001 01E0 4D54726B 0000002B 00 F005 7E7F0601F7 8360 F008 7D000102030405F7"
    "00 B20764 00 2708 00 6302 00 6205 00 0610 00 2620 00FF2F00"
)
# The published format 0 example, RP-001 pages 12-14.
FILE_D = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B 00FF580404021808 00FF510307A120 00C005 00C12E 00C246"
    "00923060 003C60 60914340 60904C20 8140 823040 003C40 00814340 00804C40 00FF2F00"
)
HEADER = bytes.fromhex("4D546864 00000006 0000 0001 0060")
LONG_HEADER = bytes.fromhex("4D546864 00000008 0000 0001 0060 0000")


def track(*events: str, length: int | None = None) -> bytes:
    body = bytes.fromhex("".join(events))
    return b"MTrk" + (len(body) if length is None else length).to_bytes(4, "big") + body


def told(file: smf.MidiFile) -> list[tuple[int, str, str]]:
    return [(event.tick, event.kind, event.raw.hex()) for event in file.events if event.kind != "meta"]


def by_mido(data: bytes) -> list[tuple[int, str]]:
    found = []
    for one in mido.MidiFile(file=io.BytesIO(data)).tracks:
        tick = 0
        for message in one:
            tick += message.time
            if not message.is_meta:
                found.append((tick, bytes(message.bytes()).hex()))
    return found


def test_vector_46() -> None:
    file = smf.from_bytes(VECTORS["V46"], "a.mid")
    assert (file.format, file.division, file.ticks_per_quarter) == (0, 96, 96)
    assert len(file.events) + 1 == 11  # the end of the track is counted there
    assert {(0, "channel", "b04a40"), (48, "channel", "b04a60"), (48, "channel", "b04710")} <= set(told(file))
    assert not file.notes


def test_vector_47_which_mido_refuses() -> None:
    file = smf.from_bytes(VECTORS["V47"], "c.mid")
    assert (file.format, file.tracks) == (1, 2)
    assert told(file) == [(0, "sysex", "f07d11223344556677f7"), (300, "raw", "f6"), (300, "channel", "b04a01")]
    assert [event.packets for event in file.events if event.kind == "sysex"] == [(0, 200, 300)]
    with pytest.raises(ValueError, match=r"out of range|must be"):
        by_mido(VECTORS["V47"])


@pytest.mark.parametrize("data", [VECTORS["V46"], FILE_B, FILE_D])
def test_ordinary_files_read_like_mido_reads_them(data: bytes) -> None:
    assert [(tick, raw) for tick, _, raw in told(smf.from_bytes(data, "x.mid"))] == by_mido(data)


MESSAGES = st.one_of(
    st.tuples(st.integers(0xB0, 0xBF), st.integers(0, 127), st.integers(0, 127)).map(bytes),
    st.tuples(st.integers(0xC0, 0xCF), st.integers(0, 127)).map(bytes),
    st.binary(max_size=300).map(lambda data: b"\xf0" + bytes(byte & 0x7F for byte in data) + b"\xf7"),
)


@given(st.lists(MESSAGES, max_size=20), st.text(max_size=10))
def test_what_is_written_reads_back_the_same_here_and_by_mido(messages: list[bytes], name: str) -> None:
    data = smf_write.to_bytes(messages, name=name)
    file = smf.from_bytes(data, "x.mid")
    assert [raw for _, _, raw in told(file)] == [raw.hex() for raw in messages]
    assert [(tick, raw) for tick, _, raw in told(file)] == by_mido(data)
    assert not file.notes


@given(st.lists(MESSAGES, min_size=2, max_size=10))
def test_times_leave_every_message_its_time_on_the_cable(messages: list[bytes]) -> None:
    pace = Pace()
    events = [event for event in smf.from_bytes(smf_write.to_bytes(messages), "x").events if event.kind != "meta"]
    for event, later in pairwise(events):
        seconds = (later.tick - event.tick) * smf_write.TEMPO / 1e6 / smf_write.TICKS
        assert seconds >= len(event.raw) / 3125 + pace.gap_after(event.raw)


@pytest.mark.parametrize(
    ("what", "data", "note"),
    [
        ("header of 8 bytes", LONG_HEADER + track("00B04A40 00FF2F00"), "8 bytes"),
        ("alien chunk", HEADER + b"XYZW\0\0\0\2ab" + track("00B04A40 00FF2F00"), "XYZW"),
        ("track too long", HEADER + track("00B04A40 00FF2F00", length=999), "shorter than it says"),
        ("track too short", HEADER + track("00B04A40 00FF2F00", length=4), "no end-of-track"),
        ("more tracks promised", HEADER[:11] + b"\5" + HEADER[12:] + track("00B04A40 00FF2F00"), "promises 5"),
        ("no end of track", HEADER + track("00B04A40"), "no end-of-track"),
        ("junk before", b"junk" + HEADER + track("00B04A40 00FF2F00"), "4 bytes stand before"),
        ("running status after meta", HEADER + track("00B04A40 00FF0100 00 4A40 00FF2F00"), "running status"),
        ("absurd event length", HEADER + track("00B04A40 00F0FFFFFF7F 7D01"), "268435455 bytes"),
    ],
)  # fmt: skip
def test_files_that_mido_or_others_refuse_are_read_with_a_note(what: str, data: bytes, note: str) -> None:
    file = smf.from_bytes(data, "x.mid")
    assert (0, "channel", "b04a40") in told(file)
    assert any(note.lower() in each.lower() for each in file.notes), file.notes


def test_sysex_without_end_escapes_and_realtime_inside() -> None:
    data = HEADER + track("00F0037D0102 00B04A40 00F705F07D0102F7 00F701F8 00F0067D01F80203F7 00FF2F00")
    assert [each[1:] for each in told(smf.from_bytes(data, "x.mid"))] == [
        ("cut", "f07d0102"), ("channel", "b04a40"), ("sysex", "f07d0102f7"), ("raw", "f8"), ("sysex", "f07d010203f7"),
    ]  # fmt: skip


def test_frames_as_division() -> None:
    file = smf.from_bytes(HEADER[:12] + b"\xe7\x28" + track("00FF2F00"), "x.mid")
    assert (file.ticks_per_quarter, file.ticks_per_second) == (None, 1000)  # SMF 2.2: E7 28 is milliseconds


@given(st.binary(max_size=80))
def test_no_bytes_crash_the_reader(tail: bytes) -> None:
    for data in (tail, HEADER + tail, HEADER + track(tail.hex()), HEADER + track(tail.hex(), length=9)):
        with suppress(BadInput):
            list(smf.from_bytes(data, "x.mid").pieces())


@cache
def fog() -> Chart:
    return load(shipped()["fogbell"])


def test_a_sound_at_a_moment_of_a_recording() -> None:
    chart = fog()
    number = chart.codec.carried("instrument")["filter.cutoff"].number
    data = HEADER + track(f"00B4{number:02X}0A 60B4{number:02X}14 60B4{number:02X}1E 00B0{number:02X}7F 00FF2F00")
    file = smf.from_bytes(data, "take.mid")
    target = Target(None, chart.name, chart, chart.default_address)
    for tick, value in ((1, 10), (96, 10), (97, 20), (None, 30)):
        assert snapshot.snapshot(file, tick).controllers[4, number] == value
        found = snapshot.version(file, target, tick)
        assert found.values == {"filter.cutoff": value} or dict(found.values) == {"filter.cutoff": value}
        assert len(found.unknown) == len(chart.parameters) - 1
    assert not snapshot.version(file, target, 0).values
    assert snapshot.version(file, target, 97).origin.detail == "take.mid at tick 97"


@pytest.mark.parametrize(
    ("said", "tick"), [("0s", 0), ("0.5s", 96), ("1s", 192), ("1.25s", 288), ("2s", 576), ("0:10", 3648)]
)
@pytest.mark.parametrize("form", [1, 2])
def test_seconds_count_by_the_tempos_of_one_pattern(said: str, tick: int, form: int) -> None:
    """96 ticks a quarter note: 120 a minute for two of them, then 240. A second pattern has its own slow tempo."""
    first = track("00FF510307A120 8140FF510303D090 00FF2F00")
    second = track("00B04A40 00FF51030F4240 00FF2F00") if form == 2 else track("00B04A40 00FF2F00")
    header = b"MThd\0\0\0\6\0" + bytes([form]) + b"\0\2\0\x60"
    file = smf.from_bytes(header + first + second, "x.mid")
    assert not file.notes
    assert moments.tick_of(file, said) == tick
