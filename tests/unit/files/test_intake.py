"""Files as they are found: told apart by content, ambiguous ones asked about, moments of recordings."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import mido
import pytest

from librarian.collection import Library, LibraryProblem
from librarian.errors import BadInput, OutsideProblem
from librarian.files import intake, outgoing, smf
from librarian.files.moments import tick_of
from librarian.messages import Address
from tests.filesamples import chart, dump


def look(library: Library, *paths: Path, **options: Any) -> Any:
    return intake.preview(library, list(paths), charts=[chart("lanternfish"), chart("fogbell")], **options)


def fog(**values: int) -> list[bytes]:
    """What a Fogbell says when all its controls are asked."""
    pedal = chart("fogbell")
    known = {**pedal.defaults(), **{key.replace("__", "."): value for key, value in values.items()}}
    bursts = pedal.codec.controllers(known, pedal.default_address, side="instrument")
    return [raw for burst in bursts for raw in burst.messages]


def recording(path: Path, messages: list[tuple[int, bytes]], *, tempo: int = 500_000) -> Path:
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo)])
    now = 0
    for tick, raw in messages:
        track.append(mido.Message.from_bytes(raw, time=tick - now))
        now = tick
    mido.MidiFile(type=0, ticks_per_beat=480, tracks=[track]).save(path)
    return path


@pytest.mark.parametrize("name", ["sounds.syx", "sounds.mid", "sounds.csv", "sounds.zip", "sounds"])
def test_dumps_are_dumps_whatever_the_file_is_called(empty: Library, tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(b"".join(dump("Harbour")))
    assert [row.name for row in look(empty, path).rows] == ["Harbour"]
    path.write_text(b"".join(dump("Harbour")).hex(" "), encoding="ascii")
    assert [row.name for row in look(empty, path).rows] == ["Harbour"]


@pytest.mark.parametrize("name", ["all.syx", "all"])
def test_recordings_tables_and_bundles_too(
    full: Library, empty: Library, bundle: Path, tmp_path: Path, name: str
) -> None:
    for form in ("mid", "csv", "tsv"):
        path = tmp_path / f"{form} {name}"
        outgoing.export(full, [1], path, form=form)
        assert [row.known for row in look(empty, path).rows] in ([52], [50])
    path = tmp_path / name
    path.write_bytes(bundle.read_bytes())
    assert len(look(empty, path).rows) == full.total() + full.total(trash=True)


def test_what_is_certainly_something_else(empty: Library, tmp_path: Path) -> None:
    for data, said in (
        (b"SQLite format 3\x00" + bytes(100), "is a library itself"),
        (b"%PDF-1.7", "is a PDF"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"", "holds no MIDI message"),
        (b"Dear pit,\nsee you at eight", "no byte in hexadecimal"),
        (b"\x01\x02\xff\x80", "holds no MIDI message"),
    ):
        (tmp_path / "file.syx").write_bytes(data)
        with pytest.raises(BadInput, match=said) as caught:
            look(empty, tmp_path / "file.syx")
        assert caught.value.hint
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("a.syx", b"".join(dump("Harbour")))
    with pytest.raises(BadInput, match="no bundle"):
        look(empty, tmp_path / "other.zip")
    with pytest.raises(BadInput, match="does not exist"):
        look(empty, tmp_path / "none.syx")
    with pytest.raises(BadInput, match="is no file"):
        look(empty, tmp_path)
    with pytest.raises((BadInput, OutsideProblem)):
        look(empty, Path("a\x00b"))


def test_several_files_are_one_step(empty: Library, bundle: Path, tmp_path: Path) -> None:
    (tmp_path / "a.syx").write_bytes(b"".join(dump("One")) + b"\xf0\x55\xf7")
    (tmp_path / "b.syx").write_bytes(b"".join(dump("One")) + b"".join(dump("Two", filter__cutoff=3)))
    seen = look(empty, tmp_path / "a.syx", bundle, tmp_path / "b.syx")
    rows = [(row.name, row.status, seen.files[row.file]) for row in seen.rows if row.file != 1]
    assert rows == [("One", "new", "a.syx"), ("One", "same", "b.syx"), ("Two", "new", "b.syx")]
    done = intake.apply(empty, seen)
    assert done.label == "Import 3 files"
    assert empty.undo() == "Import 3 files"
    assert (empty.total(), empty.unread()) == (0, ())


def test_files_that_cannot_be_used_are_left_out_whole_and_named(empty: Library, tmp_path: Path) -> None:
    table = tmp_path / "b.csv"
    table.write_text("name,chart,filter.cutoff\nA,lanternfish,800 Hz\nB,lanternfish,loud\n", encoding="utf-8")
    (tmp_path / "c.syx").write_bytes(b"\x01\x02")
    (tmp_path / "d.png").write_bytes(b"\x89PNG\r\n")
    (tmp_path / "e.syx").write_bytes(b"".join(dump("One")))
    (tmp_path / "f.zip").write_bytes(b"PK\x03\x04 and no more")
    wrong = [tmp_path / "a.mid", table, tmp_path / "c.syx", tmp_path / "d.png"]
    seen = look(empty, *wrong, tmp_path / "e.syx", tmp_path / "f.zip")
    assert [each.file for each in seen.left_out] == [0, 1, 2, 3, 5]
    for each, said in zip(
        seen.left_out, ("does not exist", "b.csv, line 3", "holds no MIDI", "is a picture", "f.zip"), strict=True
    ):
        assert said in each.sentence
        assert each.hint
    assert [(row.name, seen.files[row.file]) for row in seen.rows] == [("One", "e.syx")]
    done = intake.apply(empty, seen)
    assert (empty.total(), done.label) == (1, "Import “e.syx”")
    with pytest.raises(BadInput, match=r"None of the 4 files can be imported\. .*a\.mid does not exist"):
        look(empty, *wrong)


def test_a_library_that_vanishes_is_no_fault_of_a_file(
    empty: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.syx").write_bytes(b"".join(dump("One")))
    (tmp_path / "b.syx").write_bytes(b"".join(dump("Two")))

    def gone() -> int:
        raise LibraryProblem("The library has vanished.")

    monkeypatch.setattr(empty, "stamp", gone)
    with pytest.raises(LibraryProblem, match="vanished"):
        look(empty, tmp_path / "a.syx", tmp_path / "b.syx")


# --- whose is it


def test_two_pedals_on_one_channel_have_to_be_told_apart(empty: Library, tmp_path: Path) -> None:
    pedal = chart("fogbell")
    left = empty.add_instrument(pedal, "Left pedal", pedal.default_address)
    right = empty.add_instrument(pedal, "Right pedal", pedal.default_address)
    path = tmp_path / "pedal.syx"
    path.write_bytes(b"".join(fog()))
    assert look(empty, path).choices == (("Left pedal", "Right pedal"),)
    for number, name in ((left, "Left pedal"), (right, "Right pedal")):
        seen = look(empty, path, instrument=number)
        assert (seen.choices, [row.instrument for row in seen.rows]) == ((), [name])


def test_device_ids_tell_instruments_apart(empty: Library, tmp_path: Path) -> None:
    for device in (16, 17):
        empty.add_instrument(chart("lanternfish"), f"Device {device}", Address(2, device))
    path = tmp_path / "a.syx"
    path.write_bytes(b"".join(dump("One", device=17)))
    seen = look(empty, path)
    assert (seen.choices, seen.rows[0].instrument) == ((), "Device 17")
    path.write_bytes(b"".join(dump("One", device=5)))
    assert look(empty, path).choices == (("Device 16", "Device 17"),)


# --- moments


def test_the_last_value_of_each_controller_before_a_moment(empty: Library, tmp_path: Path) -> None:
    early, late = fog(filter__cutoff=10), fog(filter__cutoff=100)
    messages = [(10 * n, raw) for n, raw in enumerate(early)] + [(9600 + 10 * n, raw) for n, raw in enumerate(late)]
    path = recording(tmp_path / "night.mid", messages)
    cutoff = {}
    for moment in ("9600", "10s", "0:10", "100000"):
        seen = look(empty, path, moment=moment)
        assert [(row.known, row.of) for row in seen.rows] == [(22, 22)]
        done = intake.apply(empty, seen)
        stored = empty.version(empty.patch(done.patches[0]).latest)
        cutoff[moment] = stored.values["filter.cutoff"]
        empty.undo()
    assert cutoff == {"9600": 10, "10s": 10, "0:10": 10, "100000": 100}
    assert stored.origin.detail == "night.mid before tick 100000"
    assert len(stored.received) <= len(late) + 2, "only what has not been replaced"
    partly = look(empty, path, moment="35")
    assert partly.rows[0].known == 4
    with pytest.raises(BadInput, match="is no moment"):
        look(empty, path, moment="later")
    (tmp_path / "a.syx").write_bytes(b"".join(dump("One")))
    with pytest.raises(BadInput, match="no file is a recording"):
        look(empty, tmp_path / "a.syx", moment="1s")


def test_seconds_follow_the_tempo() -> None:
    """SMF 1.1, 3.1: FF 51 03; 120 a minute without one. 480 ticks: 960 a second, after 2 s 480 a second."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000, time=1920)])
    out = io.BytesIO()
    mido.MidiFile(type=0, ticks_per_beat=480, tracks=[track]).save(file=out)
    file = smf.from_bytes(out.getvalue(), "a.mid")
    assert [tick_of(file, said) for said in ("1s", "2s", "3s", "0:04,5", "1:00:00")] == [
        960,
        1920,
        2400,
        3120,
        1920 + 3598 * 480,
    ]
    frames = smf.from_bytes(bytes.fromhex("4D546864 00000006 0000 0001 E728 4D54726B 00000004 00FF2F00"), "b.mid")
    assert tick_of(frames, "1.5s") == 1500


def test_events_that_mido_refuses_are_read(empty: Library, tmp_path: Path) -> None:
    """Vector V47 (a split SysEx, an escape): mido refuses the whole file."""
    data = bytes.fromhex(
        "4D54686400000006000100020060 4D54726B00000013 00FF580404021808 00FF51030F4240 00FF2F00"
        "4D54726B0000001F 00F0047D112233 8148F703445566 64F70277F7 00F701F6 00B04A01 00FF2F00"
    )
    path = tmp_path / "c.mid"
    path.write_bytes(data)
    with pytest.raises((ValueError, EOFError, OSError)):
        mido.MidiFile(path)
    seen = look(empty, path)
    assert {raw for left in seen.left for raw in left.messages} == {
        bytes.fromhex("F07D11223344556677F7"),
        b"\xf6",
        bytes.fromhex("B04A01"),
    }
