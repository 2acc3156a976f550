"""Verbs on the collection alone: find, show, versions, like, compare, tag, rename, delete, undo and their like."""

from __future__ import annotations

import sqlite3

import pytest

from librarian.cli.exits import Exit
from librarian.collection import opening


def names(answer):
    return [patch["name"] for patch in answer["patches"]]


def test_find_by_words_tags_and_instrument(run, filled):
    everything = run("find", "--json", "--limit", 1000).answer
    assert everything["found"] == everything["total"] == len(filled)
    storm = run("find", "storm", "gust", "--json").answer
    assert names(storm) == ["Storm, first gust", "Storm, second gust"]
    tagged = run("find", "--tag", "act 1", "--tag", "drone", "--json").answer
    assert "Harbour before the storm" in names(tagged)
    assert all({"act 1", "drone"} <= set(patch["tags"]) for patch in tagged["patches"])
    fogbell = run("find", "--instrument", "fogbell", "--json").answer
    assert {patch["instrument"] for patch in fogbell["patches"]} == {"Fogbell"}
    assert 0 < fogbell["found"] < len(filled)


def test_find_for_people_lists_and_counts(run, filled):
    found = run("find", "foghorn")
    assert found.code == Exit.OK
    assert "Foghorn close" in found.out
    assert found.out.rstrip().endswith(f"3 of {len(filled)} patches")
    assert "\x1b" not in found.out


def test_find_lists_no_more_than_asked(run, filled):
    found = run("find", "--limit", 5, "--json").answer
    assert (len(found["patches"]), found["found"]) == (5, len(filled))
    assert found["tags"]["act 1"] == 41


def test_find_by_value_in_display_units(run, small):
    found = run("find", "cutoff < 50 Hz", "--json").answer
    assert names(found) == ["Low tide", "Low tide, later"]


@pytest.mark.parametrize(
    "words",
    [
        ["find", "storm"], ["show", "1"], ["versions", "1"], ["like", "1"], ["tags"], ["compare", "1", "2"],
        ["history"],
        ["export", "1", "--to", "one.mid"], ["export", "--all", "--to", "all.zip"], ["duplicates"], ["trash", "list"],
        ["search", "list"], ["unread", "list"], ["instrument", "list"], ["library", "path"], ["library", "backups"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_reading_works_where_nothing_can_be_written(run, filled, monkeypatch, tmp_path, words):
    monkeypatch.chdir(tmp_path)
    usual = run(*words, "--json")
    for file in tmp_path.glob("*.???"):
        file.unlink()
    monkeypatch.setattr(opening, "_may_be_written", lambda _place: False)
    read = run(*words, "--json")
    assert (read.code, read.out) == (usual.code, usual.out)
    assert read.code != Exit.COULD_NOT


@pytest.mark.parametrize(
    "words", [["rename", "1", "X"], ["undo"], ["capture", "--embedded"], ["duplicates", "--merge"]]
)
def test_what_writes_is_refused_before_it_begins(run, filled, monkeypatch, words):
    monkeypatch.setattr(opening, "_may_be_written", lambda _place: False)
    refused = run(*words)
    assert refused.code == Exit.COULD_NOT
    assert "cannot be written" in refused.err


def test_find_says_what_it_did_not_understand(run, small):
    found = run("find", "before:sometime", "--json")
    assert found.code == Exit.OK
    (problem,) = found.answer["problems"]
    assert problem["sentence"] in found.err


def test_show_gives_every_value_in_display_units(run, small):
    shown = run("show", "Flood", "--json").answer
    values = {value["id"]: value for value in shown["sound"]["values"]}
    assert len(values) == 22
    assert values["filter.cutoff"]["text"] == "6 kHz"
    assert values["filter.cutoff"]["binding"] == "CC 74"
    assert (values["bell.decay"]["value"], values["bell.decay"]["text"]) == (None, "unknown")
    assert (shown["sound"]["known"], shown["sound"]["of"]) == (21, 22)
    text = run("show", "Flood").out
    assert "21 of 22 parameters known" in text
    assert "unknown" in text


def test_show_an_earlier_version(run, filled):
    latest = run("show", "Harbour before the storm", "--json").answer
    earlier = run("show", "Harbour before the storm@1", "--json").answer
    assert (latest["version"]["number"], earlier["version"]["number"]) == (4, 1)
    assert latest["sound"]["values"] != earlier["sound"]["values"]
    assert run("show", "Harbour before the storm@9").code == Exit.COULD_NOT
    assert "versions 1 to 4" in run("show", "Harbour before the storm@9").err


def test_versions(run, filled):
    found = run("versions", "Harbour before the storm", "--json").answer
    assert [version["number"] for version in found["versions"]] == [1, 2, 3, 4]
    assert found["versions"][2]["origin"] == "carried"
    assert "4 versions, none ever removed" in run("versions", "Harbour before the storm").out


@pytest.mark.parametrize("reference", ["{id}", "Low tide", "low TIDE"])
def test_a_patch_is_meant_by_number_or_name(run, small, reference):
    said = reference.format(id=small["Low tide"])
    assert run("show", said, "--json").answer["patch"]["id"] == small["Low tide"]


def test_some_words_are_enough_when_only_one_has_them(run, small):
    assert run("show", "later", "--json").answer["patch"]["name"] == "Low tide, later"


def test_several_candidates_are_named_and_none_is_guessed(run, small):
    asked = run("show", "low")
    assert asked.code == Exit.COULD_NOT
    assert "2 patches" in asked.err
    assert str(small["Low tide"]) in asked.err
    trouble = run("show", "low", "--json").answer
    assert trouble["ok"] is False
    assert trouble["problem"]["kind"] == "bad input"


def test_tag_and_untag_one(run, small):
    assert run("tag", "Flood", "act 3", "storm", "--json").answer["patches"][0]["tags"] == [
        "loud",
        "act 2",
        "act 3",
        "storm",
    ]
    assert run("untag", "Flood", "loud", "--json").answer["patches"][0]["tags"] == ["act 2", "act 3", "storm"]
    assert run("tags", "--json").answer["tags"] == {"act 2": 1, "act 3": 1, "quiet": 1, "storm": 1}


def test_tag_all_that_words_find_in_one_step(run, small):
    done = run("tag", "--matching", "tide", "sea", "--json").answer
    assert len(done["patches"]) == 2
    run("undo")
    assert run("find", "--tag", "sea", "--json").answer["found"] == 0
    assert run("tag", "--matching", "nothing like it", "sea").code == Exit.COULD_NOT
    assert run("tag", "Flood").code == Exit.COULD_NOT


def test_rename_and_note(run, small):
    assert run("rename", "Flood", "Deluge", "--json").answer["patches"][0]["name"] == "Deluge"
    assert run("note", "Deluge", "wait for the cue", "--json").answer["patches"][0]["note"] == "wait for the cue"
    assert names(run("find", "cue", "--json").answer) == ["Deluge"]
    assert run("note", "Deluge", "", "--json").answer["patches"][0]["note"] == ""


def test_delete_restore_undo_redo(run, small):
    assert run("delete", "Flood", "Low tide", "--json").answer["patches"][0]["place"] == "trash"
    assert names(run("find", "--json").answer) == ["Low tide, later"]
    assert sorted(names(run("find", "--trash", "--json").answer)) == ["Flood", "Low tide"]
    run("restore", "Flood")
    assert len(names(run("find", "--json").answer)) == 2
    assert "Restore" in run("undo", "--json").answer["step"]
    assert run("undo", "--json").answer["next"] is not None
    assert len(names(run("find", "--json").answer)) == 3
    assert "Delete" in run("redo", "--json").answer["step"]
    assert len(names(run("find", "--json").answer)) == 1
    assert run("restore", "Ebb").code == Exit.COULD_NOT


def test_nothing_to_undo(run):
    nothing = run("undo", "--json")
    assert nothing.code == Exit.COULD_NOT
    assert nothing.answer["step"] is None


def test_compare_two_patches(run, small):
    differs = run("compare", "Low tide", "Low tide, later", "--json")
    assert differs.code == Exit.DIFFERS
    comparison = differs.answer["comparison"]
    assert (comparison["different"], comparison["equal"], comparison["unknown"]) == (1, 21, 0)
    assert comparison["rows"][0]["id"] == "filter.cutoff"
    assert comparison["rows"][0]["difference"].startswith("+")
    shown = run("compare", "Low tide", "Low tide, later")
    assert "1 of 22 differs, 21 equal" in shown.out
    assert "Resonance" not in shown.out
    assert "Resonance" in run("compare", "Low tide", "Low tide, later", "--all").out


def test_compare_orders_by_size_or_panel(run, small):
    by_size = run("compare", "Low tide", "Flood", "--json").answer["comparison"]["rows"]
    shares = [row["share"] for row in by_size if row["state"] == "different"]
    assert shares == sorted(shares, reverse=True)
    assert by_size[-1]["state"] == "unknown"
    panel = run("compare", "Low tide", "Flood", "--order", "panel", "--json").answer["comparison"]["rows"]
    assert [row["id"] for row in panel][:2] == ["tone.wave", "tone.octave"]


def test_compare_exit_codes_tell_equal_different_and_unknown_apart(run, small, library_path):
    from librarian.collection import Library

    with Library.open(library_path) as library:
        latest = library.version(library.patch(small["Flood"]).latest)
        library.add_version(small["Flood"], latest)
        library.add_version(small["Low tide"], library.version(library.patch(small["Low tide"]).latest))
    assert run("compare", "Flood@1", "Flood@2").code == Exit.UNPROVED
    assert run("compare", "Low tide@1", "Low tide").code == Exit.OK
    assert run("compare", "Low tide", "Flood").code == Exit.DIFFERS
    assert run("compare", "Flood", "Flood").code == Exit.COULD_NOT


def test_compare_versions_against_the_latest(run, filled):
    compared = run("compare", "Harbour before the storm@3", "--json").answer
    assert (compared["a"], compared["b"]) == (
        "Harbour before the storm, version 3",
        "Harbour before the storm, version 4",
    )
    assert {row["id"] for row in compared["comparison"]["rows"] if row["state"] == "different"} == {
        "filter.cutoff",
        "mixer.noise",
    }


def test_sounds_of_different_instruments_cannot_be_compared(run, filled):
    refused = run("compare", "Harbour before the storm", "Foghorn close", "--json")
    assert refused.code == Exit.COULD_NOT
    assert refused.answer["problem"]["kind"] == "refused"


def test_like_names_the_nearest_with_the_reason(run, small):
    found = run("like", "Low tide", "--json").answer["found"]
    assert [each["patch"]["name"] for each in found] == ["Low tide, later", "Flood"]
    assert found[0]["differ"] == 1
    assert found[0]["distance"] < found[1]["distance"]
    assert "1 of 22 differ" in run("like", "Low tide").out
    weighted = run("like", "Low tide", "--weight", "filter=0", "--json").answer["found"]
    assert (weighted[0]["distance"], weighted[0]["of"]) == (0, 17)
    assert run("like", "Low tide", "--weight", "filter").code == Exit.COULD_NOT
    assert run("like", "Low tide", "--weight", "nothing=2").code == Exit.COULD_NOT


HOSTILE = [
    "\x1b[2J\x1b[31mred",
    "\u202egnorw",
    "a\nb",
    '"; DROP TABLE patch; --',
    "tag:storm OR (",
    "[bold]not bold[/bold]",
    "-rf",
    "😀" * 50,
    "drive unknown",
    "Flood@1",
    "???",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_kept_found_and_never_obeyed(run, small, name):
    assert run("rename", small["Flood"], "--", name).code == Exit.OK
    kept = run("find", "--json").answer["patches"]
    called = next(patch["name"] for patch in kept if patch["id"] == small["Flood"])
    for verb in ("show", "versions"):
        shown = run(verb, "--", called)
        assert shown.code == Exit.OK, shown.err
        assert "\x1b" not in shown.out + shown.err
        assert "\u202e" not in shown.out + shown.err
    assert run("show", "--json", "--", called).answer["patch"]["id"] == small["Flood"]
    listed = run("find").out
    assert len(listed.rstrip().splitlines()) == 5  # head, three patches, the count


def test_the_store_says_the_same_to_a_plain_reader(run, small, library_path):
    run("rename", "Flood", "Deluge")
    with sqlite3.connect(library_path) as store:
        found = store.execute("SELECT name FROM patch ORDER BY id").fetchall()
    store.close()
    assert [name for (name,) in found] == ["Low tide", "Low tide, later", "Deluge"]


def test_a_library_that_is_none_is_refused_with_a_sentence(run, library_path):
    library_path.write_text("not a library at all, just some text that is long enough to be looked at\n" * 20)
    before = library_path.read_bytes()
    refused = run("find", "--json")
    assert refused.code == Exit.COULD_NOT
    assert refused.answer["problem"]["kind"] == "outside"
    assert refused.err.strip()
    assert library_path.read_bytes() == before


def test_library_path(run, small, library_path):
    found = run("library", "path", "--json").answer
    assert (found["path"], found["patches"], found["instruments"]) == (str(library_path), 3, 1)


def test_a_whole_library_is_said_to_be_whole(run, small):
    checked = run("library", "check", "--json")
    assert (checked.code, checked.answer["whole"], checked.answer["wrong"]) == (Exit.OK, True, [])
    assert "is whole" in run("library", "check").out


def test_a_damaged_library_is_told_and_left_alone(run, small, library_path):
    with sqlite3.connect(library_path) as store:
        store.execute("UPDATE content SET row = zeroblob(length(row)) WHERE id = 1")
    store.close()
    checked = run("library", "check", "--json")
    assert checked.code == Exit.DIFFERS
    assert checked.answer["wrong"]
    assert checked.answer["wrong"] == run("library", "check", "--json").answer["wrong"]


def test_backup_and_back_again(run, small, tmp_path):
    copy = tmp_path / "a copy.sqlite"
    made = run("library", "backup", copy, "--json").answer["backups"][0]
    assert (made["path"], made["patches"], made["bytes"]) == (str(copy), 3, copy.stat().st_size)
    assert run("library", "backup", copy).code == Exit.COULD_NOT
    run("delete", "Flood")
    went = run("library", "go-back", copy, "--json").answer
    assert went["patches"] == 3
    assert names(run("find", "flood", "--json").answer) == ["Flood"]
    listed = run("library", "backups", "--json").answer["backups"]
    assert went["before"] in [each["path"] for each in listed]
    assert run("library", "go-back", tmp_path / "nothing.sqlite").code == Exit.COULD_NOT


def test_a_very_long_name_or_line_does_not_drown_the_rest(run, small):
    run("rename", "Flood", "x" * 1000)
    listed = run("find").out.splitlines()
    assert max(map(len, listed)) < 400
    assert any("x… (1000 characters)" in line for line in listed)
    assert len(run("find", "y" * 100_000).err) < 300
