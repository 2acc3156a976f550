"""The verbs import, export and unread: files in and out of a library from the command line."""

from __future__ import annotations

import csv
from pathlib import Path

import mido
import pytest

from librarian.chart import load
from librarian.cli.exits import Exit
from librarian.collection import Library
from librarian.messages import Address
from tests.filesamples import chart, dump, edited, version


def test_preview_keeps_nothing_and_import_does(run, library_path, tmp_path):
    path = tmp_path / "night.syx"
    path.write_bytes(b"".join(dump("Harbour")) + b"\xf0\x55\x01\xf7")
    seen = run("import", path, "--preview", "--json").answer
    assert (seen["kept"], seen["new"], seen["not_understood"]) == (False, 1, 1)
    assert seen["instruments_added"] == ["Lanternfish"]
    assert [(each["name"], each["status"], each["known"]) for each in seen["sounds"]] == [("Harbour", "new", 52)]
    assert run("find", "--json").answer["total"] == 0
    done = run("import", path, "--tag", "from disk", "--json").answer
    assert (done["kept"], len(done["patches"]), len(done["unread"])) == (True, 1, 1)
    assert run("find", 'tag:"from disk"', "--json").answer["found"] == 1
    again = run("import", path)
    assert again.code == Exit.OK
    assert "1 there already" in again.out
    assert run("undo", "--json").answer["step"] == "Import “night.syx”"
    assert run("find", "--json").answer["total"] == 0


def test_import_for_people(run, tmp_path):
    path = tmp_path / "ni\x1b[31mght.syx"
    path.write_bytes(b"".join(dump("Harbour")) + b"\xf0\x55\x01\xf7")
    seen = run("import", path, "--preview")
    assert "1 new, 0 changed, 0 same; 1 message not understood. Nothing was kept." in seen.out
    assert "\x1b" not in seen.out + seen.err
    done = run("import", path)
    assert "1 sound kept, 1 kept as not understood." in done.out
    assert "librarian undo" in done.out


def test_two_instruments_that_cannot_be_told_apart(run, library_path, tmp_path):
    pedal = chart("fogbell")
    with Library.open(library_path) as library:
        for name in ("Left pedal", "Right pedal"):
            library.add_instrument(pedal, name, pedal.default_address)
    bursts = pedal.codec.controllers(pedal.defaults(), pedal.default_address, side="instrument")
    path = tmp_path / "pedal.syx"
    path.write_bytes(b"".join(raw for burst in bursts for raw in burst.messages))
    refused = run("import", path)
    assert refused.code == Exit.COULD_NOT
    assert "1 sound may belong to “Left pedal” or “Right pedal”" in refused.err
    assert "--instrument NAME" in refused.err
    assert run("import", path, "--preview", "--json").answer["sounds"][0]["others"] == ["Right pedal"]
    assert run("import", path, "--instrument", "right pedal").code == Exit.OK
    assert run("show", "pedal", "--json").answer["patch"]["instrument"] == "Right pedal"


@pytest.mark.parametrize("suffix", ["zip", "csv", "tsv", "mid"])
def test_everything_out_and_in_again(run, filled, library_path, tmp_path, suffix):
    path = tmp_path / f"all.{suffix}"
    out = run("export", "--all", "--to", path, "--json").answer
    assert (out["sounds"], out["left_out"]) == (len(filled), [])
    again = run("import", path, "--json").answer
    assert (again["same"], again["patches"], again["versions"]) == (len(again["sounds"]) + again["same"] - 100, [], {})
    assert run("export", "--all", "--to", path).code == Exit.COULD_NOT
    assert run("export", "--all", "--to", path, "--replace").code == Exit.OK


def test_export_by_number_name_version_and_search(run, filled, tmp_path):
    path = tmp_path / "some.csv"

    def names(*words):
        assert run("export", *words, "--to", path, "--replace").code == Exit.OK
        with path.open(encoding="utf-8-sig", newline="") as file:
            return sorted(row["name"] for row in csv.DictReader(file))

    assert names("Storm, first gust") == ["Storm, first gust"]
    assert names(filled["Storm, first gust"]) == ["Storm, first gust"]
    assert names("storm gust") == ["Storm, first gust", "Storm, second gust"]
    assert len(names("tag:drone")) > 3
    assert len(names("Storm, first gust", "tag:drone")) > 3
    nothing = run("export", "no such thing at all", "--to", path, "--replace")
    assert (nothing.code, "No patch" in nothing.err) == (Exit.COULD_NOT, True)
    assert run("export", "--to", path).code == Exit.COULD_NOT
    assert run("export", "storm", "--to", tmp_path / "a.what").code == Exit.COULD_NOT


def test_an_earlier_version(run, library_path, tmp_path):
    with Library.open(library_path) as library:
        left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        library.keep(left, "Harbour", version("Harbour"))
        library.add_version(1, edited(version("Harbour"), 3, filter__cutoff=1))
    run("export", "Harbour@1", "--to", tmp_path / "old.syx")
    assert (tmp_path / "old.syx").read_bytes() == b"".join(dump("Harbour"))
    made = run("export", "Harbour", "--to", tmp_path / "new.syx", "--json").answer
    assert made["made"] == 1


def test_some_left_out(run, filled, tmp_path):
    out = run("export", "--all", "--to", tmp_path / "all.syx", "--json")
    assert out.code == Exit.DIFFERS
    assert {each["reason"] for each in out.answer["left_out"]} == {
        "It consists of controllers, which a .syx file does not hold; a .mid file does."
    }


def test_what_was_not_understood_is_listed_exported_and_forgotten(run, library_path, tmp_path):
    strange = b"\xf0\x55\x01\xf7"
    path = tmp_path / "old.syx"
    path.write_bytes(strange + b"".join(dump("Harbour"))[:-20] + b"\xf7")
    assert run("import", path).code == Exit.OK
    listed = run("unread", "list", "--json").answer["unread"]
    assert [each["messages"] for each in listed] == [1, 1]
    out = tmp_path / "unread.syx"
    assert run("unread", "export", listed[0]["number"], "--to", out).code == Exit.OK
    assert out.read_bytes() == strange
    again = run("unread", "read-again", "--json").answer
    assert (again["patches"], again["left"]) == ([], 2)
    left = run("unread", "forget", listed[0]["number"], "--json").answer["unread"]
    assert [each["number"] for each in left] == [listed[1]["number"]]
    assert "no MIDI" not in run("unread", "list").out
    assert run("unread", "export", 99, "--to", out).code == Exit.COULD_NOT


def test_read_again_with_a_chart_that_came_later(run, library_path, tmp_path):
    text = chart("lanternfish").text.replace('id = "lanternfish"', 'id = "deepfish"', 1)
    text = text.replace('manufacturer = "7D"', 'manufacturer = "00 21 7F"').replace('"F0 7D ', '"F0 00 21 7F ')
    later = tmp_path / "deepfish.toml"
    later.write_text(text, encoding="utf-8")
    deep = load(later)
    raws = deep.codec.encode("edit", deep.defaults(), Address(2, 16), name="Abyss", form="answer")
    path = tmp_path / "deep.syx"
    path.write_bytes(b"".join(raws))
    assert run("import", path, "--json").answer["not_understood"] == 1
    again = run("unread", "read-again", "--chart", later, "--json").answer
    assert (len(again["patches"]), again["left"]) == (1, 0)
    assert run("show", "Abyss", "--json").answer["sound"]["chart"] == "deepfish"


def test_a_moment_of_a_recording(run, tmp_path):
    pedal = chart("fogbell")
    track = mido.MidiTrack()
    for cutoff in (3, 99):
        bursts = pedal.codec.controllers(
            {**pedal.defaults(), "filter.cutoff": cutoff}, pedal.default_address, side="instrument"
        )
        track += [mido.Message.from_bytes(raw, time=10) for burst in bursts for raw in burst.messages]
    path = tmp_path / "show.mid"
    mido.MidiFile(type=0, ticks_per_beat=480, tracks=[track]).save(path)
    half = 10 * len(track) // 2 + 1
    done = run("import", path, "--at", half, "--json").answer
    assert done["sounds"][0]["where"] == f"show.mid before tick {half}"
    values = {each["id"]: each["value"] for each in run("show", "show", "--json").answer["sound"]["values"]}
    assert values["filter.cutoff"] == 3
    assert run("import", path, "--at", "later").code == Exit.COULD_NOT


def test_files_that_cannot_be_read(run, tmp_path):
    for path in (Path("none.syx"), tmp_path):
        ran = run("import", path)
        assert ran.code == Exit.COULD_NOT
        assert ran.err.count("\n") >= 2
    assert run("import").code == Exit.USAGE


def test_one_of_several_files_that_cannot_be_read_is_left_out_and_named(run, tmp_path):
    (tmp_path / "good.syx").write_bytes(b"".join(dump("Harbour")))
    (tmp_path / "photo.syx").write_bytes(b"\x89PNG\r\n")
    files = (tmp_path / "photo.syx", tmp_path / "good.syx")
    seen = run("import", *files, "--preview")
    assert (seen.code, run("find", "--json").answer["total"]) == (Exit.DIFFERS, 0)
    done = run("import", *files, "--json")
    assert done.code == Exit.DIFFERS
    assert done.answer["files_left_out"] == [{"file": "photo.syx", "reason": "photo.syx is a picture."}]
    assert "Left out: photo.syx is a picture. Choose a file of sounds." in done.err
    assert (len(done.answer["patches"]), done.answer["did"]) == (1, "Import “good.syx”")
    assert run("import", "--at", "soon", *files).code == Exit.COULD_NOT
