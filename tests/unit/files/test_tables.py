"""Tables: there and back with the csv module as a second reader, formulas, encodings, wrong columns."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart import Chart, loads
from librarian.collection import Library
from librarian.errors import BadInput, LibrarianError
from librarian.files import intake, outgoing
from librarian.files.table.cells import defused, tags_cell, tags_of, undone, value_cell, value_of
from librarian.messages import Address, Values, Version
from tests.filesamples import SPITEFUL, chart, version


def look(library: Library, *paths: Path, **options: Any) -> Any:
    return intake.preview(library, list(paths), charts=[chart("lanternfish"), chart("fogbell")], **options)


def sounds_of(library: Library) -> list[tuple[object, ...]]:
    rows = library.rows(library.find().ids)
    versions = {row.id: library.version(row.latest) for row in rows}
    return sorted(
        (
            row.name,
            row.instrument_name,
            row.tags,
            row.note,
            str(dict(versions[row.id].values)),
            versions[row.id].unknown,
        )
        for row in rows
    )  # type: ignore[type-var]


def write(path: Path, rows: list[list[str]], encoding: str = "utf-8", separator: str = ",") -> Path:
    with path.open("w", encoding=encoding, newline="") as file:
        csv.writer(file, delimiter=separator).writerows(rows)
    return path


# --- there and back


@pytest.mark.parametrize("suffix", [".csv", ".tsv"])
@pytest.mark.parametrize("raw", [False, True])
def test_a_collection_goes_out_and_comes_back(
    full: Library, empty: Library, tmp_path: Path, suffix: str, raw: bool
) -> None:
    path = tmp_path / f"all{suffix}"
    outgoing.export(full, full.find().ids, path, raw=raw)
    done = intake.apply(empty, look(empty, path))
    assert len(done.patches) == full.total()
    assert sounds_of(empty) == sounds_of(full)
    assert {row.status for row in look(empty, path).rows} == {"same"}
    assert not intake.apply(full, look(full, path)).anything


def test_the_csv_module_reads_what_is_shown(full: Library, tmp_path: Path) -> None:
    path = tmp_path / "all.csv"
    outgoing.export(full, full.find().ids, path)
    assert path.read_bytes().startswith(b"\xef\xbb\xbfname,instrument,")
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == full.total()
    by_name = {row["name"]: row for row in rows}
    harbour = by_name["Harbour"]
    cutoff = chart("lanternfish").parameters["filter.cutoff"]
    assert harbour["filter.cutoff"] == cutoff.display(90)
    assert harbour["note"].startswith("Two lines\nof note")
    unknown = [name for name, cell in by_name["Drone"].items() if cell == "unknown"]
    assert len(unknown) == 3
    assert by_name["Drone"]["osc1.wave"] == "", "a pedal has no such thing"
    for cell in (cell for row in rows for cell in row.values()):
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), "a spreadsheet would calculate it"


@given(st.text())
def test_every_text_is_defused_and_comes_back(text: str) -> None:
    cell = defused(text)
    assert undone(cell) == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))


@given(st.lists(st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1), max_size=5))
def test_every_list_of_tags_comes_back(tags: list[str]) -> None:
    assert tags_of(tags_cell(tags)) == tuple(tags)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\u2028"])
def test_a_line_end_in_a_cell_of_tags_parts_words(end: str) -> None:
    assert tags_of(f'act{end}1;"storm{end}calm"; bass{end}') == ("act 1", "storm calm", "bass")


@pytest.mark.parametrize("name", ["lanternfish", "fogbell"])
def test_every_value_of_every_parameter_comes_back(name: str) -> None:
    for parameter in chart(name).parameters.values():
        for value in range(parameter.low, parameter.high + 1, max(1, parameter.steps // 200)):
            for raw in (False, True):
                assert value_of(parameter, value_cell(parameter, value, raw=raw), raw=raw) == value
        assert value_of(parameter, value_cell(parameter, None, raw=False), raw=False) is None


@pytest.mark.parametrize("name", ["lanternfish", "fogbell"])
def test_a_reading_that_another_program_wrote_with_other_signs_keeps_its_exact_value(name: str) -> None:
    """A semicolon table with decimal commas, ASCII hyphens and other blanks."""
    signs = str.maketrans({".": ",", "\u2212": "-", " ": "\N{NO-BREAK SPACE}"})
    for parameter in chart(name).parameters.values():
        for value in {parameter.low, parameter.high, *range(parameter.low, parameter.high, 97)}:
            assert value_of(parameter, value_cell(parameter, value, raw=False).translate(signs), raw=False) == value


def test_positions_that_are_called_like_what_a_cell_may_say_come_back(empty: Library, tmp_path: Path) -> None:
    names = ["x [1]", "x", "Ratio [99]", "unknown", "unknown [4]", "−1", "=1", "'=1", "a [-2]", "1/4", "[3]"]
    positions = ", ".join(f'"{name}"' for name in names)
    odd = loads(
        'id = "odd"\nname = "Odd"\n[[section]]\nid = "s"\nlabel = "S"\n[[parameter]]\nid = "p"\nlabel = "P"\n'
        f'section = "s"\nkind = "stepped"\npositions = [{positions}]\nby_hand = true\n'
    )
    parameter = odd.parameters["p"]
    for value, name in enumerate(names):
        assert value_of(parameter, value_cell(parameter, value, raw=False), raw=False) == value, name
    assert value_of(parameter, "Ratio [99]", raw=False) == 2
    unit = empty.add_instrument(odd, "Unit", Address())
    for value, name in enumerate(names):
        empty.keep(unit, name, Version("odd", 1, Values({"p": value})))
    empty.keep(unit, "nothing", Version("odd", 1, Values({}), frozenset({"p"})))
    outgoing.export(empty, empty.find().ids, path := tmp_path / "odd.csv")
    seen = intake.preview(empty, [path])
    assert (seen.count("same"), seen.count("changed"), seen.count("new")) == (len(names) + 1, 0, 0)
    assert sorted(row.name for row in empty.rows(empty.find("p = “unknown”").ids)) == ["unknown"]
    assert sorted(row.name for row in empty.rows(empty.find("p = unknown").ids)) == ["nothing"]
    assert len(empty.find("p != “unknown”")) == len(names) - 1
    assert [each.text for each in empty.complete("p = unkn")] == ['"unknown"', '"unknown [4]"']


def test_spiteful_names_come_back(full: Library, empty: Library, tmp_path: Path) -> None:
    path = tmp_path / "all.csv"
    outgoing.export(full, full.find().ids, path)
    intake.apply(empty, look(empty, path))
    assert set(SPITEFUL) - {"-2"} <= {row.name for row in empty.rows(empty.find().ids)} | {SPITEFUL[7]}


# --- edited in a spreadsheet


def test_an_edited_row_becomes_the_next_version(full: Library, tmp_path: Path) -> None:
    path = tmp_path / "some.csv"
    outgoing.export(full, full.find("harbour").ids, path)
    rows = list(csv.reader(path.read_text("utf-8-sig").splitlines(keepends=True)))
    for column, cell in (
        ("filter.cutoff", "1.2 kHz"),
        ("tags", rows[1][rows[0].index("tags")] + "; new"),
        ("taken", ""),
    ):
        rows[1][rows[0].index(column)] = cell
    seen = look(full, write(path, rows))
    assert [row.status for row in seen.rows] == ["changed"]
    done = intake.apply(full, seen)
    (patch,) = done.versions
    version = full.version(full.patch(patch).latest)
    assert chart("lanternfish").parameters["filter.cutoff"].display(version.values["filter.cutoff"]) == "1.2 kHz"
    assert "new" in full.patch(patch).tags
    assert version.origin.kind == "imported"
    assert version.origin.detail.startswith("some.csv, line ")
    assert not intake.apply(full, look(full, path)).anything
    full.undo()
    assert full.version(full.patch(patch).latest) != version


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_encodings_and_separators(library_path: Path, tmp_path: Path, encoding: str, separator: str) -> None:
    rows = [["Name", "filter.cutoff", "instrument"], ["Brüllmücke", "642 Hz", "Left"], ["", "", ""]]
    path = write(tmp_path / "mine.csv", rows, encoding, separator)
    with Library.open(library_path) as library:
        library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        seen = look(library, path)
        assert [(row.name, row.known, row.status) for row in seen.rows] == [("Brüllmücke", 1, "new")]
        assert ("Windows-1252" in "".join(seen.notes)) == (encoding == "cp1252")


# --- wrong tables


def refused(library: Library, path: Path, **options: Any) -> str:
    with pytest.raises(LibrarianError) as caught:
        look(library, path, **options)
    assert isinstance(caught.value, BadInput)
    assert caught.value.hint
    assert library.total() == 0
    return str(caught.value)


def test_wrong_tables_are_refused_with_the_place(library_path: Path, tmp_path: Path) -> None:
    path = tmp_path / "wrong.csv"
    with Library.open(library_path) as library:
        library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        head = ["name", "instrument", "filter.cutoff"]
        assert "line 3: Cutoff: “loud”" in refused(
            library, write(path, [head, ["A", "Left", "64 Hz"], ["B", "Left", "loud"]])
        )
        assert "no column “name”" in refused(library, write(path, [["title", "chart"], ["A", "lanternfish"]]))
        assert "Two columns" in refused(library, write(path, [["name", "name"], ["A", "B"]]))
        assert "No column of wrong.csv is a parameter" in refused(
            library, write(path, [["name", "instrument", "cut"], ["A", "Left", "1"]])
        )
        assert "1,000,001 columns" in refused(library, write(path, [["name", *map(str, range(1_000_000))]]))
        assert "has 4 cells" in refused(library, write(path, [head, ["A", "Left", "1", "2"]]))
        assert "only headings" in refused(library, write(path, [head]))
        assert "The sound has no name" in refused(library, write(path, [head, ["", "Left", "64 Hz"]]))
        assert "no instrument is called “Right”" in refused(library, write(path, [head, ["A", "Right", "64 Hz"]]))
        assert "no chart “none”" in refused(library, write(path, [["name", "chart"], ["A", "none"]]))
        path.write_bytes("name,instrument,filter.cutoff\nÄ,Left,64 Hz\n".encode() + "Ö,Left,64 Hz\n".encode("cp1252"))
        assert "two encodings: line 2 is UTF-8, line 3 is not" in refused(library, path)
        path.write_bytes(b"name,instrument\nA\x00,Left\n")
        assert "zero bytes" in refused(library, path)
        path.write_bytes(b'name,instrument,filter.cutoff\n"A,Left,64 Hz\n' + b"x" * 3_000_000)
        assert "line 3: a cell of more than 2,000,000 signs" in refused(library, path)
        path.write_bytes(b"name,instrument," + b"x" * 20_000_000)
        assert "a line of more than" in refused(library, path)


def test_raw_numbers_outside_the_range(library_path: Path, tmp_path: Path) -> None:
    with Library.open(library_path) as library:
        library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        rows = [["name", "values", "filter.cutoff"], ["A", "raw", "99999"]]
        assert "outside of its range" in refused(library, write(tmp_path / "a.csv", rows))
        rows[1][2] = "12.0"
        assert look(library, write(tmp_path / "a.csv", rows)).rows[0].known == 1


def test_one_instrument_needs_no_column_and_several_do(library_path: Path, tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", [["name", "filter.cutoff"], ["A", "642 Hz"]])
    with Library.open(library_path) as library:
        left = library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        assert look(library, path).rows[0].instrument == "Left"
        library.add_instrument(chart("lanternfish"), "Right", Address(2, 17))
        assert "whose sounds" in refused(library, path)
        assert look(library, path, instrument=left).rows[0].instrument == "Left"


def test_two_rows_of_one_name_are_two_sounds(library_path: Path, tmp_path: Path) -> None:
    rows = [["name", "chart", "filter.cutoff"], ["A", "lanternfish", "100 Hz"], ["A", "lanternfish", "2 kHz"]]
    path = write(tmp_path / "a.csv", [*rows, rows[1]])
    with Library.open(library_path) as library:
        seen = look(library, path)
        assert [row.status for row in seen.rows] == ["new", "new", "same"]
        done = intake.apply(library, seen)
        assert (len(done.patches), done.same) == (2, 1)


def test_equal_sounds_of_one_name_keep_their_own_tags(full: Library, empty: Library, tmp_path: Path) -> None:
    left = empty.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
    for tags in (["act 1"], ["act 2"]):
        empty.keep(left, "Init", version("Init"), tags)
    path = tmp_path / "twins.csv"
    outgoing.export(empty, empty.find().ids, path)
    assert not intake.apply(empty, look(empty, path)).anything
    before = full.total()
    intake.apply(full, look(full, path))
    assert full.total() == before + 2


def test_times_that_a_spreadsheet_wrote_otherwise_are_told(full: Library, tmp_path: Path) -> None:
    rows = [["name", "chart", "taken", "filter.cutoff"], ["A", "fogbell", "12.03.2026 20:15", "1 kHz"]]
    rows += [["B", "fogbell", "2026-03-12 20:15", "1 kHz"], ["C", "fogbell", "", "1 kHz"]]
    [note] = look(full, write(tmp_path / "times.csv", rows), instrument=2).notes
    assert "1 of the column “taken” cannot be read as a time, such as “12.03.2026 20:15”" in note


def later_fogbell() -> Chart:
    """The next revision of Fogbell, in which the cutoff reads otherwise."""
    text = (
        chart("fogbell")
        .text.replace("revision = 2", "revision = 3")
        .replace("from = 30, to = 6000", "from = 40, to = 9000")
    )
    return loads(text)


def test_values_are_read_by_the_revision_that_the_row_names(library_path: Path, tmp_path: Path) -> None:
    later = later_fogbell()
    for raw in ("raw", "shown"):
        cell = "0" if raw == "raw" else "30 Hz"
        row = ["Drone", "fogbell", "2", raw, cell]
        path = write(tmp_path / f"{raw}.csv", [["name", "chart", "revision", "values", "filter.cutoff"], row])
        with Library.open(library_path.with_name(f"{raw}.sqlite")) as library:
            intake.apply(library, intake.preview(library, [path], charts=[chart("fogbell"), later]))
            [kept] = library.rows(library.find().ids)
            assert (library.version(kept.latest).revision, library.version(kept.latest).values["filter.cutoff"]) == (
                2,
                0,
            )


def test_numbers_of_a_revision_that_is_not_known_are_refused(library_path: Path, tmp_path: Path) -> None:
    rows = [["name", "chart", "revision", "values", "filter.cutoff"], ["Drone", "fogbell", "2", "raw", "0"]]
    path = write(tmp_path / "raw.csv", rows)
    with Library.open(library_path) as library:
        with pytest.raises(BadInput, match="revision 2 of the chart fogbell, which is not known here"):
            intake.preview(library, [path], charts=[later_fogbell()])
        rows[1][3:] = ["shown", "1 kHz"]
        [note] = intake.preview(library, [write(path, rows)], charts=[later_fogbell()]).notes
        assert "Values of revision 2 were read by the chart fogbell, revision 3" in note


def test_cells_of_a_million_signs_are_refused_or_cut_in_a_sentence(library_path: Path, tmp_path: Path) -> None:
    long = "x" * 1_000_000
    head = ["name", "instrument", "tags", "note", "filter.cutoff"]
    with Library.open(library_path) as library:
        library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        for row, said in (
            (["A", "Left", long, "", "64 Hz"], "line 2: That tag is too long."),
            (["A", "Left", ";".join(map(str, range(150_000))), "", "64 Hz"], "line 2: 150,000 tags are too many"),
            (["A", "Left", "", long * 2 + "x", "64 Hz"], "line 2: a cell of more than 2,000,000 signs"),
            (["A", "Left", "", "", long], f"“{'x' * 40}…” cannot be read"),
            (["A", long, "", "", "64 Hz"], "no instrument is called"),
        ):
            told = refused(library, write(tmp_path / "long.csv", [head, row]))
            assert said in told
            assert len(told) < 500
        assert library.total() == 0
        seen = look(library, write(tmp_path / "names.csv", [head, [long, "Left", "", "n", "64 Hz"]]))
        assert seen.notes == (f"names.csv: “{'x' * 40}…” has 1,000,000 signs; the name is cut after 1,000.",)
        intake.apply(library, seen)
        assert [len(row.name) for row in library.rows(library.find().ids)] == [1000]


def test_a_thousand_tags_are_taken(library_path: Path, tmp_path: Path) -> None:
    rows = [["name", "instrument", "tags", "filter.cutoff"], ["A", "Left", ";".join(map(str, range(1000))), "64 Hz"]]
    with Library.open(library_path) as library:
        library.add_instrument(chart("lanternfish"), "Left", Address(2, 16))
        intake.apply(library, look(library, write(tmp_path / "tags.csv", rows)))
        (row,) = library.rows(library.find().ids)
        assert row.tags == tuple(map(str, range(1000)))
        with pytest.raises(BadInput, match="1,001 tags are too many"):
            library.tag([row.id], ["one more"])
        library.tag([row.id], ["one more"], ["7"])
