"""Verbs that talk with an instrument, over the embedded cable; every exit code for its own reason."""

from __future__ import annotations

import dataclasses
import re

import pytest

from librarian.chart import load, shipped
from librarian.cli.exits import Exit
from librarian.collection import Library
from librarian.errors import OutsideProblem
from librarian.files.bundle.reading import read
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.transfer import connections


@pytest.fixture
def habit(monkeypatch):
    """Give every stand-in of this test a habit."""

    def give(**habits):
        class Habitual(connections.Instrument):
            def __init__(self, chart, **options):
                super().__init__(chart, **options, behaviour=dataclasses.replace(Behaviour(), **habits))

        monkeypatch.setattr(connections, "Instrument", Habitual)

    return give


def test_identify(run):
    found = run("identify", "--embedded", "--json")
    assert found.code == Exit.OK
    answer = found.answer
    assert (answer["instrument"], answer["fits"], answer["firmware"]) == ("Lanternfish", "fits", "2.0")
    assert (answer["manufacturer"], answer["family"], answer["member"]) == ("7D", 130, 1)
    assert (answer["channel"], answer["device"]) == (3, 17)
    assert "Fogbell" in run("identify", "--embedded", "--instrument", "fogbell").out


def test_identify_tells_other_firmware_apart(run, habit):
    habit(revision=bytes([0, 0, 9, 9]))
    found = run("identify", "--embedded", "--json")
    assert found.code == Exit.DIFFERS
    assert found.answer["fits"] == "other firmware"


def test_what_was_found_out_is_kept_with_the_instrument(run):
    run("capture", "--embedded")
    (row,) = run("instrument", "list", "--json").answer["instruments"]
    assert row["firmware"] == "2.0"


def test_capture_keeps_under_a_name_with_tags_and_note(run):
    done = run("capture", "Tonight", "--tag", "act 1", "--tag", "pad", "--note", "soft", "--embedded", "--json").answer
    assert (done["complete"], done["known"], done["of"], done["missing"]) == (True, 52, 52, [])
    assert (done["patch"]["name"], done["patch"]["tags"], done["patch"]["note"]) == (
        "Tonight",
        ["act 1", "pad"],
        "soft",
    )
    assert done["sound"]["received"][0].startswith("F0 7D")
    assert done["bytes_in"] > 0
    assert run("show", "Tonight", "--json").answer["sound"] == done["sound"]


def test_capture_without_a_name_is_kept_all_the_same(run):
    done = run("capture", "--embedded", "--instrument", "fogbell", "--json").answer
    assert re.fullmatch(r"Panel, \d{1,2} \w{3} \d\d:\d\d", done["patch"]["name"])


def test_capture_only_to_look_keeps_nothing(run):
    assert run("capture", "--look", "--embedded", "--json").answer["patch"] is None
    assert run("find", "--json").answer["total"] == 0


def test_capture_into_a_patch_makes_a_version(run):
    run("capture", "Tonight", "--embedded")
    done = run("capture", "--into", "Tonight", "--embedded", "--json").answer
    assert done["patch"]["versions"] == 2
    assert run("find", "--json").answer["total"] == 1


def test_capture_by_hand_ends_by_time_and_the_rest_is_unknown(run, monkeypatch):
    class Turned(connections.Instrument):
        moved = False

        def due(self, now):
            if not self.moved:
                self.moved = True
                self.turn("filter.cutoff", 7, now)
            return super().due(now)

        def next_due(self):
            return super().next_due() if self.moved else 100.0

    monkeypatch.setattr(connections, "Instrument", Turned)
    done = run("capture", "One knob", "--way", "hand", "--seconds", "0.2", "--embedded", "--json")
    assert done.code == Exit.OK
    assert (done.answer["complete"], done.answer["known"]) == (False, 1)
    assert len(done.answer["missing"]) == 51
    assert run("show", "One knob", "--json").answer["patch"]["unknown"] == 51


def test_silence_is_no_sound_to_keep(run):
    done = run("capture", "Silence", "--way", "hand", "--seconds", "0.2", "--embedded", "--json")
    assert done.code == Exit.COULD_NOT
    assert "nothing was kept" in done.answer["problem"]["sentence"]
    assert run("find", "--json").answer["total"] == 0


def test_keep_names_the_last_capture(run):
    run("capture", "--embedded")
    kept = run("keep", "Tonight", "--tag", "act 2", "--note", "in the fog", "--json").answer["patches"][0]
    assert (kept["name"], kept["tags"], kept["note"]) == ("Tonight", ["act 2"], "in the fog")
    assert run("keep", "Again").code == Exit.COULD_NOT
    assert run("undo", "--json").answer["step"] == "Keep “Tonight”"
    assert run("find", "--json").answer["patches"][0]["name"].startswith("Panel, ")


def test_keep_into_makes_a_version_and_leaves_no_double(run):
    run("capture", "Tonight", "--embedded")
    run("capture", "--embedded")
    kept = run("keep", "--into", "Tonight", "--json").answer["patches"][0]
    assert (kept["name"], kept["versions"]) == ("Tonight", 2)
    assert run("find", "--json").answer["total"] == 1
    assert run("keep").code == Exit.COULD_NOT
    assert run("keep", "A", "--into", "Tonight").code == Exit.COULD_NOT
    assert run("keep", "--into", "Tonight", "--patch", "Tonight").code == Exit.COULD_NOT


def test_a_sound_of_one_instrument_is_no_version_of_another(run):
    run("capture", "Tonight", "--embedded")
    run("capture", "--embedded", "--instrument", "fogbell")
    assert run("keep", "--into", "Tonight").code == Exit.COULD_NOT


@pytest.mark.parametrize(("name", "count"), [("Harbour before the storm", 50), ("Breakers below", 22)])
def test_recall_arrives_and_is_proved(run, filled, name, count):
    done = run("recall", name, "--json")
    assert done.code == Exit.OK
    answer = done.answer
    assert (answer["state"], answer["equal"], answer["of"]) == ("arrived", count, count)
    assert f"{count} of {count} sound parameters read back equal" in answer["sentence"]
    assert answer["comparison"]["equal"] == count


def test_recall_keeps_what_was_in_the_instrument_before(run, filled):
    run("recall", "Harbour before the storm")
    before = run("find", "--tag", "before a recall", "--json").answer["patches"]
    assert [patch["name"].startswith("Panel, ") for patch in before] == [True]
    run("recall", "Harbour before the storm")
    assert run("find", "--tag", "before a recall", "--json").answer["found"] == 1  # it was the same sound again


def test_recall_an_earlier_version(run, filled):
    assert run("recall", "Harbour before the storm@2", "--json").answer["version"] == 2


def test_recall_leaves_unknown_and_setup_out(run, filled):
    answer = run("recall", "Storm, first gust", "--json").answer
    assert (answer["state"], answer["of"]) == ("arrived", 48)
    assert {"voice.transpose", "voice.key-scale"} <= set(answer["left_out"])
    assert run("recall", "Harbour before the storm", "--with-setup", "--json").answer["of"] == 52


def test_recall_without_verification_claims_nothing(run, filled):
    sent = run("recall", "Harbour before the storm", "--no-verify", "--json")
    assert sent.code == Exit.UNPROVED
    assert sent.answer["state"] == "sent"
    assert "not verified" in run("recall", "Harbour before the storm", "--no-verify").out


def test_recall_that_the_instrument_ignores_differs(run, filled, monkeypatch):
    class Stubborn(connections.Instrument):
        def set_sound(self, values, now):
            """Whatever is written, it keeps its sound."""

    monkeypatch.setattr(connections, "Instrument", Stubborn)
    differs = run("recall", "Harbour before the storm", "--way", "dump", "--json")
    assert differs.code == Exit.DIFFERS
    assert differs.answer["state"] == "differs"
    assert differs.answer["comparison"]["different"] > 0
    text = run("recall", "Harbour before the storm", "--way", "dump")
    assert "did not arrive" in text.out
    assert "differs" in text.out


def test_recall_to_another_instrument_is_refused(run, filled):
    refused = run("recall", "Harbour before the storm", "--instrument", "Fogbell", "--json")
    assert refused.code == Exit.COULD_NOT
    assert refused.answer["problem"]["kind"] == "refused"


def test_recall_to_an_unfitting_firmware_is_refused(run, filled, habit):
    habit(revision=bytes([0, 0, 9, 9]))
    refused = run("recall", "Harbour before the storm", "--json")
    assert refused.code == Exit.COULD_NOT
    assert "firmware" in refused.answer["problem"]["sentence"]


def test_verify_equal_and_different(run, filled):
    run("capture", "Tonight", "--embedded")
    equal = run("verify", "Tonight", "--json")
    assert (equal.code, equal.answer["state"], equal.answer["equal"]) == (Exit.OK, "arrived", 50)
    other = run("verify", "Harbour before the storm", "--json")
    assert (other.code, other.answer["state"]) == (Exit.DIFFERS, "differs")
    assert other.answer["comparison"]["different"] > 0
    said = run("verify", "Harbour before the storm").out
    assert "B − A" in said
    assert "more differ." in said
    assert "did not arrive" not in said, "nothing was sent"


def test_compare_with_the_panel(run, filled):
    run("capture", "Tonight", "--embedded")
    assert run("compare", "Tonight", "--panel").code == Exit.OK
    differs = run("compare", "Harbour before the storm", "--panel", "--json")
    assert differs.code == Exit.DIFFERS
    assert differs.answer["b"] == "Lanternfish, its panel now"
    assert run("compare", "Tonight", "Harbour before the storm", "--panel").code == Exit.COULD_NOT


def test_panic(run):
    assert run("panic", "--embedded", "--json").answer["instrument"] == "Lanternfish"


def test_the_instrument_must_be_clear(run, filled):
    asked = run("capture")
    assert asked.code == Exit.COULD_NOT
    assert "--instrument NAME" in asked.err
    assert "“Lanternfish”, “Fogbell”" in asked.err or "“Fogbell”, “Lanternfish”" in asked.err
    assert run("capture", "--instrument", "Nobody").code == Exit.COULD_NOT
    assert run("capture", "--embedded", "--instrument", "nobody").code == Exit.COULD_NOT


def test_no_instrument_yet(run):
    asked = run("capture")
    assert asked.code == Exit.COULD_NOT
    assert "librarian instrument add" in asked.err


@pytest.mark.usefixtures("no_patience")
def test_without_a_midi_system_the_sentence_says_so_and_nothing_is_kept(run, library_path):
    chart = load(shipped()["fogbell"])
    with Library.open(library_path) as library:
        row = library.add_instrument(chart, "Fogbell", chart.default_address, "jack:out:0:pit", "jack:in:0:pit")
        library.keep(row, "A", Version("fogbell", chart.revision, Values({"filter.cutoff": 5})))
    for words in (("capture",), ("recall", "A"), ("verify", "A"), ("identify",), ("compare", "A", "--panel")):
        failed = run(*words, "--json")
        assert failed.code == Exit.COULD_NOT
        assert failed.answer["problem"]["kind"] == "outside"
        assert failed.answer["problem"]["hint"]
    assert run("find", "--json").answer["total"] == 1


def test_ports_without_a_midi_system(run):
    found = run("ports", "--json")
    assert found.code == Exit.OK
    assert (found.answer["alive"], found.answer["ports"]) == (False, [])
    assert "No MIDI system" in run("ports").out


def test_instruments_are_added_changed_and_removed(run):
    added = run("instrument", "add", "--chart", "fogbell", "--name", "Pedal", "--channel", 7, "--json").answer
    assert [(row["name"], row["chart"], row["channel"], row["device"]) for row in added["instruments"]] == [
        ("Pedal", "fogbell", 7, 18)
    ]
    assert run("instrument", "add", "--chart", "fogbell", "--name", "pedal").code == Exit.COULD_NOT
    changed = run("instrument", "change", "Pedal", "--rename", "Bass", "--device", 3, "--json").answer["instruments"][0]
    assert (changed["name"], changed["channel"], changed["device"]) == ("Bass", 7, 3)
    assert run("instrument", "change", "Bass", "--chart", "lanternfish").code == Exit.COULD_NOT
    run("instrument", "remove", "Bass")
    assert run("instrument", "list", "--json").answer["instruments"] == []
    assert run("instrument", "add", "--chart", "nowhere.toml").code == Exit.COULD_NOT
    assert run("instrument", "add", "--chart", "fogbell", "--channel", 17).code == Exit.USAGE


@pytest.mark.usefixtures("no_patience")
def test_a_port_that_is_not_there_is_named(run):
    refused = run("instrument", "add", "--chart", "fogbell", "--out", "Pit", "--in", "Pit", "--json")
    assert refused.code == Exit.COULD_NOT
    assert "“Pit”" in refused.answer["problem"]["sentence"]
    assert "No MIDI system found: " in refused.answer["problem"]["hint"]
    assert run("instrument", "list", "--json").answer["instruments"] == []
    assert run("identify", "--out", "Pit").code == Exit.COULD_NOT


OWN = """
id = "box"
name = "Box"
section = [{ id = "s", label = "S" }]
parameter = [
  { id = "depth", label = "Depth", section = "s", range = [0, 127], bindings = [{ cc = 20 }] },
  { id = "spread", label = "Spread", section = "s", range = [0, 127], bindings = [{ cc = 21 }] },
]
[[capture]]
way = "controllers"
request = [{ cc = 119, value = 127 }]
"""
NEXT = OWN.replace('name = "Box"', 'name = "Box"\nrevision = 2').replace(
    "0, 127], bindings = [{ cc = 21", "0, 254], bindings = [{ nrpn = 21"
)
TOLD = '\n[[history]]\nnumber = 2\nchanges = [{ rescaled = "spread", was = [0, 127], lossless = true }]\n'


def test_another_revision_says_who_is_left_behind_and_carry_brings_them_along(run, tmp_path):
    own, untold, told = (tmp_path / f"{name}.toml" for name in ("own", "untold", "told"))
    for path, text in ((own, OWN), (untold, NEXT), (told, NEXT + TOLD)):
        path.write_text(text, encoding="utf-8")
    assert run("capture", "First", "--embedded", "--instrument", own).code == Exit.OK
    changed = run("instrument", "change", "Box", "--chart", untold)
    assert "1 sound of it was kept with another revision" in changed.err
    assert "add a [[history]]" in changed.err
    refused = run("carry", "First")
    assert (refused.code, "“First” cannot be carried over" in refused.err) == (Exit.COULD_NOT, True)
    assert "librarian carry --instrument Box" in run("instrument", "change", "Box", "--chart", told).err
    assert "librarian carry" in run("recall", "First", "--embedded").err
    assert run("carry", "--instrument", "Box", "--preview", "--json").answer["kept"] is False
    assert run("compare", "First", "First@1").code == Exit.COULD_NOT, "one version: nothing was kept"
    answer = run("carry", "--instrument", "Box", "--json").answer
    assert [(each["from_revision"], each["to_revision"], each["aside"]) for each in answer["patches"]] == [(1, 2, [])]
    assert "nothing was changed" in run("carry", "First").out
    compared = run("compare", "First@1", "First")
    assert (compared.code, "carried over from chart revision 1 to 2" in compared.out) == (Exit.OK, True)
    assert run("undo").out == "Undone: Carry over “First”\n"
    assert run("redo").code == Exit.OK
    assert run("recall", "First", "--embedded").code == Exit.OK


def test_carry_wants_to_know_which_sounds(run, small):
    assert "Which sounds?" in run("carry").err
    assert "Which sounds?" in run("carry", "Flood", "--instrument", "Fogbell").err


def test_without_a_name_the_only_stand_in_of_the_library_is_taken(run, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(OWN, encoding="utf-8")
    assert run("capture", "First", "--embedded", "--instrument", own).code == Exit.OK
    assert run("capture", "Second", "--embedded", "--json").answer["patch"]["instrument"] == "Box"
    assert [each["name"] for each in run("instrument", "list", "--json").answer["instruments"]] == ["Box"]
    other = tmp_path / "other.toml"
    other.write_text(OWN.replace('"box"', '"crate"').replace('"Box"', '"Crate"'), encoding="utf-8")
    assert run("capture", "Third", "--embedded", "--instrument", other).code == Exit.OK
    several = run("capture", "Fourth", "--embedded")
    assert (several.code, "Which stand-in?" in several.err) == (Exit.COULD_NOT, True)


def test_what_a_bring_up_cannot_compare_or_save_is_said_before_minutes_are_spent(run, tmp_path):
    own, other, saved = tmp_path / "own.toml", tmp_path / "other.toml", tmp_path / "first.json"
    own.write_text(OWN, encoding="utf-8")
    other.write_text(OWN.replace('id = "box"', 'id = "case"').replace('"Box"', '"Case"'), encoding="utf-8")
    words = ("bring-up", "--embedded", "--monitors-down", "--instrument")
    first = run(*words, own, "--save", saved, "--json")
    assert first.code in {Exit.OK, Exit.UNPROVED}
    again = run(*words, own, "--since", saved, "--json").answer["changes"]
    assert (again["broken"], again["mended"], again["still"], again["untried"]) == ([], [], [], [])
    log = tmp_path / "log.json"
    refused = run(*words, other, "--since", saved, "--traffic", log)
    assert refused.code == Exit.COULD_NOT
    assert "held against the chart box" in refused.err
    nowhere = run(*words, own, "--text", tmp_path / "no folder" / "report.txt", "--traffic", log)
    assert nowhere.code == Exit.COULD_NOT
    assert "Nothing was begun" in nowhere.err
    assert not log.exists()
    twice = run(*words, own, "--text", saved, "--save", saved.parent / "." / ".." / saved.parent.name / saved.name)
    assert twice.code == Exit.COULD_NOT
    assert "one file" in twice.err
    full = run(*words, own, "--junit", "/dev/full", "--save", saved, "--json")
    assert full.code == Exit.COULD_NOT
    assert "/dev/full could not be written" in full.err
    assert full.answer["files"] == [str(saved)], "what was found is told all the same"


@pytest.mark.parametrize(("into", "door"), [([], "keep"), (["--into", "Tonight"], "add_version")])
def test_a_capture_that_the_library_does_not_take_is_saved_beside(run, into, door, tmp_path, monkeypatch):
    run("capture", "Tonight", "--embedded")
    own, plain = run("library", "path", "--json").answer["path"], getattr(Library, door)

    def full(library, *given, **named):
        if str(library.path) != own:
            return plain(library, *given, **named)
        raise OutsideProblem("The disk is full; this change was not kept.", "Free some space, then try again.")

    folder = tmp_path / "work"
    folder.mkdir()
    monkeypatch.chdir(folder)
    with monkeypatch.context() as disk:
        disk.setattr(Library, door, full)
        done = run("capture", "Held", "--tag", "pit", "--note", "by hand", *into, "--embedded")
    assert done.code != 0
    [file] = folder.iterdir()
    assert "The disk is full" in done.err
    assert f"saved as {file}" in done.err.replace("\n", "")
    found = read(file)
    [(_place, sound)] = found.sounds()
    assert (sound.name, sound.tags, sound.note) == ("Held", ("pit",), "by hand")
    assert run("import", str(file)).code == 0
