"""Sounds into .syx and .mid: the bytes as they were received, and encoded over them where they were edited."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from librarian.collection import Library
from librarian.errors import BadInput, Cancelled, OutsideProblem, Refused
from librarian.files import intake, outgoing, syx
from librarian.messages import Address, Origin, Values, Version
from tests.filesamples import chart, dump, edited, version


@pytest.fixture
def filled(library_path: Path):
    with Library.open(library_path) as library:
        left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        library.keep(left, "Harbour", version("Harbour"))
        library.keep(left, "Reef", version("Reef", 1, filter__cutoff=4))
        yield library


def test_a_dump_goes_out_as_it_came(filled: Library, tmp_path: Path) -> None:
    done = outgoing.export(filled, [2, 1], tmp_path / "two.syx")
    assert (tmp_path / "two.syx").read_bytes() == b"".join(dump("Reef", filter__cutoff=4) + dump("Harbour"))
    assert (done.sounds, done.made, done.left_out) == (2, 0, ())
    filled.rename(1, "Another name")
    outgoing.export(filled, [1], tmp_path / "renamed.syx")
    assert (tmp_path / "renamed.syx").read_bytes() == b"".join(dump("Harbour"))


def test_import_and_export_of_a_file_of_dumps_is_the_same_file(library_path: Path, tmp_path: Path) -> None:
    data = b"".join(raw for n in range(20) for raw in dump(f"Sound {n}", filter__cutoff=n))
    (tmp_path / "in.syx").write_bytes(data)
    with Library.open(library_path) as library:
        done = intake.apply(library, intake.preview(library, [tmp_path / "in.syx"], charts=[chart("lanternfish")]))
        outgoing.export(library, done.patches, tmp_path / "out.syx")
    assert (tmp_path / "out.syx").read_bytes() == data


def test_an_edited_sound_is_encoded_over_the_bytes_it_came_from(filled: Library, tmp_path: Path) -> None:
    filled.add_version(1, edited(version("Harbour"), 5, filter__cutoff=77))
    done = outgoing.export(filled, [1], tmp_path / "one.syx")
    assert done.made == 1
    raws = [piece.raw for piece in syx.read(tmp_path / "one.syx").pieces()]
    decoded = chart("lanternfish").codec.decode_all(raws, Address(2, 16))
    assert decoded.values["filter.cutoff"] == 77
    assert decoded.name.strip() == "Harbour"
    assert {k: v for k, v in decoded.values.items() if k != "filter.cutoff"} == {
        k: v for k, v in version("Harbour").values.items() if k != "filter.cutoff" and k in decoded.values
    }
    old = outgoing.export(filled, [1], tmp_path / "old.syx", versions={1: filled.versions(1)[0].id})
    assert old.made == 0
    assert (tmp_path / "old.syx").read_bytes() == b"".join(dump("Harbour"))


def test_what_a_file_cannot_hold_is_left_out_and_said(filled: Library, tmp_path: Path) -> None:
    fog = chart("fogbell")
    pedal = filled.add_instrument(fog, "Pedal", Address(0))
    bursts = fog.codec.controllers(fog.defaults(), Address(0), side="instrument")
    sent = tuple(raw for burst in bursts for raw in burst.messages)
    drone = filled.keep(pedal, "Drone", Version("fogbell", fog.revision, Values(fog.defaults()), received=sent))
    unknown = Version("lanternfish", 4, Values({"filter.cutoff": 3}), origin=Origin("edited"))
    partly = filled.keep(1, "Partly", unknown)
    done = outgoing.export(filled, [1, drone, partly], tmp_path / "some.syx")
    assert [name for _, name, _ in done.left_out] == ["Drone", "Partly"]
    assert "a .mid file does" in done.left_out[0][2]
    with pytest.raises(Refused, match="nothing was written"):
        outgoing.export(filled, [drone], tmp_path / "none.syx")
    assert not (tmp_path / "none.syx").exists()
    done = outgoing.export(filled, [1, drone, partly], tmp_path / "some.mid")
    assert (done.sounds, done.left_out) == (3, ())
    messages = [bytes(m.bytes()) for m in mido.MidiFile(tmp_path / "some.mid").tracks[0] if not m.is_meta]
    assert messages[: 1 + len(sent)] == [*dump("Harbour"), *sent]
    markers = [m.text for m in mido.MidiFile(tmp_path / "some.mid").tracks[0] if m.type == "marker"]
    assert markers == ["Harbour", "Drone", "Partly"]


def test_times_in_a_recording_leave_room_on_the_cable(filled: Library, tmp_path: Path) -> None:
    outgoing.export(filled, [1, 2], tmp_path / "two.mid")
    file = mido.MidiFile(tmp_path / "two.mid")
    sizes = [len(m.bytes()) for m in file.tracks[0] if m.type == "sysex"]
    assert file.length >= sum(sizes) / 3125, "also the last message has left the cable when the track ends"
    seen = intake.preview(filled, [tmp_path / "two.mid"])
    assert [row.status for row in seen.rows] == ["same", "same"]


def test_forms_and_files(filled: Library, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="not clear"):
        outgoing.export(filled, [1], tmp_path / "what.ever")
    assert outgoing.export(filled, [1], tmp_path / "what.ever", form="syx").form == "syx"
    with pytest.raises(Refused, match="exists already"):
        outgoing.export(filled, [1], tmp_path / "what.ever", form="csv")
    with pytest.raises(Refused, match="nothing to export"):
        outgoing.export(filled, [], tmp_path / "none.syx")
    with pytest.raises(OutsideProblem, match="cannot be written"):
        outgoing.export(filled, [1], tmp_path / "no folder" / "a.syx")

    class Now:
        def check(self, state: str = "") -> None:
            raise Cancelled(state)

    for suffix in ("syx", "mid", "csv", "zip"):
        with pytest.raises(Cancelled, match="Nothing was written"):
            outgoing.export(filled, [1], tmp_path / f"cancelled.{suffix}", cancel=Now())
    assert not list(tmp_path.glob("*cancelled*"))
