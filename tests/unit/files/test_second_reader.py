"""Our .mid files read by mido and by py_midicsv, a reader that shares no code with mido or with us."""

from __future__ import annotations

from pathlib import Path

import mido
import py_midicsv
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.collection import Library
from librarian.files import outgoing, smf, smf_write
from librarian.messages import Address
from tests.filesamples import chart, dump, version

Event = tuple[int, bytes]
_data = st.integers(0, 127)
_sysex = st.binary(max_size=300).map(lambda body: b"\xf0" + bytes(each & 0x7F for each in body) + b"\xf7")
_channel = st.builds(lambda status, a, b: bytes((status, a, b)), st.integers(0xB0, 0xBF), _data, _data)
_program = st.builds(lambda status, a: bytes((status, a)), st.integers(0xC0, 0xCF), _data)


def by_midicsv(path: Path) -> list[Event]:
    """(tick, message) of every SysEx message, controller and program change."""
    found = []
    for line in py_midicsv.midi_to_csv(str(path)):
        _, tick, kind, *rest = (part.strip() for part in line.strip().split(","))
        if kind == "System_exclusive":
            found.append((int(tick), bytes((0xF0, *(int(each, 16) for each in rest[1:])))))
        elif kind == "Control_c":
            channel, number, value = map(int, rest)
            found.append((int(tick), bytes((0xB0 | channel, number, value))))
        elif kind == "Program_c":
            found.append((int(tick), bytes((0xC0 | int(rest[0]), int(rest[1])))))
    return found


def by_mido(path: Path) -> list[Event]:
    """The same by mido."""
    tick, found = 0, []
    for message in mido.MidiFile(path).tracks[0]:
        tick += message.time
        if not message.is_meta:
            found.append((tick, bytes(message.bytes())))
    return found


def by_us(path: Path) -> list[Event]:
    """The same by our own reader."""
    return [(event.tick, event.raw) for event in smf.read(path).events if event.kind != "meta"]


@settings(max_examples=25)
@given(
    st.lists(st.tuples(st.text(max_size=20), st.lists(st.one_of(_sysex, _channel, _program), max_size=6)), max_size=4)
)
def test_three_readers_agree_on_whatever_is_written(
    tmp_path_factory: pytest.TempPathFactory, groups: list[tuple[str, list[bytes]]]
) -> None:
    path = tmp_path_factory.mktemp("written") / "any.mid"
    path.write_bytes(smf_write.to_bytes_of(groups))
    assert [raw for _, raw in by_us(path)] == [raw for _, messages in groups for raw in messages]
    assert by_mido(path) == by_us(path)
    assert by_midicsv(path) == by_us(path)


def test_an_exported_collection(library_path: Path, tmp_path: Path) -> None:
    path = tmp_path / "all.mid"
    with Library.open(library_path) as library:
        left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        for number in range(5):
            library.keep(left, f"Sound {number}", version("Sound", number, filter__cutoff=number))
        outgoing.export(library, library.find().ids, path)
    wanted = [raw for number in range(5) for raw in dump("Sound", filter__cutoff=number)]
    assert [raw for _, raw in by_midicsv(path)] == wanted
    assert by_midicsv(path) == by_mido(path) == by_us(path)
    markers = [line.split(",")[3].strip(' "\n') for line in py_midicsv.midi_to_csv(str(path)) if "Marker_t" in line]
    assert markers == [f"Sound {number}" for number in range(5)]


def test_vector_v46(tmp_path: Path) -> None:
    """standards' file A: bank, program, controllers with running status (mido, music21 and jzz read it alike)."""
    path = tmp_path / "a.mid"
    path.write_bytes(
        bytes.fromhex(
            "4D546864 00000006 0000 0001 0060 4D54726B 0000002F 00FF030544656D6F31 00FF510307A120 00B00001 00200200C005"
            "00B04A40 304A60 00471000903C64 603C0000FF2F00".replace(" ", "")
        )
    )
    wanted = [(0, "B04A40"), (48, "B04A60"), (48, "B04710")]
    for reader in (by_us, by_mido, by_midicsv):
        events = [(tick, raw.hex().upper()) for tick, raw in reader(path)]
        assert [event for event in events if event[1][2:4] in ("4A", "47")] == wanted
        assert (0, "C005") in events
