"""Bundles: whole and in part, there and back, merged, read without us; what is hostile is refused whole."""

from __future__ import annotations

import io
import json
import random
import resource
import struct
import tomllib
import zipfile
from collections.abc import Callable, Iterator
from datetime import datetime
from hashlib import blake2b, sha256
from pathlib import Path
from typing import Any

import pytest

from librarian.collection import Library
from librarian.errors import BadInput, Cancelled, LibrarianError, Refused
from librarian.files import intake, outgoing
from librarian.files.bundle import form
from librarian.files.bundle import reading as bundle_reading
from librarian.messages import Address
from tests.filesamples import chart, dump, edited, picture, rewritten, version


def take(library: Library, *paths: Path, **options: Any) -> Any:
    return intake.apply(library, intake.preview(library, list(paths), charts=()), **options)


def test_a_whole_collection_goes_out_and_comes_back(full: Library, empty: Library, tmp_path: Path) -> None:
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    done = outgoing.export_all(full, first)
    taken = take(empty, first)
    assert len(taken.patches) == done.sounds == full.total() + full.total(trash=True)
    assert picture(empty) == picture(full)
    again = outgoing.export_all(empty, second)
    assert again.content == done.content
    assert second.read_bytes() == first.read_bytes()
    assert empty.check() == ()
    assert empty.undo() == "Import “first.zip”"
    assert (empty.total(), empty.instruments(), empty.unread(), empty.saved_searches()) == (0, (), (), ())


@pytest.mark.parametrize("each", [1, 3, 17, 18, 19])
def test_sounds_of_several_files_inside(
    full: Library, empty: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, each: int
) -> None:
    monkeypatch.setattr(form, "SOUNDS_A_FILE", each)
    path = tmp_path / "all.zip"
    done = outgoing.export_all(full, path)
    with zipfile.ZipFile(path) as archive:
        lines = [len(archive.read(name).splitlines()) for name in archive.namelist() if name.startswith("sounds/")]
    assert sum(lines) == done.sounds
    assert set(lines[:-1]) <= {each}
    take(empty, path)
    assert picture(empty) == picture(full)


def test_the_same_bundle_again_finds_everything_there(full: Library, empty: Library, tmp_path: Path) -> None:
    path = tmp_path / "all.zip"
    outgoing.export_all(full, path)
    take(empty, path)
    label, before = empty.undo_label(), picture(empty)
    seen = intake.preview(empty, [path], charts=())
    assert {row.status for row in seen.rows} == {"same"}
    done = intake.apply(empty, seen)
    assert not done.anything
    assert (empty.undo_label(), picture(empty)) == (label, before)
    assert picture(full) == before
    assert not take(full, path).anything, "also where it came from"


def test_a_selection_has_only_what_it_needs(full: Library, empty: Library, tmp_path: Path) -> None:
    path = tmp_path / "some.zip"
    outgoing.export(full, full.find("drone").ids, path)
    with zipfile.ZipFile(path) as bundle:
        names = set(bundle.namelist())
    assert "charts/fogbell-2.toml" in names
    assert not any("lanternfish" in name for name in names)
    take(empty, path)
    assert [row.name for row in empty.instruments()] == ["Pedal"]
    assert empty.version(empty.patch(1).latest) == full.version(full.rows(full.find("drone").ids)[0].latest)


def test_it_is_read_with_the_standard_library_alone(full: Library, tmp_path: Path) -> None:
    """The way that assets/guide/bundle.md shows, and the two digests that it defines."""
    path = tmp_path / "all.zip"
    content = outgoing.export_all(full, path).content
    lines, sounds = [], {}
    with zipfile.ZipFile(path) as bundle:
        index = json.loads(bundle.read("bundle.json"))
        for name, about in index["files"].items():
            assert sha256(bundle.read(name)).hexdigest() == about["sha256"]
            assert len(bundle.read(name)) == about["bytes"]
        for name in sorted(bundle.namelist()):
            if name.startswith("sounds/"):
                lines += bundle.read(name).splitlines(keepends=True)
        instruments = [json.loads(line) for line in bundle.read("instruments.jsonl").splitlines()]
        for line in lines:
            sound = json.loads(line)
            sounds[sound["name"]] = sound
            told = tomllib.loads(bundle.read(sound["versions"][-1]["chart_file"]).decode())
            assert told["id"] == sound["versions"][-1]["chart"]
            assert instruments[sound["instrument"] - 1]["chart"] == told["id"]
    assert sha256(b"".join(sorted(sha256(line).digest() for line in lines))).hexdigest() == content
    assert index["content_sha256"] == content
    harbour = sounds["Harbour"]["versions"]
    assert bytes.fromhex("".join(harbour[0]["received"])) == b"".join(dump("Harbour"))
    assert (harbour[1]["values"]["filter.cutoff"], harbour[1]["parent"], harbour[2]["parent"]) == (3, 1, 1)
    assert sounds["Harbour too"]["trash"] is True
    assert harbour[0]["taken"] == "2026-03-01T20:16:02.123456Z"
    assert harbour[3]["parent_elsewhere"] == _digest(sounds["Harbour too"]["versions"][0])


def _digest(told: dict[str, Any]) -> str:
    moment = datetime.fromisoformat(told["taken"])
    named = {
        "chart": told["chart"],
        "detail": told["detail"],
        "name": told["name_inside"],
        "origin": told["origin"],
        "received": [each.lower() for each in told["received"]],
        "revision": told["revision"],
        "taken": int(moment.timestamp()) * 1_000_000 + moment.microsecond,
        "unknown": told["unknown"],
        "values": told["values"],
    }
    text = json.dumps(named, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return blake2b(text.encode(), digest_size=16).hexdigest()


# --- merging


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Library, Library, Path]]:
    """Two libraries with the same sound "Harbour" in it, and a bundle of the first."""
    with Library.open(tmp_path / "one.sqlite") as one, Library.open(tmp_path / "two.sqlite") as other:
        for library in (one, other):
            left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
            library.keep(left, "Harbour", version("Harbour"), ["act 1"], "calm")
        yield one, other, tmp_path / "one.zip"


def test_versions_tags_and_notes_that_are_missing_are_added(two: tuple[Library, Library, Path]) -> None:
    one, other, path = two
    one.add_version(1, edited(version("Harbour"), 5, filter__cutoff=1), "darker")
    one.tag([1], add=["new"])
    one.set_note(1, "calm, then dark")
    outgoing.export_all(one, path)
    other.rename(1, "Haven")
    other.tag([1], add=["mine"])
    other.set_note(1, "my note")
    seen = intake.preview(other, [path], charts=())
    assert [(row.status, row.patch) for row in seen.rows] == [("changed", 1)]
    assert any("“Harbour” is called “Haven” here" in note for note in seen.notes)
    done = intake.apply(other, seen)
    row = other.patch(1)
    assert (row.name, row.tags, row.note) == ("Haven", ("act 1", "mine", "new"), "my note\ncalm, then dark")
    assert [each.note for each in other.versions(1)] == ["", "darker"]
    assert other.version(row.latest) == one.version(one.patch(1).latest)
    assert set(done.versions) == {1}
    assert not take(other, path).anything
    other.undo()
    assert (len(other.versions(1)), other.patch(1).note) == (1, "my note")


def test_both_sides_went_on(two: tuple[Library, Library, Path]) -> None:
    one, other, path = two
    one.add_version(1, edited(version("Harbour"), 5, filter__cutoff=1))
    mine = edited(version("Harbour"), 6, filter__cutoff=2)
    other.add_version(1, mine)
    outgoing.export_all(one, path)
    done = take(other, path)
    assert done.parted == 1
    assert other.version(other.patch(1).latest).values == mine.values
    assert [other.version(each.id).values["filter.cutoff"] for each in other.versions(1)][1:] == [2, 1, 2]
    assert not take(other, path).anything


def test_changed_ones_as_new_patches_or_not_at_all(two: tuple[Library, Library, Path]) -> None:
    one, other, path = two
    one.add_version(1, edited(version("Harbour"), 5, filter__cutoff=1))
    outgoing.export_all(one, path)
    assert take(other, path, changed="skip").skipped == 1
    assert (other.total(), len(other.versions(1))) == (1, 1)
    done = take(other, path, changed="new")
    assert (len(done.patches), len(other.versions(1)), len(other.versions(2))) == (1, 1, 2)


def test_the_only_other_instrument_of_a_chart_is_the_same_one(two: tuple[Library, Library, Path]) -> None:
    one, other, path = two
    other.update_instrument(1, name="My own")
    outgoing.export_all(one, path)
    seen = intake.preview(other, [path], charts=())
    assert seen.rows[0].status == "same"
    assert any("Sounds of “Left” go to “My own”" in note for note in seen.notes)
    other.add_instrument(chart("lanternfish"), "Third", Address(3, 9))
    assert intake.preview(other, [path], charts=()).added == ("Left",)
    assert intake.preview(other, [path], charts=(), instrument=2).rows[0].instrument == "Third"


def test_a_chart_that_means_something_else_is_refused(two: tuple[Library, Library, Path]) -> None:
    one, other, path = two
    outgoing.export_all(one, path)
    text = chart("lanternfish").text
    other_text = text.replace("filter.cutoff", "filter.edge")
    assert other_text != text
    changed = rewritten(path, lambda name, data: other_text.encode() if name.startswith("charts/") else data)
    before = picture(other)
    with pytest.raises(BadInput, match=r"filter\.cutoff, filter\.edge"):
        take(other, changed)
    assert picture(other) == before


# --- hostile


def refused(library: Library, path: Path) -> str:
    before = picture(library)
    with pytest.raises(LibrarianError) as caught:
        take(library, path)
    assert picture(library) == before
    assert caught.value.hint
    return str(caught.value)


@pytest.mark.parametrize("name", ["../../evil.txt", "/etc/evil", "..\\evil", "C:evil", "sounds/../../evil"])
def test_names_that_lead_out(empty: Library, bundle: Path, name: str) -> None:
    assert "leads out of it" in refused(empty, rewritten(bundle, lambda _, data: data, **{name: b"x"}))


def _line(change: Callable[[dict[str, Any]], object]) -> Callable[[str, bytes], bytes]:
    """Changes the first sound."""

    def edit(name: str, data: bytes) -> bytes:
        if not name.startswith("sounds/"):
            return data
        first, _, rest = data.partition(b"\n")
        sound = json.loads(first)
        change(sound)
        return json.dumps(sound).encode() + b"\n" + rest

    return edit


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda each: each.pop("name"), "“name” has to be a text"),
        (lambda each: each.update(instrument=99), "“instrument” has to be a whole number from 1"),
        (lambda each: each.update(instrument=True), "“instrument” has to be a whole number"),
        (lambda each: each.update(versions=[]), "“versions” is missing"),
        (lambda each: each.update(versions=[3]), "list of objects"),
        (lambda each: each.update(tags="act 1"), "“tags” has to be a list"),
        (lambda each: each.update(tags=["x" * 1_000_000]), "line 1: “tags” has to be a list of texts."),
        (lambda each: each.update(tags=["x" * 900]), "line 1: “tags”: That tag is too long."),
        (lambda each: each.update(name="x" * 1_000_000), "line 1: “name” has to be a text of at most 100,000 signs."),
        (lambda each: each.update(tags=[""]), "tag needs at least one"),
        (lambda each: each["versions"][0].update(origin="stolen"), "is no origin"),
        (lambda each: each["versions"][0].update(taken="yesterday"), "is no time"),
        (lambda each: each["versions"][0].update(received=["F0 7"]), "in hexadecimal"),
        (lambda each: each["versions"][0].update(values={"filter.cutoff": 1.5}), "whole number"),
        (lambda each: each["versions"][0].update(values={"filter.cutoff": 10**30}), "whole number"),
        (lambda each: each["versions"][0].update(unknown=list(each["versions"][0]["values"])), "known and unknown"),
        (lambda each: each["versions"][0].update(values={"filter.\ud800": 3}), "an id that cannot be printed"),
        (lambda each: each["versions"][0].update(chart="\ud800"), "an id that cannot be printed"),
        (lambda each: each["versions"][0].update(unknown=["filter\x00"]), "an id that cannot be printed"),
        (lambda each: each["versions"][0].update(chart="other"), "neither in the bundle nor in the library"),
    ],
)
def test_a_line_that_is_wrong_is_named(empty: Library, bundle: Path, change: Any, said: str) -> None:
    told = refused(empty, rewritten(bundle, _line(change)))
    assert said in told


def test_lines_that_are_no_json(empty: Library, bundle: Path) -> None:
    for junk in (b"{", b"[1]", b"\xff\xfe{}", b"[" * 100_000, b'{"name": ' + b"9" * 10_000 + b"}"):
        wrong = rewritten(bundle, lambda name, data, junk=junk: junk if name.startswith("sounds/") else data)
        assert "sounds/000001.jsonl, line 1" in refused(empty, wrong)


def test_what_is_missing_or_too_much(empty: Library, bundle: Path, tmp_path: Path) -> None:
    assert "lacks sounds/000001.jsonl" in refused(
        empty, rewritten(bundle, lambda name, data: None if name.startswith("sounds/") else data)
    )
    assert "lacks charts/" in refused(
        empty, rewritten(bundle, lambda name, data: None if name.startswith("charts/") else data)
    )
    shorter = rewritten(
        bundle, lambda name, data: data[: data.index(b"\n") + 1] if name.startswith("sounds/") else data
    )
    assert "has 1 sounds and says it has" in refused(empty, shorter)
    assert "no bundle" in refused(empty, rewritten(bundle, lambda name, data: None if "bundle" in name else data))
    newer = rewritten(
        bundle, lambda name, data: data.replace(b'"format": 1', b'"format": 2') if "bundle" in name else data
    )
    assert "newer program" in refused(empty, newer)
    inner = rewritten(bundle, lambda name, data: data, **{"inner.zip": bundle.read_bytes()})
    seen = intake.preview(empty, [inner], charts=())
    assert any("'inner.zip' in it is no part of the bundle" in note for note in seen.notes)
    wrapped = tmp_path / "wrapped.zip"
    with zipfile.ZipFile(wrapped, "w") as outer:
        outer.writestr("good.zip", bundle.read_bytes())
    assert "is a zip but no bundle" in refused(empty, wrapped)


def test_an_entry_without_a_name_is_passed_over(empty: Library, full: Library, bundle: Path) -> None:
    """The length of a name is a number in the file (ZIP application note, 4.4.10), and may be 0."""
    with zipfile.ZipFile(bundle, "a") as archive:
        archive.writestr("q", b"")
    data = bundle.read_bytes()
    at = data.rindex(b"PK\x01\x02")
    head = data[at : at + 28] + b"\x00\x00" + data[at + 30 : at + 46] + data[at + 47 :]
    end = head.index(b"PK\x05\x06")
    size = int.from_bytes(head[end + 12 : end + 16], "little") - 1
    bundle.write_bytes(data[:at] + head[: end + 12] + size.to_bytes(4, "little") + head[end + 16 :])
    with zipfile.ZipFile(bundle) as archive:
        assert archive.namelist()[-1] == ""
    take(empty, bundle)
    assert empty.total() == full.total()


def test_a_bundle_packed_again_in_a_folder_is_read(empty: Library, full: Library, bundle: Path) -> None:
    out = bundle.with_name("again.zip")
    with zipfile.ZipFile(bundle) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(f"my sounds/{name}", old.read(name))
    take(empty, out)
    assert picture(empty) == picture(full)


def test_cut_short_and_damaged_everywhere(empty: Library, bundle: Path) -> None:
    data = bundle.read_bytes()
    hurt = bundle.with_name("hurt.zip")
    for size in (4, 30, len(data) // 2, len(data) - 10):
        hurt.write_bytes(data[:size])
        refused(empty, hurt)
    at = data.index(b"sounds/000001.jsonl") + 200
    hurt.write_bytes(data[:at] + bytes([data[at] ^ 255]) + data[at + 1 :])
    assert "damaged" in refused(empty, hurt)


def test_a_bomb_is_refused_before_it_goes_off(empty: Library, bundle: Path) -> None:
    bomb = bundle.with_name("bomb.zip")
    with zipfile.ZipFile(bundle) as old, zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, old.read(name))
        with new.open("sounds/000002.jsonl", "w", force_zip64=True) as file:
            for _ in range(300):
                file.write(b" " * (1 << 20))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "would unpack to 3" in refused(empty, bomb)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


def test_one_endless_line(empty: Library, bundle: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle_reading, "_LONGEST_LINE", 1 << 20)
    piece = random.Random(1).randbytes(1 << 20).replace(b"\n", b"x")

    def grow(name: str, data: bytes) -> bytes:
        return piece * 3 if name.startswith("sounds/") else data

    assert "longer than 1 MB" in refused(empty, rewritten(bundle, grow))


def test_a_million_entries(empty: Library, tmp_path: Path) -> None:
    """Only the end record is read: 1,000,000 directory entries would be 1 GB of Python objects."""
    path = tmp_path / "many.zip"
    entry = struct.pack("<4s4B4HL2L5H2L", b"PK\x01\x02", 20, 3, 20, 0, 0, 0, 0, 33, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0)
    many = 1_000_000
    directory = (entry + b"x") * many
    end64 = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, many, many, len(directory), 4)
    locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, 4 + len(directory), 1)
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 65535, 65535, 0xFFFFFFFF, 0xFFFFFFFF, 0)
    path.write_bytes(b"PK\x03\x04" + directory + end64 + locator + end)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert "1,000,000 files inside" in refused(empty, path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


def test_names_that_terminals_and_databases_obey(empty: Library, bundle: Path) -> None:
    nasty = "a\x00b\x1b[31m\ud800\u202e<b>" + "x" * 50_000
    path = rewritten(bundle, _line(lambda each: each.update(name=nasty, note=nasty, tags=["ok\x07"])))
    take(empty, path)
    row = next(row for row in empty.rows(empty.find().ids) if row.name.startswith("a b"))
    assert row.name.startswith("a b [31m\ufffd")
    assert len(row.name) == 1000
    assert row.tags == ("ok",)
    assert empty.check() == ()


def test_cancelled_in_the_middle_nothing_is_kept(empty: Library, bundle: Path) -> None:
    seen = intake.preview(empty, [bundle], charts=())

    class Later:
        count = 0

        def check(self, state: str = "") -> None:
            self.count += 1
            if self.count == 2:
                raise Cancelled(state)

    with pytest.raises(Cancelled, match="Nothing was kept"):
        intake.apply(empty, seen, cancel=Later())
    assert (empty.total(), empty.instruments(), empty.undo_label()) == (0, (), None)
    intake.apply(empty, seen)


def test_another_file_under_the_same_name_is_noticed(empty: Library, bundle: Path, full: Library) -> None:
    seen = intake.preview(empty, [bundle], charts=())
    outgoing.export(full, full.find("drone").ids, bundle, replace=True)
    with pytest.raises(Refused, match="has changed since"):
        intake.apply(empty, seen)
    assert empty.total() == 0


def test_a_file_that_exists_is_not_written_over(full: Library, bundle: Path) -> None:
    before = bundle.read_bytes()
    with pytest.raises(Refused, match="exists already"):
        outgoing.export_all(full, bundle)
    assert bundle.read_bytes() == before
    assert outgoing.export_all(full, bundle, replace=True).sounds > 0
    assert not list(bundle.parent.glob(".*")), "no draft is left"


def test_the_documented_example_runs(full: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    guide = (Path(__file__).parents[3] / "assets" / "guide" / "bundle.md").read_text(encoding="utf-8")
    code = guide.split("```python\n")[1].split("```")[0]
    monkeypatch.chdir(tmp_path)
    outgoing.export(full, full.find("harbour").ids, tmp_path / "collection.zip")
    out = io.StringIO()
    exec(compile(code, "bundle.md", "exec"), {"print": lambda *each: out.write(" ".join(map(str, each)) + "\n")})
    assert "Harbour Lanternfish {" in out.getvalue()
    assert (tmp_path / "Harbour.syx").exists()
