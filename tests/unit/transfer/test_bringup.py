"""Bring-up: sound instruments pass, planted defects are found by the check that is for them, reports read back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from librarian.chart import Chart, Decoded, loads
from librarian.errors import BadInput, Cancelled, OutsideProblem, Refused
from librarian.messages import Version
from librarian.standin import Behaviour
from librarian.transfer import Cancel, Line, NoReply, WrongInstrument
from librarian.transfer.bringup import Report, as_html, as_junit, as_text, bring_up, changes, load, save
from librarian.transfer.bringup.bench import Bench
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


def test_what_it_writes_over_is_given_away_first(known: dict[str, Chart]) -> None:
    one = world(known["lanternfish"], seed=11)
    last = one.instrument.memory.size - 1
    before, program = dict(one.sound), dict(one.instrument.memory[last].values)
    kept: list[tuple[str, dict[str, int], bool]] = []

    def keep(place: str, version: Version) -> None:
        untouched = one.sound == before if place == "" else dict(one.instrument.memory[last].values) == program
        kept.append((place, dict(version.values), untouched))

    bring_up(one.line, write_memory=True, keep_before=keep)
    assert [(place, untouched) for place, _, untouched in kept] == [("", True), ("program 64", True)]
    assert kept[0][1] == before
    assert kept[1][1] == {name: program[name] for name in one.line.chart.sound_ids}


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


def held_against(chart: Chart, defect: str, revision: bytes) -> Report:
    """The report of a unit with this defect (none: '') and this firmware."""
    one, far_end = planted(next(each for each in DEFECTS if each.name == defect), chart, 1) if defect else (None, None)
    one = one or world(chart).instrument
    one.behave(replace(one.behaviour, revision=revision))
    return report_of(far_end or one, chart, 1)


def test_a_firmware_that_mends_one_defect_and_brings_another(known: dict[str, Chart]) -> None:
    chart = known["lanternfish"]
    earlier = held_against(chart, "off by one", bytes((0, 0, 2, 0)))
    now = held_against(chart, "NRPN null ignored", bytes((0, 0, 2, 1)))
    since = changes(now, earlier, chart)
    assert {one.check for one in since.broken} == {"NRPN null"}
    assert {one.check for one in since.mended} >= {"controllers: values"}
    assert since.untried == since.still == ()
    assert since.sentence.startswith("Since firmware 2.0 (")
    assert f"1 new failure, {len(since.mended)} mended, 0 as before" in since.sentence
    assert as_text(now, since).count("(new)") == 1
    page = as_html(now, since)
    assert page.count("<b>new</b>") == 1
    assert page.count("<b>mended</b>") == len(since.mended)
    root = ElementTree.fromstring(as_junit(now, since))
    assert since.sentence in root.attrib["name"]
    (failure,) = root.findall(".//failure")
    assert failure.attrib["message"].endswith("(new)")
    assert [told.text for told in root.findall(".//system-out")] == ["mended"] * len(since.mended)


def test_what_is_not_tried_any_more_is_said_and_is_not_mended(known: dict[str, Chart]) -> None:
    chart = known["fogbell"]
    earlier = held_against(chart, "wrong family in its identity", bytes((0, 0, 1, 0)))
    now = report_of(world(chart, behaviour=Behaviour(identity=False)).instrument, chart, 1)
    since = changes(now, earlier, chart)
    assert {each.check for each in since.broken} == {"identity: all call"}
    gone = {each.key for each in since.untried}
    assert ("identity: fields", "family") in gone, "it failed then; nobody knows whether it is mended"
    assert since.mended == ()
    assert "not tried any more" in since.sentence
    assert "identity: fields, family (failed then)" in as_text(now, since)
    assert "identity: fields, family (failed then)" in as_html(now, since)


def test_a_parameter_is_known_under_its_next_name_and_label(known: dict[str, Chart]) -> None:
    old = known["fogbell"]
    target = next(name for name in old.sound_ids if name in old.codec.carried())
    label = old.parameters[target].label
    text = old.text.replace(f'"{target}"', '"voice.next"').replace(f'label = "{label}"', 'label = "Next (new)"')
    table = f'[[history]]\nnumber = {old.revision + 1}\nchanges = [{{ renamed = "{target}", to = "voice.next" }}]\n'
    text = text.replace(f"revision = {old.revision}", f"revision = {old.revision + 1}", 1)
    new = loads(text + "\n" + table)
    defect = "deaf to one controller"
    earlier, now = held_against(old, defect, bytes((0, 0, 1, 0))), held_against(new, defect, bytes((0, 0, 1, 1)))
    since = changes(now, earlier, new)
    assert len(since.still) == len(earlier.of("failed")) > 0
    assert (since.broken, since.mended, since.untried) == ((), (), ())
    assert f"chart revision {old.revision}" in since.sentence
    # Without its history the chart cannot tell: it is not called mended.
    blind = changes(now, earlier)
    assert blind.mended == ()
    assert ("controllers: values", f"{target}, middle") in {one.key for one in blind.untried if one.outcome == "failed"}
    assert "new, not tried then" in as_text(now, blind)


def test_the_report_of_another_chart_is_refused(broken: Report) -> None:
    with pytest.raises(BadInput, match="held against the chart fogbell"):
        changes(broken, replace(broken, chart="fogbell", instrument="Fogbell"))
    assert "the report of Left" in changes(broken, replace(broken, instrument="Left")).sentence


def test_a_damaged_report_is_refused_whatever_is_damaged(sound: Report, tmp_path: Path) -> None:
    place = tmp_path / "report.json"
    save(sound, place)
    whole = json.loads(place.read_text(encoding="utf-8"))
    for cut in range(0, place.stat().st_size, 997):
        (tmp_path / "cut.json").write_bytes(place.read_bytes()[:cut])
        with pytest.raises(BadInput, match="it was cut there"):
            load(tmp_path / "cut.json")
    for key in whole:
        for value in (None, [1], "word", float("inf"), {"a": []}, [[]], [{"check": 1}]):
            spoilt = whole | {key: value}
            (tmp_path / "spoilt.json").write_text(json.dumps(spoilt), encoding="utf-8")
            try:
                found = load(tmp_path / "spoilt.json")
            except BadInput:
                continue
            changes(sound, replace(found, chart=sound.chart))
            assert isinstance(value, str | float) or key == "unproved", (key, value)


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


def asked_for(chart: Chart, what: str) -> Chart:
    """The same instrument without its ways of capture; `what`: the chart tables that it has instead."""
    start = chart.text.index("[[capture]]")
    return loads(chart.text[:start] + what + chart.text[chart.text.index("[[recall]]") :])


def test_an_instrument_that_cannot_be_asked_for_its_sound_is_tried_as_far_as_it_answers(
    known: dict[str, Chart],
) -> None:
    mute = asked_for(known["fogbell"], "")
    one = world(mute, introduced=False)
    report = bring_up(one.line, write_memory=True)
    assert report.of("failed") == ()
    assert {finding.check for finding in report.of("passed")} == {
        "identity: all call", "identity: form", "identity: fields", "identity: firmware", "identity: own device ID",
        "identity: another device ID", "identity: realtime inside the request",
    }  # fmt: skip
    why = {finding.check: finding.got for finding in report.of("not tried")}
    for check in ("controllers: values", "controllers: another channel", "running status", "timing: controllers"):
        assert why[check] == "it cannot be read back: the chart knows no request for its sound"
    assert set(report.unproved) == {mute.parameters[name].label for name in mute.codec.carried()}
    assert "Not proved, because nothing reads them back here: " in as_text(report)
    assert len(one.instrument.states) == 1, "nothing that nobody could prove was sent into its sound"
    assert report.restored == "Its edit buffer was left as it is."


def test_defects_of_such_an_instrument_are_found(known: dict[str, Chart]) -> None:
    defect = next(one for one in DEFECTS if one.name == "wrong family in its identity")
    mute = asked_for(known["fogbell"], "")
    _, far_end = planted(defect, mute, 3)
    assert "identity: fields" in {one.check for one in report_of(far_end, mute, 3).of("failed")}
    defect = next(one for one in DEFECTS if one.name == "a clock ends a SysEx message")
    _, far_end = planted(defect, mute, 3)
    failed = {one.check for one in report_of(far_end, mute, 3).of("failed")}
    assert failed == {"identity: realtime inside the request"}


def test_another_instrument_is_told_and_not_called_silent(known: dict[str, Chart]) -> None:
    there = world(known["fogbell"])
    line = Line(there.cable, known["lanternfish"], known["lanternfish"].default_address)
    before = dict(there.sound)
    with pytest.raises(WrongInstrument, match="where Lanternfish was expected"):
        bring_up(line)
    assert there.sound == before


def test_who_answers_nothing_is_told(known: dict[str, Chart]) -> None:
    mute = asked_for(known["fogbell"], "")
    with pytest.raises(NoReply):
        bring_up(world(known["fogbell"], behaviour=Behaviour(refuse="silence")).line)
    with pytest.raises(NoReply):
        bring_up(world(mute, introduced=False, behaviour=Behaviour(identity=False)).line)
    text = mute.text
    nobody = loads(text[: text.index("[identity]")] + text[text.index("[address]") :])
    with pytest.raises(Refused, match="neither who it is nor for a sound") as refused:
        bring_up(world(nobody).line)
    assert "capture by hand" in refused.value.hint


STORED = """
id = "stored"
name = "Stored"
section = [{ id = "tone", label = "Tone" }]
parameter = [
  { id = "tone.pitch", label = "Pitch", section = "tone", range = [0, 127], bindings = [{ cc = 20 }] },
  { id = "tone.wave", label = "Wave", section = "tone", range = [0, 127], bindings = [{ cc = 21 }] },
  { id = "tone.hush", label = "Hush", section = "tone", range = [0, 127], bindings = [{ cc = 22 }] },
]
[identity]
manufacturer = "7D"
[layout.panel]
fields = ["tone.pitch", "tone.wave", { name = 4 }]
[memory]
programs = 8
"""
PROGRAM = """
[message.program]
kind = "program"
request = "F0 7D {device} 10 {program} F7"
answer = "F0 7D {device} 11 {program} {sound} F7"
parts.sound = { is = "data", layout = "panel" }
"""
BANK = """
[message.program]
kind = "program"
answer = "F0 7D {device} 11 {program} {sound} F7"
parts.sound = { is = "data", layout = "panel" }
[message.bank]
kind = "bank"
request = "F0 7D {device} 12 F7"
each = "program"
"""


@pytest.mark.parametrize("message", [PROGRAM, BANK])
def test_where_only_the_memory_can_be_read_it_proves_what_it_carries(message: str) -> None:
    chart = loads(STORED + message)
    one = world(chart, introduced=False)
    programs = [dict(one.instrument.memory[index].values) for index in range(8)]
    careful = bring_up(one.line)
    assert careful.of("failed") == ()
    assert careful.unproved == ("Pitch", "Wave", "Hush")
    assert any(finding.check == "dumps: sent" for finding in careful.of("passed"))
    whole = bring_up(one.line, write_memory=True)
    assert whole.of("failed") == ()
    assert whole.unproved == ("Hush",), "it travels by its controller alone, into what cannot be read"
    tried = [finding.subject for finding in whole.of("passed") if finding.check == "memory: values"]
    assert "Pitch (tone.pitch), highest" in tried
    assert len(tried) == 2 * 5
    assert [dict(one.instrument.memory[index].values) for index in range(8)] == programs
    assert len(one.instrument.states) == 1


def test_a_value_that_its_memory_loses_is_found_where_only_that_can_be_read() -> None:
    chart = loads(STORED + PROGRAM)
    one = world(chart, introduced=False)
    store = one.instrument._answers._store

    def loses(decoded: Decoded, whole: tuple[bytes, ...]) -> None:
        pitch = min(decoded.values["tone.pitch"], 100)
        store(replace(decoded, values=decoded.values.with_values({"tone.pitch": pitch})), whole)

    one.instrument._answers._store = loses  # type: ignore[method-assign]
    failed = {finding.key for finding in bring_up(one.line, write_memory=True).of("failed")}
    assert ("memory: values", "tone.pitch, highest") in failed
    assert ("memory: values", "tone.wave, highest") not in failed


def test_a_parameter_that_nothing_reads_back_is_not_tried_and_does_not_fail_the_others() -> None:
    chart = loads(STORED.replace("[memory]\nprograms = 8\n", "") + PROGRAM.replace(" {program}", "").replace(
        '"program"', '"edit buffer"'))  # fmt: skip
    report = bring_up(world(chart, introduced=False).line)
    assert report.of("failed") == ()
    assert report.unproved == ("Hush",)
    (hush,) = (finding for finding in report.of("not tried") if finding.subject == "Hush (tone.hush)")
    assert hush.got == "nothing that can be asked for tells its value"
    assert any(finding.check == "timing: controllers" for finding in report.of("passed"))


def test_a_seed_throws_the_same_values_whatever_the_order_of_a_set(known: dict[str, Chart]) -> None:
    # The order of a set of texts is another one in each process, so a log was not the same when it was replayed.
    line = world(known["lanternfish"]).line
    ids = line.chart.sound_ids
    thrown = []
    for names in (ids, tuple(reversed(ids)), frozenset(ids)):
        with line.talk("bring-up") as talk:
            thrown.append(Bench(talk, 7).value_sets(names))
    assert thrown[0] == thrown[1] == thrown[2]
    assert list(thrown[1][0][1]) == list(ids)


def test_cancel_says_that_the_test_sound_is_still_there(known: dict[str, Chart]) -> None:
    one = world(known["lanternfish"])
    cancel = Cancel()
    one.bad.at(104.0, lambda now: cancel.set())
    with pytest.raises(Cancelled) as ended:
        bring_up(one.line, cancel=cancel, keep_before=lambda _place, _version: None)
    assert one.clock.now() <= 104.3
    assert "values of the test" in ended.value.state
    assert ended.value.state.endswith("What was in it before is kept.")
