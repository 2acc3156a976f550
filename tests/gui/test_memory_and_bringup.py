"""Memory and bring-up from the window: read, compared, asked before anything is replaced, proved; reports saved."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from librarian.chart import loads
from librarian.collection import LibraryProblem
from librarian.collection.memories import Memories
from librarian.errors import Refused
from librarian.messages import Values, Version
from librarian.transfer import same_sound
from librarian.transfer.connections import add_stand_in
from librarian.window.bringup import proving as proving_module
from librarian.window.memory.lines import Question
from tests.gui.whole_window import PATIENCE_MS, Desk

SIZE = 6
SMALL = "small fish"


def the_small_fish(desk: Desk, size: int = SIZE) -> None:
    """A Lanternfish with a memory of so few programs: sixty-four would only be waited for."""
    text = desk.charts["lanternfish"].text
    text = text.replace('id = "lanternfish"', 'id = "smallfish"', 1)
    chart = loads(text.replace("programs = 64", f"programs = {size}"))
    assert chart.memory.size == size
    desk.charts[SMALL], desk.ids[SMALL] = chart, add_stand_in(desk.library, chart, "Lanternfish")
    desk.wait_for(lambda: desk.ids[SMALL] in desk.window.desk.instruments.standings)
    desk.window.desk.instruments.choose(desk.ids[SMALL])
    desk.wait_for(lambda: desk.standing(SMALL).ready)


def backed_up(desk: Desk) -> None:
    memory = desk.window.drawers.memory
    memory.do("backup")
    desk.qtbot.wait_until(lambda: "backed up" in desk.sentence, timeout=4 * PATIENCE_MS)
    desk.wait_for(lambda: memory.programs is not None and memory.programs.backup.ended)


def test_a_memory_is_backed_up_compared_and_written_to_only_after_asking(desk: Desk):
    the_small_fish(desk)
    desk.press("Ctrl+B")
    desk.wait_for(lambda: desk.window.desk.choice.a is not None)
    desk.window.desk.rename(desk.window.desk.choice.a.patch.id, "Harbour before the storm")
    desk.settle()
    desk.press("Ctrl+Shift+M")
    memory, window = desk.window.drawers.memory, desk.window
    assert window.areas.drawer == "memory"
    desk.wait_for(lambda: "never backed up" in memory.sheet.saying.said)
    backed_up(desk)
    assert f"{SIZE} of {SIZE} programs" in desk.sentence
    assert len(desk.lines(memory.sheet)) == SIZE
    first = dict(memory.programs.found)

    # Store A as program 4: what is there is named, the safe answer has the focus, and nothing was written yet.
    memory.sheet.list.select_row(3)
    assert memory.sheet.buttons["store"].isEnabled()
    memory.do("store")
    desk.wait_for(window.areas.band.isVisible)
    assert window.areas.band.first.said == "Replace program 4 in Lanternfish’s memory?"
    assert first[3].name.strip() in window.areas.band.rest.said
    assert "Harbour before the storm" in window.areas.band.rest.said
    assert window.areas.band.buttons["memory_keep"].hasFocus()
    desk.press("Escape")
    assert not window.areas.band.isVisible()
    assert "stays as it is" in desk.sentence
    assert "Nothing was written" in desk.sentence

    memory.do("store")
    desk.wait_for(window.areas.band.isVisible)
    window.areas.band.buttons["memory_replace"].click()
    desk.wait_for(lambda: "1 of 1 programs were written and read back equal" in desk.sentence)
    desk.wait_for(lambda: any(line.says == "read back equal" for line in desk.lines(memory.sheet)))
    before = [one for one in Memories(desk.library).all() if one.kind == "before"]
    assert len(before) == 1
    assert same_sound(Memories(desk.library).programs(before[0])[3], first[3]), "What was there is kept."

    # A second backup says what changed; writing the first one back asks for that one program only.
    backed_up(desk)
    desk.wait_for(lambda: memory.programs.changed == {3})
    assert [line.right for line in desk.lines(memory.sheet)].count("changed") == 1
    oldest = min((one for one in memory.backups if one.kind == "backup"), key=lambda one: one.taken)
    memory.sheet.backups.chosen.emit(oldest.key)
    desk.wait_for(lambda: memory.programs.backup.key == oldest.key)
    memory.sheet.list.clearSelection()
    memory.do("restore")
    desk.wait_for(window.areas.band.isVisible)
    assert window.areas.band.first.said == "Replace program 4 in Lanternfish’s memory?"
    window.areas.band.buttons["memory_replace"].click()
    desk.wait_for(lambda: f"{SIZE} of {SIZE} programs" in desk.sentence)


def test_a_backup_that_is_cancelled_keeps_what_was_read_and_goes_on(desk: Desk):
    size = 24
    # At the wire's own speed: a hand has to be quicker than the memory.
    desk.connections._bytes_per_second = 3125
    the_small_fish(desk, size)
    memory = desk.window.drawers.memory
    memory.show()
    memory.do("backup")
    desk.wait_for(lambda: any(one.kept for one in Memories(desk.library).all()))
    desk.press("Escape")
    desk.wait_for(lambda: "was cancelled" in desk.sentence)
    desk.wait_for(lambda: memory.programs is not None and bool(memory.programs.found))
    some = len(memory.programs.found)
    assert 0 < some < size
    assert memory.sheet.buttons["backup"].text() == "Go on with it"
    backed_up(desk)
    assert len(Memories(desk.library).all()) == 1
    assert memory.programs.backup.complete
    total = desk.library.total()
    memory.do("keep")
    desk.settle()
    assert desk.library.total() > total
    memory.do("keep")
    desk.settle()
    assert "already" in desk.window.areas.drawers.notice.sentence.said


def test_an_instrument_without_a_memory_says_so(desk: Desk):
    desk.window.desk.instruments.choose(desk.ids["fogbell"])
    desk.wait_for(lambda: desk.standing("fogbell").ready)
    desk.window.drawers.memory.show()
    assert "has no memory that its chart knows" in desk.window.drawers.memory.sheet.saying.said
    assert not desk.window.drawers.memory.sheet.buttons


def test_a_bring_up_asks_for_the_monitors_runs_and_its_report_is_saved_and_compared(desk: Desk, tmp_path: Path):
    desk.window.desk.instruments.choose(desk.ids["fogbell"])
    desk.wait_for(lambda: desk.standing("fogbell").ready)
    window, proving = desk.window, desk.window.drawers.bring_up
    proving.show()
    proving.do("run")
    assert window.areas.band.isVisible()
    assert "hearing damage" in window.areas.band.first.said
    window.areas.band.buttons["monitors_down"].click()
    desk.qtbot.wait_until(lambda: proving.report is not None, timeout=6 * PATIENCE_MS)
    assert "was proved against its chart" in desk.sentence
    assert not proving.report.of("failed"), [str(one) for one in proving.report.of("failed")]
    lines = desk.lines(proving.sheet)
    assert len(lines) == len(proving.report.findings)
    assert {line.says for line in lines} <= {"passed", "failed", "not tried"}
    first = next(one for one in (*proving.report.of("not tried"), *proving.report.of("passed")))
    assert proving.sheet.bytes.toPlainText().startswith(first.check), "The bytes belong to the row that is looked at."
    for suffix in ("json", "txt", "html", "xml"):
        proving.save_to(tmp_path / f"report.{suffix}")
    assert json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))["instrument"] == "Fogbell"
    assert proving.report.sentence in (tmp_path / "report.txt").read_text(encoding="utf-8")
    assert (tmp_path / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    suites = ElementTree.parse(tmp_path / "report.xml").getroot()
    assert int(suites.get("tests")) == len(proving.report.findings)

    # An earlier report in which one thing failed: it is mended now.
    content = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))
    content["findings"][0] |= {"outcome": "failed", "got": "nothing", "sent": ["F0 7E 7F 06 01 F7"]}
    content["firmware"] = "0.9"
    (tmp_path / "earlier.json").write_text(json.dumps(content), encoding="utf-8")
    proving.compare(tmp_path / "earlier.json")
    assert proving.sheet.changes.said.startswith("Since firmware 0.9 (")
    assert "): 0 new failures, 1 mended" in proving.sheet.changes.said
    assert any("mended" in line.second for line in desk.lines(proving.sheet))
    content["chart"] = "another"
    (tmp_path / "other.json").write_text(json.dumps(content), encoding="utf-8")
    told = []
    window.desk.told.connect(told.append)
    proving.compare(tmp_path / "other.json")
    assert "held against the chart another" in str(told)
    assert "Compare with a report of the same kind" in str(told)
    proving.compare(tmp_path / "report.txt")
    assert "no saved bring-up report" in window.areas.drawers.notice.sentence.said


def test_a_bring_up_over_what_cannot_be_kept_or_read_waits_for_a_go_on(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    desk.window.desk.instruments.choose(desk.ids["fogbell"])
    desk.wait_for(lambda: desk.standing("fogbell").ready)
    window, proving, began = desk.window, desk.window.drawers.bring_up, []
    lost = "Wave of the sound in Fogbell cannot be read."

    def full(*_arguments: object, **_options: object) -> int:
        raise LibraryProblem("The disk is full; this change was not kept.", "Free some space, then try again.")

    def begins(_line, *, keep_before, lose, **_options):
        keep_before("", Version("fogbell", 1, Values({"filter.cutoff": 3})))
        lose(lost)
        began.append(True)
        raise Refused("It began.")

    monkeypatch.setattr(desk.library, "keep", full)
    monkeypatch.setattr(proving_module, "bring_up", begins)
    proving.show()
    proving.do("run")
    window.areas.band.buttons["monitors_down"].click()
    desk.wait_for(lambda: "could not be kept, so it was not replaced. The disk is full" in proving.sheet.saying.said)
    desk.wait_for(lambda: "run_unkept" in proving.sheet.buttons)
    proving.do("run_unkept")
    desk.wait_for(lambda: lost in proving.sheet.saying.said)
    assert not began, "to go on without keeping it is no yes to the loss of what cannot be read"
    desk.wait_for(lambda: "run_unkept" in proving.sheet.buttons)
    proving.do("run_unkept")
    desk.wait_for(lambda: "It began." in proving.sheet.saying.said)
    assert began
    desk.wait_for(lambda: "run_unkept" not in proving.sheet.buttons)


def test_the_question_says_when_all_of_the_memory_travels(desk: Desk):
    tallow = loads((Path(__file__).parents[1] / "data" / "charts" / "tallow.toml").read_text(encoding="utf-8"))
    for chart, whole in ((tallow, True), (desk.charts["lanternfish"], False)):
        name = next(iter(chart.sound_ids))
        low, high = (
            Version(chart.id, chart.revision, Values({name: value}), name=name)
            for value in (chart.parameters[name].low, chart.parameters[name].high)
        )
        question = Question(1, chart.name, chart, {0: low}, {0: high}, "a patch")
        assert question.numbers == [0]
        assert ("only as a whole" in question.rest) == whole
