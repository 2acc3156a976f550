"""An instrument's memory from the terminal: backed up, resumed, compared, restored after asking, accounted for."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from librarian.chart import Memory
from librarian.cli.exits import Exit
from librarian.cli.programs import chosen_programs
from librarian.cli.reading import chart_of_instrument
from librarian.collection import Library
from librarian.collection.memories import Memories
from librarian.errors import BadInput
from librarian.transfer.talk import Talk


def name_of(unit, number):
    return unit["lanternfish"].memory[number].name.rstrip()


def test_a_whole_memory_is_kept_under_a_name_and_listed(run, unit):
    done = run("bank", "backup", "Sunday", "--embedded", "--json")
    assert done.code == Exit.OK
    answer = done.answer
    assert (answer["memory"]["name"], answer["memory"]["kept"], answer["memory"]["of"]) == ("Sunday", 64, 64)
    assert (answer["memory"]["complete"], answer["memory"]["firmware"]) == (True, "2.0")
    assert (answer["since"], answer["changed"]) == (None, None)
    (row,) = run("bank", "list", "--json").answer["memories"]
    assert row == answer["memory"]
    programs = run("bank", "show", "Sunday", "--json").answer["programs"]
    assert [(one["program"], one["name"], one["known"]) for one in programs[:2]] == [
        ("1", "Program 1", 50),
        ("2", "Program 2", 50),
    ]
    assert run("find", "--json").answer["total"] == 0, "a backup is no heap of patches"


def test_a_second_backup_says_what_has_changed(run, unit):
    run("backup", "First", "--embedded", "--programs", "1..5")
    unit["lanternfish"].memory[3].values["filter.cutoff"] ^= 1
    unit["lanternfish"].memory[1].name = "Renamed"
    done = run("backup", "Second", "--embedded", "--programs", "1..5", "--json").answer
    assert (done["since"], done["changed"]) == ("First", ["2", "4"])
    run("backup", "Second, again", "--embedded", "--programs", "1")
    assert "may be any of 2 backups" in run("bank", "show", "Sec").err
    assert "is no backup of a memory here" in run("bank", "show", "7").err
    compared = run("bank", "compare", "First", "Second", "--json")
    assert compared.code == Exit.DIFFERS
    assert (compared.answer["different"], compared.answer["equal"]) == (2, 3)
    rows = {one["program"]: one for one in compared.answer["programs"]}
    assert rows["4"]["differ"] == ["Cutoff"]
    assert (rows["2"]["a"], rows["2"]["b"], rows["2"]["differ"]) == ("Program 2", "Renamed", ["its name"])
    now = run("bank", "compare", "Second", "--embedded", "--json")
    assert (now.code, now.answer["equal"]) == (Exit.OK, 5)
    fewer = run("backup", "Third", "--embedded", "--programs", "1..2")
    assert fewer.code == Exit.OK
    assert run("bank", "compare", "First", "Third", "--json").code == Exit.DIFFERS
    assert run("bank", "compare", "Second", "Third").code == Exit.UNPROVED, "three programs are missing"


def test_an_interrupted_backup_keeps_what_it_has_and_goes_on(run, unit, library_path, monkeypatch):
    calls = 0
    usual = Talk.tell

    def tell(self, done, total, what, seconds_left=None):
        nonlocal calls
        calls += what == "programs"
        if calls == 4:
            self.cancel.set()
        usual(self, done, total, what, seconds_left)

    monkeypatch.setattr(Talk, "tell", tell)
    ended = run("bank", "backup", "Broken off", "--embedded", "--programs", "1..8", "--json")
    monkeypatch.undo()
    assert ended.code == Exit.CANCELLED
    assert ended.answer["problem"]["sentence"].startswith("3 of 8 programs were read and kept.")
    assert "--resume" in ended.answer["problem"]["sentence"]
    with Library.open(library_path) as library:
        (broken,) = Memories(library).all()
        assert (broken.ended, broken.kept) == (False, (0, 1, 2))
    assert "interrupted" in run("bank", "list").out


def test_what_a_restore_found_counts_all_that_it_kept(run, unit, library_path):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    with Library.open(library_path) as library:
        memories = Memories(library)
        (sunday,) = memories.all()
        row = library.instrument(sunday.instrument)
        before = memories.begin(row, chart_of_instrument(library, row), "Before", [1], "before")
        for number, version in memories.programs(sunday).items():  # as where the memory travels only as a whole
            memories.keep(before, number, version)
        (broken,) = [one for one in memories.all() if one.kind == "before"]
        assert (sorted(broken.wanted), broken.kept, broken.ended) == ([0, 1, 2], (0, 1, 2), False)
        memories.end(before, {})
    found = {one["name"]: one for one in run("bank", "list", "--json").answer["memories"]}["Before"]
    assert (found["kept"], found["of"], found["complete"]) == (3, 3, True)


def test_resuming_asks_only_for_the_rest(run, unit, library_path):
    whole = run("bank", "backup", "Whole", "--embedded", "--programs", "1..6", "--json").answer
    with Library.open(library_path) as library:
        memories = Memories(library)
        (first,) = memories.all()
        row = library.instrument(first.instrument)
        broken = memories.begin(row, chart_of_instrument(library, row), "Broken off", range(6))
        for number in range(4):
            memories.keep(broken, number, memories.programs(first)[number])
    done = run("bank", "backup", "--resume", "--embedded", "--json").answer
    assert (done["memory"]["name"], done["memory"]["kept"], done["resumed"]) == ("Broken off", 6, 4)
    assert done["bytes_in"] < whole["bytes_in"] / 2
    assert done["changed"] == []
    assert run("bank", "backup", "--resume", "--embedded").code == Exit.COULD_NOT, "nothing is interrupted any more"


def test_restore_one_program_into_another_place(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    done = run("bank", "restore", "Sunday", "--programs", "2", "--to", "40", "--embedded", "--yes", "--json")
    assert done.code == Exit.OK
    answer = done.answer
    assert (answer["new"], answer["old"], answer["unknown"]) == (["40"], {}, {})
    assert name_of(unit, 39) == "Program 2"
    before = run("bank", "show", answer["before"], "--json").answer
    assert before["memory"]["kind"] == "before"
    assert [(one["program"], one["name"]) for one in before["programs"]] == [("40", "Program 40")]
    back = run("bank", "restore", answer["before"], "--embedded", "--yes", "--json").answer
    assert back["new"] == ["40"]
    assert name_of(unit, 39) == "Program 40"


def test_a_restore_goes_to_the_instrument_of_the_backup_and_tells_what_was_there_already(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    unit["lanternfish"].memory[1].values["filter.cutoff"] ^= 1
    run("capture", "--embedded", "--instrument", "fogbell")
    done = run("bank", "restore", "Sunday", "--yes", "--json")
    assert (done.code, done.answer["instrument"]) == (Exit.OK, "Lanternfish")
    assert done.answer["sentence"] == "3 of 3 programs read back equal, 2 of them there already"


def test_nobody_to_ask_means_nothing_is_written(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    unit["lanternfish"].memory[0].name = "Changed"
    asked = run("bank", "restore", "Sunday", "--embedded")
    assert asked.code == Exit.COULD_NOT
    assert "--yes" in asked.err
    assert name_of(unit, 0) == "Changed"


def test_a_person_sees_what_is_replaced_and_may_say_no(run, unit, answers_of_a_person):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    unit["lanternfish"].memory[0].name = "Changed"
    answers_of_a_person("n\n")
    asked = run("bank", "restore", "Sunday", "--programs", "1", "--embedded")
    assert asked.code == Exit.CANCELLED
    assert "Changed" in asked.out
    assert "Program 1" in asked.out
    assert "Nothing was written" in asked.err
    assert name_of(unit, 0) == "Changed"
    assert len(run("bank", "list", "--json").answer["memories"]) == 1
    answers_of_a_person("y\n")
    assert run("bank", "restore", "Sunday", "--programs", "1", "--embedded").code == Exit.OK
    assert name_of(unit, 0) == "Program 1"


def test_who_replaces_one_program_is_told_that_all_of_the_memory_travels(run, unit, answers_of_a_person):
    tallow = str(Path(__file__).parents[2] / "data" / "charts" / "tallow.toml")
    run("bank", "backup", "Sunday", "--embedded", "--instrument", tallow)
    one = unit["tallow"]
    name = next(iter(one.chart.sound_ids))
    one.memory[0].values[name] ^= 1
    answers_of_a_person("n\n")
    asked = run("bank", "restore", "Sunday", "--programs", "1", "--embedded", "--instrument", tallow)
    assert asked.code == Exit.CANCELLED
    assert "takes its memory only as a whole: all of it is sent" in asked.out


def test_a_protected_memory_stays_and_says_why(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..2")
    one = unit["lanternfish"]
    one.memory[0].name = "Changed"
    one.behave(dataclasses.replace(one.behaviour, memory_protected=True))
    done = run("bank", "restore", "Sunday", "--embedded", "--yes", "--json")
    assert done.code == Exit.DIFFERS
    assert done.answer["new"] == ["2"], "it held that already"
    assert list(done.answer["old"]) == ["1"]
    assert "1 is as before" in done.answer["sentence"]


def test_a_cancelled_restore_names_every_program(run, unit, monkeypatch):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..6")
    for number in range(6):
        unit["lanternfish"].memory[number].name = f"Other {number}"
    calls = 0
    usual = Talk.tell

    def tell(self, done, total, what, seconds_left=None):
        nonlocal calls
        calls += what == "programs"
        if calls == 3:
            self.cancel.set()
        usual(self, done, total, what, seconds_left)

    monkeypatch.setattr(Talk, "tell", tell)
    ended = run("bank", "restore", "Sunday", "--embedded", "--yes", "--json")
    assert ended.code == Exit.CANCELLED
    (kept,) = [one for one in run("bank", "list", "--json").answer["memories"] if one["kind"] == "before"]
    assert ended.answer["problem"]["sentence"] == (
        "2 of 6 programs were written and read back equal: 1 and 2; 3 to 6 are as before. "
        f"What was there is kept as “{kept['name']}”; librarian bank restore writes it back."
    )
    assert [name_of(unit, number) for number in range(4)] == ["Program 1", "Program 2", "Other 2", "Other 3"]


def test_a_patch_is_stored_as_a_program(run, unit):
    run("capture", "Harbour", "--embedded")
    done = run("bank", "store", "Harbour", "12", "--embedded", "--yes", "--json")
    assert (done.code, done.answer["new"], done.answer["source"]) == (Exit.OK, ["12"], "Harbour")
    held = unit["lanternfish"]
    chart = held.chart
    assert {name: held.memory[11].values[name] for name in chart.sound_ids} == {
        name: held.sound[name] for name in chart.sound_ids
    }


def test_programs_become_patches_once(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..3")
    kept = run("bank", "keep", "Sunday", "--programs", "1,3", "--tag", "memory", "--json").answer
    assert [(one["name"], one["tags"]) for one in kept["patches"]] == [
        ("Program 1", ["memory"]),
        ("Program 3", ["memory"]),
    ]
    again = run("bank", "keep", "Sunday", "--json").answer
    assert ([one["name"] for one in again["patches"]], again["held"]) == (["Program 2"], ["1", "3"])
    run("undo")
    assert run("find", "--json").answer["total"] == 2


def test_a_backup_stays_when_patches_go_and_goes_when_told(run, unit):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..2")
    run("bank", "keep", "Sunday")
    run("delete", "Program 1")
    run("undo")
    assert len(run("bank", "show", "Sunday", "--json").answer["programs"]) == 2
    assert run("bank", "delete", "Sunday").code == Exit.COULD_NOT, "nobody can be asked"
    left = run("bank", "delete", "Sunday", "--yes", "--json").answer
    assert left["memories"] == []
    assert run("library", "check").code == Exit.OK


def test_an_instrument_without_memory_says_so(run):
    refused = run("bank", "backup", "--embedded", "--instrument", "fogbell")
    assert refused.code == Exit.COULD_NOT
    assert "no memory" in refused.err


@pytest.mark.parametrize("name", ["Nothing", "last"])
def test_a_backup_that_is_not_there(run, name):
    found = run("bank", "show", name)
    assert found.code == Exit.COULD_NOT
    assert found.err.strip()


def test_what_cannot_be_read_of_a_backup_is_said(run, unit, library_path):
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1")
    with Library.open(library_path) as library:
        (name,) = library.settings("memory backup/")
        library.set_setting(name, {"name": "Sunday"})
    told = run("bank", "list")
    assert told.code == Exit.COULD_NOT
    assert "cannot be read" in told.err


PLAIN, BANKS, OCTAL = Memory(16), Memory(8, banks=2), Memory(16, display="octal")


@pytest.mark.parametrize(
    ("memory", "said", "numbers"),
    [
        (PLAIN, "1", [0]),
        (PLAIN, "3..5, 1", [0, 2, 3, 4]),
        (PLAIN, "3-5", [2, 3, 4]),
        (PLAIN, "2,2", [1]),
        (BANKS, "1-3", [2]),
        (BANKS, "1-7..2-2", [6, 7, 8, 9]),
        (BANKS, "1-7-2-2", [6, 7, 8, 9]),
        (OCTAL, "17..22", [6, 7, 8, 9]),
        (Memory(16, display="letters"), "a7..b2", [6, 7, 8, 9]),
        (Memory(16, display="from_zero"), "0", [0]),
    ],
)
def test_programs_are_named_as_the_instrument_shows_them(memory, said, numbers):
    assert chosen_programs(memory, said) == numbers


@pytest.mark.parametrize("said", ["17", "0", "", "1..", "5..3", "a", "1..99"])
def test_programs_that_are_not_there(said):
    with pytest.raises(BadInput):
        chosen_programs(PLAIN, said)


def test_a_log_of_a_restore_can_be_replayed(run, unit, tmp_path: Path):
    log = tmp_path / "log.json"
    run("bank", "backup", "Sunday", "--embedded", "--programs", "1..2")
    unit["lanternfish"].memory[0].name = "Changed"
    done = run("bank", "restore", "Sunday", "--embedded", "--yes", "--traffic", log)
    assert done.code == Exit.OK
    again = run("replay", log, "--json")
    assert (again.code, again.answer["conversation"], again.answer["same"]) == (Exit.OK, "restore", True)
    head = json.loads(log.read_text().splitlines()[0])
    assert head["about"]["conversations"][0]["options"]["allowed"] == [0]
