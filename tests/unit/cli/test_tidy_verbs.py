"""Verbs that tidy up and look back: duplicates, merge, tags, trash, searches, history, groups, the file's upkeep."""

from __future__ import annotations

import sqlite3

from librarian.cli.exits import Exit
from librarian.collection import Library


def by_name(run, name: str) -> dict:
    return run("show", name, "--json").answer["patch"]


def twice(library_path) -> tuple[str, str]:
    """The first patch a second time under another name, and a third time with one value a little turned."""
    with Library.open(library_path) as library:
        row = library.rows(library.find().ids)[0]
        version = library.version(row.latest)
        library.keep(row.instrument, "Again", version, ["copy"], "kept twice")
        name, value = next((name, value) for name, value in version.values.items() if name == "filter.cutoff")
        near = version.values.with_values({name: value + (1 if value < 60 else -1)})
        library.keep(row.instrument, "Almost", type(version)(version.chart, version.revision, near))
    return row.name, "Again"


def test_duplicates_are_listed_and_become_one_without_loss(run, small, library_path):
    first, again = twice(library_path)
    equal = run("duplicates", "--json").answer
    assert [[patch["name"] for patch in group["patches"]] for group in equal["groups"]] == [[first, again]]
    nearly = run("duplicates", "--nearly", "--json").answer["groups"]
    assert [group["distance"] for group in nearly] == sorted(group["distance"] for group in nearly)
    assert any({first, "Almost"} <= {patch["name"] for patch in group["patches"]} for group in nearly[1:])
    before = by_name(run, first)
    merged = run("duplicates", "--merge", "--json").answer
    assert merged["merged"] == 1
    after = by_name(run, first)
    assert "copy" in after["tags"]
    assert "kept twice" in after["note"]
    assert "Again" in after["note"]
    assert after["versions"] > before["versions"]
    assert run("undo", "--json").answer["step"] == "Merge sounds that were there twice"
    assert by_name(run, first) == {**before, "changed": by_name(run, first)["changed"]}


def test_two_patches_become_one(run, small, library_path):
    first, _ = twice(library_path)
    assert run("merge", first, "Almost", "--json").answer["patches"][0]["versions"] >= 3
    assert run("merge", first, first).code == Exit.COULD_NOT
    assert run("duplicates", "--nearly", "--merge").code == Exit.COULD_NOT


def test_a_tag_gets_another_name_everywhere(run, filled):
    tags = run("tags", "--json").answer["tags"]
    assert run("rename-tag", "act 1", "first act", "--json").answer == {
        "verb": "rename-tag", "ok": True, "tag": "first act", "patches": tags["act 1"],
    }  # fmt: skip
    assert "act 1" not in run("tags", "--json").answer["tags"]
    assert run("rename-tag", "no such tag", "x").code == Exit.COULD_NOT


def test_many_at_once_are_one_step(run, filled):
    found = run("find", "tag:drone", "--json").answer["found"]
    assert len(run("delete", "--matching", "tag:drone", "--json").answer["patches"]) == found
    assert run("trash", "list", "--json").answer["found"] == found
    assert run("undo").code == Exit.OK
    assert run("trash", "list", "--json").answer["found"] == 0
    broken = run("delete", "--matching", "tag:drone tag:nothing-like-it")
    assert broken.code == Exit.COULD_NOT
    assert "nothing-like-it" in broken.err
    assert run("delete").code == Exit.COULD_NOT
    assert run("find", "--json").answer["found"] == len(filled)


def test_the_trash_is_emptied_after_a_copy(run, small):
    run("delete", "Flood")
    emptied = run("trash", "empty", "--json").answer
    assert emptied["gone"] == 1
    with sqlite3.connect(emptied["copy_before"]) as copy:
        assert copy.execute("SELECT count(*) FROM patch WHERE state = 1").fetchone() == (1,)
    copy.close()
    assert run("restore", "Flood").code == Exit.COULD_NOT


def test_searches_are_kept_by_name(run, filled):
    run("search", "save", "calm", "tag:drone", "not", "storm")
    assert run("search", "list", "--json").answer["searches"] == [{"name": "calm", "query": "tag:drone not storm"}]
    saved = run("find", "--saved", "calm", "--json").answer
    assert saved["query"] == "tag:drone not storm"
    assert 0 < saved["found"] < len(filled)
    assert run("search", "forget", "calm", "--json").answer["searches"] == []
    assert run("find", "--saved", "calm").code == Exit.COULD_NOT


def test_history_of_a_day_and_of_a_patch(run, small):
    run("rename", "Flood", "High water")
    steps = run("history", "--when", "today", "--json").answer["steps"]
    assert steps[0]["label"] == "Rename to “High water”"
    of_one = run("history", "High water", "--json").answer
    assert of_one["patch"]["name"] == "High water"
    assert of_one["steps"][0]["label"] == "Rename to “High water”"
    assert len(of_one["steps"]) < len(run("history", "--json").answer["steps"])
    assert run("history", "--when", "1999", "--json").answer["steps"] == []
    assert run("history", "--when", "someday").code == Exit.COULD_NOT


def test_back_to_an_earlier_version(run, small, library_path):
    with Library.open(library_path) as library:
        row = library.rows(library.find("flood").ids)[0]
        version = library.version(row.latest)
        changed = version.values.with_values({"filter.cutoff": 0})
        library.add_version(row.id, type(version)(version.chart, version.revision, changed))
    back = run("revert", "Flood@1", "--json").answer
    assert (back["version"]["number"], back["version"]["origin"]) == (3, "restored")
    assert run("compare", "Flood@1", "Flood@3", "--json").answer["comparison"]["different"] == 0
    assert run("revert", "Flood@3").code == Exit.COULD_NOT


def test_what_is_found_stands_in_groups(run, filled):
    groups = run("find", "--group", "instrument", "--limit", 1000, "--json").answer["groups"]
    assert [group["name"] for group in groups] == ["Fogbell", "Lanternfish"]
    assert sum(group["found"] for group in groups) == len(filled)
    shown = run("find", "tag:drone", "--group", "tag").out
    assert "drone (" in shown


def test_the_file_is_looked_after(run, small, library_path, tmp_path):
    rule = run("library", "keep-backups", "--folder", tmp_path / "copies", "--number", 3, "--json").answer
    assert (rule["folder"], rule["number"]) == (str(tmp_path / "copies"), 3)
    assert run("library", "keep-backups", "--number", 0).code == Exit.COULD_NOT
    assert run("library", "rebuild", "--json").answer["indexed"] == len(small)
    with sqlite3.connect(library_path) as damaged:
        damaged.execute("UPDATE content SET row = zeroblob(3) WHERE id = 1")
    damaged.close()
    assert run("library", "check").code == Exit.DIFFERS
    repaired = run("library", "repair", tmp_path / "new.sqlite", "--json")
    assert repaired.code == Exit.DIFFERS
    assert repaired.answer["lost"]
    assert repaired.answer["saved"]["patch"] == len(small)
    assert run("library", "repair", tmp_path / "new.sqlite").code == Exit.COULD_NOT
