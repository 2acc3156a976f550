"""What a recall, a put-back or a bring-up replaces and the library does not take: asked about, and saved beside."""

from __future__ import annotations

import pytest

from librarian.cli.exits import Exit
from librarian.cli.verbs import recalling
from librarian.collection import Library, LibraryProblem, opening
from librarian.files.bundle.reading import read
from librarian.standin import Instrument
from librarian.transfer import connections
from tests.unit.transfer.test_what_a_bringup_loses import HALF_READ

RECALL = ("recall", "Harbour", "--embedded")
PUT_BACK = ("put-back", "--embedded")
BRING_UP = ("bring-up", "--embedded", "--instrument", "lanternfish", "--monitors-down")
BEFORE = {
    "recall": "Before the recall of “Harbour”",
    "put-back": "Before the recall of “what was there before “Harbour””",
}


@pytest.fixture
def one(run, unit, monkeypatch, tmp_path):
    """The stand-in of all commands of a test; its sound differs from “Harbour”, and can be put back to another one."""
    folder = tmp_path / "work"
    folder.mkdir()
    monkeypatch.chdir(folder)
    run("capture", "Harbour", "--embedded")
    fish = unit["lanternfish"]
    fish.sound["filter.cutoff"] = 11
    run(*RECALL)
    fish.sound["filter.cutoff"] = 12
    return fish


@pytest.fixture
def full(run, one, monkeypatch):
    """The disk of the library takes nothing any more."""
    own = run("library", "path", "--json").answer["path"]
    for door in ("keep", "set_setting"):
        plain = getattr(Library, door)

        def refuse(library, *given, _plain=plain, **named):
            if str(library.path) != own:
                return _plain(library, *given, **named)
            raise LibraryProblem("The disk is full; this change was not kept.", "Free some space, then try again.")

        monkeypatch.setattr(Library, door, refuse)


@pytest.fixture
def only_to_read(run, one, monkeypatch):
    """The library is in somebody else's folder."""
    monkeypatch.setattr(opening, "_may_be_written", lambda _place: False)


def sound_in(file):
    [(_place, sound)] = read(file).sounds()
    return sound


@pytest.mark.parametrize("library", ["full", "only_to_read"])
@pytest.mark.parametrize("words", [RECALL, PUT_BACK, BRING_UP])
def test_where_nobody_can_be_asked_nothing_is_sent_and_the_way_on_is_said(run, one, tmp_path, request, words, library):
    request.getfixturevalue(library)
    held = dict(one.sound)
    refused = run(*words, "--json")
    assert refused.code == Exit.COULD_NOT
    problem = refused.answer["problem"]
    assert problem["kind"] == "outside"
    assert problem["sentence"].startswith("What is in Lanternfish now could not be kept, so it was not replaced. The ")
    assert problem["hint"].endswith(" Or say --unkept to go on all the same.")
    assert one.sound == held
    assert list((tmp_path / "work").iterdir()) == []


@pytest.mark.parametrize("library", ["full", "only_to_read"])
@pytest.mark.parametrize("words", [RECALL, PUT_BACK])
def test_who_agreed_beforehand_has_it_saved_beside(run, one, tmp_path, request, words, library):
    request.getfixturevalue(library)
    held = dict(one.sound)
    done = run(*words, "--unkept", "--json")
    assert done.code == Exit.OK
    assert one.sound != held
    [file] = (tmp_path / "work").iterdir()
    assert done.answer["beside"] == [str(file)]
    assert f"saved as {file}" in done.answer["unkept"][0]
    assert done.answer["unkept"][0] in done.err
    assert "“librarian put-back” will not bring back what is replaced now" in done.err
    sound = sound_in(file)
    assert dict(sound.latest.values) == held
    assert (sound.tags, sound.note) == (("before a recall",), BEFORE[words[0]])


def test_a_person_is_told_where_it_is_and_asked(run, one, full, answers_of_a_person, tmp_path):
    held = dict(one.sound)
    answers_of_a_person("y\n")
    done = run(*RECALL)
    assert done.code == Exit.OK, done.err
    [file] = (tmp_path / "work").iterdir()
    told, question = done.err.index("The disk is full"), done.err.index("Recall all the same? [y/N]")
    assert told < done.err.index(f"saved as {file}") < question
    assert dict(sound_in(file).latest.values) == held
    assert one.sound["filter.cutoff"] != 12


@pytest.mark.parametrize("words", [RECALL, PUT_BACK, BRING_UP])
def test_a_no_leaves_the_instrument_as_it_is(run, one, full, answers_of_a_person, words):
    held = dict(one.sound)
    answers_of_a_person("n\n")
    refused = run(*words)
    assert refused.code == Exit.CANCELLED
    assert "Nothing was sent; Lanternfish is as it was." in refused.err
    assert one.sound == held


def test_what_cannot_be_saved_as_a_file_either_is_said_to_be_lost_before(
    run, one, full, answers_of_a_person, monkeypatch
):
    def nowhere(*_given, **_named):
        raise LibraryProblem("There is no room in this folder.")

    monkeypatch.setattr("librarian.cli.beside.save_alone", nowhere)
    answers_of_a_person("n\n")
    refused = run(*RECALL)
    assert "so it is lost if this goes on. There is no room in this folder. Recall all the same? [y/N]" in refused.err
    assert one.sound["filter.cutoff"] == 12
    done = run(*RECALL, "--unkept", "--json")
    assert (done.code, done.answer["beside"]) == (Exit.OK, [])
    assert "so it is lost if this goes on." in done.answer["unkept"][0]


def test_what_is_in_the_library_already_needs_no_yes(run, one, full):
    one.sound["filter.cutoff"] = 11
    done = run(*RECALL, "--json")
    assert (done.code, done.answer["unkept"], done.answer["beside"]) == (Exit.OK, [], [])
    assert "“librarian put-back” will not bring back" in done.err


def test_a_bring_up_on_agreement_saves_beside_what_it_writes_over(run, one, full, tmp_path):
    held = dict(one.sound)
    done = run(*BRING_UP, "--write-memory", "--unkept", "--json")
    assert done.code == Exit.OK, done.err
    assert one.sound == held
    notes = {sound_in(file).note for file in (tmp_path / "work").iterdir()}
    assert notes == {"In the edit buffer before it", "In program 64 before it"}
    assert len(done.answer["beside"]) == len(done.answer["unkept"]) == 2


def test_the_disk_fills_in_a_bring_up_and_its_memory_is_not_written(run, one, monkeypatch, tmp_path):
    plain = Library.keep

    def fills(library, instrument, name, *given):
        if name.startswith("Program") or given[2].startswith("In program"):
            raise LibraryProblem("The disk is full; this change was not kept.")
        return plain(library, instrument, name, *given)

    monkeypatch.setattr(Library, "keep", fills)
    held, last = dict(one.sound), one.memory.size - 1
    program = dict(one.memory[last].values)
    log = tmp_path / "log.json"
    done = run(*BRING_UP, "--write-memory", "--traffic", log, "--json")
    assert done.code == Exit.OK, done.err
    why = {each["check"]: each["got"] for each in done.answer["findings"] if each["outcome"] == "not tried"}
    assert why["memory: writing"].startswith("what program 64 holds could not be kept: ")
    assert "The disk is full" in why["memory: writing"]
    assert (one.sound, dict(one.memory[last].values)) == (held, program)
    assert done.answer["restored"] == "What was in it before is there again."
    assert run("replay", log, "--json").answer["same"]


@pytest.mark.parametrize("words", [RECALL, BRING_UP])
def test_a_log_of_what_was_not_begun_ends_there_again(run, one, full, tmp_path, words):
    log = tmp_path / "log.json"
    assert run(*words, "--traffic", log).code == Exit.COULD_NOT
    again = run("replay", log, "--json")
    assert (again.code, again.answer["same"]) == (Exit.OK, True), again.answer


def test_a_pace_that_cannot_be_noted_hides_no_result(run, one, monkeypatch):
    def full(*_given, **_named):
        raise LibraryProblem("The disk is full; this change was not kept.")

    plain = recalling.transfer.recall

    def slower(line, version, **options):
        line.slower()
        return plain(line, version, **options)

    monkeypatch.setattr(Library, "note_instrument", full)
    monkeypatch.setattr(recalling.transfer, "recall", slower)
    done = run(*RECALL, "--json")
    assert (done.code, done.answer["state"]) == (Exit.OK, "arrived")
    assert "What was found out about Lanternfish could not be noted; the work goes on. The disk is full" in done.err


@pytest.fixture
def half_read(run, tmp_path, one, monkeypatch):
    """A chart whose dump is written with more than can be asked for."""
    chart = tmp_path / "half.toml"
    chart.write_text(HALF_READ, encoding="utf-8")
    monkeypatch.setattr(connections, "Instrument", lambda made, **_options: there.setdefault("one", Instrument(made)))
    there = {}
    run("identify", "--embedded", "--instrument", chart)
    return there, ("bring-up", "--embedded", "--instrument", chart, "--monitors-down")


def test_what_a_bring_up_cannot_put_back_is_agreed_to_before(run, half_read, answers_of_a_person, tmp_path):
    there, words = half_read
    held, log = dict(there["one"].sound), tmp_path / "log.json"
    refused = run(*words, "--traffic", log, "--json")
    assert refused.code == Exit.COULD_NOT
    problem = refused.answer["problem"]
    assert "Wave of the sound in Half cannot be read, so nothing can put it back" in problem["sentence"]
    assert problem["hint"].endswith("Or say --unkept to go on all the same.")
    assert run("replay", log, "--json").answer["same"]
    answers_of_a_person("n\n")
    declined = run(*words)
    assert declined.code == Exit.CANCELLED
    assert declined.err.index("Wave of the sound") < declined.err.index("Go on all the same? [y/N]")
    assert there["one"].sound == held
    answers_of_a_person("y\n")
    assert run(*words).code == Exit.UNPROVED
    done = run(*words, "--unkept", "--json")
    assert done.code == Exit.UNPROVED
    assert done.answer["unkept"] == [
        "Wave of the sound in Half cannot be read, so nothing can put it back after the test values."
    ]
    assert done.answer["unkept"][0] in done.err


def test_who_agrees_to_a_loss_has_not_agreed_to_another_one(run, half_read, full, answers_of_a_person):
    there, words = half_read
    held = dict(there["one"].sound)
    answers_of_a_person("y\nn\n")
    declined = run(*words)
    assert declined.code == Exit.CANCELLED
    assert declined.err.count("Go on all the same? [y/N]") == 2
    assert there["one"].sound == held


def test_a_library_that_was_swept_away_meanwhile_is_no_end_of_a_recall(run, one, library_path, monkeypatch, tmp_path):
    plain = recalling.transfer.recall

    def swept_away(line, version, **options):
        library_path.rename(library_path.with_name("elsewhere"))
        return plain(line, version, **options)

    monkeypatch.setattr(recalling.transfer, "recall", swept_away)
    held = dict(one.sound)
    refused = run(*RECALL)
    library_path.with_name("elsewhere").rename(library_path)
    assert refused.code == Exit.COULD_NOT
    assert "could not be kept, so it was not replaced" in refused.err
    assert one.sound == held
    done = run(*RECALL, "--unkept", "--json")
    assert (done.code, done.answer["state"]) == (Exit.OK, "arrived")
    [file] = (tmp_path / "work").iterdir()
    assert dict(sound_in(file).latest.values) == held
