"""Bring-up: sound instruments pass, planted defects are found by the check that is for them, reports read back."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from librarian.chart import Chart, loads
from librarian.errors import BadInput, Cancelled, OutsideProblem, Refused
from librarian.standin import Behaviour
from librarian.transfer import Cancel, NoReply
from librarian.transfer.bringup import Report, as_html, as_junit, as_text, bring_up, changes, load, save
from tests.bench.bringup import report_of
from tests.conversations import charts
from tests.defects import DEFECTS, planted
from tests.simulated import world


@pytest.fixture(scope="module")
def known() -> dict[str, Chart]:
    return {chart.id: chart for chart in charts()}


@pytest.fixture(scope="module")
def broken(known: dict[str, Chart]) -> Report:
    defect = next(one for one in DEFECTS if one.name == "off by one")
    _, far_end = planted(defect, known["lanternfish"], 1)
    return report_of(far_end, known["lanternfish"], 1)


@pytest.fixture(scope="module")
def sound(known: dict[str, Chart]) -> Report:
    return report_of(world(known["lanternfish"]).instrument, known["lanternfish"], 1)


def test_sound_instruments_have_no_failure_and_are_put_back(known: dict[str, Chart]) -> None:
    for chart in known.values():
        one = world(chart, introduced=False, seed=11, name="Old")
        before = one.sound
        programs = [dict(one.instrument.memory[index].values) for index in range(one.instrument.memory.size)]
        report = bring_up(one.line, write_memory=True, seed=5)
        assert report.of("failed") == ()
        assert one.sound == before
        assert report.restored == "What was in it before is there again."
        assert [dict(one.instrument.memory[index].values) for index in range(one.instrument.memory.size)] == programs
        assert report.sentence.endswith("not tried")


def test_memory_is_not_touched_unless_allowed(known: dict[str, Chart]) -> None:
    one = world(known["lanternfish"])
    report = bring_up(one.line)
    assert [finding.got for finding in report.of("not tried") if finding.check.startswith("memory")] == [
        "writing to the memory was not allowed"
    ]
    assert not one.instrument.memory._programs, "nobody even looked at it"


@pytest.mark.parametrize("name", [one.name for one in DEFECTS][::4])
def test_planted_defects_are_found(name: str, known: dict[str, Chart]) -> None:
    defect = next(one for one in DEFECTS if one.name == name)
    _, far_end = planted(defect, known[defect.chart], 3)
    report = report_of(far_end, known[defect.chart], 3)
    assert any(defect.found_by in one.check for one in report.of("failed"))


def test_a_failure_carries_its_bytes_and_says_what_was_expected(broken: Report, known: dict[str, Chart]) -> None:
    first = broken.of("failed")[0]
    assert first.sent
    assert first.received
    bytes.fromhex(first.sent[0])
    assert first.expected
    assert first.expected != first.got
    text = as_text(broken)
    assert "off by" not in text, "the report tells what was seen, not what we planted"
    assert f"out {first.sent[0]}" in text
    assert broken.sentence in text


def test_reports_read_back_and_are_compared(broken: Report, sound: Report, tmp_path: Path) -> None:
    place = tmp_path / "report.json"
    save(broken, place)
    assert load(place) == broken
    since = changes(broken, sound)
    assert len(since.broken) == len(broken.of("failed"))
    assert since.mended == ()
    assert "new failures" in since.sentence
    assert "(new)" in as_text(broken, since)
    healed = changes(sound, broken)
    assert len(healed.mended) > 0
    assert healed.broken == ()
    assert changes(broken, broken).still == broken.of("failed")


def test_junit_and_html_say_the_same(broken: Report) -> None:
    # The shape that continuous integration reads (common practice, no source): suites, cases, failure, skipped.
    root = ElementTree.fromstring(as_junit(broken))
    assert root.tag == "testsuites"
    cases = root.findall("./testsuite/testcase")
    assert len(cases) == len(broken.findings) == int(root.attrib["tests"])
    assert len(root.findall(".//failure")) == len(broken.of("failed")) == int(root.attrib["failures"])
    assert len(root.findall(".//skipped")) == len(broken.of("not tried"))
    page = as_html(broken)
    assert page.count("<tr class=") == len(broken.findings)
    assert "<script" not in page
    assert "http" not in page


@pytest.mark.parametrize(
    "content", ["", "{", "[]", '{"file": "another"}', '{"file": "librarian bring-up report", "edition": 9}',
                '{"file": "librarian bring-up report", "edition": 1}'],
)  # fmt: skip
def test_other_files_are_no_reports(content: str, tmp_path: Path) -> None:
    place = tmp_path / "report.json"
    place.write_text(content, encoding="utf-8")
    with pytest.raises(BadInput, match="no saved bring-up report"):
        load(place)
    with pytest.raises(OutsideProblem):
        load(tmp_path / "nothing.json")


def test_an_instrument_that_cannot_be_read_or_is_silent_is_told(known: dict[str, Chart]) -> None:
    text = known["fogbell"].text
    start = text.index("[[capture]]")
    mute = loads(text[:start] + text[text.index("[[recall]]") :])
    with pytest.raises(Refused, match="cannot be asked"):
        bring_up(world(mute).line)
    with pytest.raises(NoReply):
        bring_up(world(known["fogbell"], behaviour=Behaviour(refuse="silence")).line)


def test_cancel_says_that_the_test_sound_is_still_there(known: dict[str, Chart]) -> None:
    one = world(known["lanternfish"])
    cancel = Cancel()
    one.bad.at(104.0, lambda now: cancel.set())
    with pytest.raises(Cancelled) as ended:
        bring_up(one.line, cancel=cancel)
    assert one.clock.now() <= 104.3
    assert "values of the test" in ended.value.state
