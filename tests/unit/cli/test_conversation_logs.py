"""Recall and back again, bring-up with its reports, traffic saved and replayed, a pace that is remembered."""

from __future__ import annotations

import dataclasses
import json
import signal
from xml.etree import ElementTree

import pytest

from librarian.chart import load, shipped
from librarian.cli.exits import Exit
from librarian.cli.replaying import CONVERSATIONS
from librarian.cli.verbs import recalling
from librarian.collection import Library
from librarian.errors import Cancelled
from librarian.messages import Values, Version
from librarian.standin import Behaviour
from librarian.transfer import connections
from librarian.wire import traffic


@pytest.fixture
def unit(monkeypatch):
    """The one stand-in of this test by chart, with habits that may be set: `unit.habits.update(...)`."""

    class Units(dict):
        """Chart id -> instrument; `habits` are given to those made from then on."""

    made = Units()
    made.habits = {}
    kind = connections.Instrument

    def one(chart, **options):
        if chart.id not in made:
            made[chart.id] = kind(chart, **options, behaviour=dataclasses.replace(Behaviour(), **made.habits))
        return made[chart.id]

    monkeypatch.setattr(connections, "Instrument", one)
    return made


@pytest.fixture
def two_sounds(run, unit):
    """A patch, and another sound in the instrument; returns what the instrument held at both moments."""
    run("capture", "Harbour", "--embedded")
    one = unit["lanternfish"]
    first = dict(one.sound)
    for name in ("filter.cutoff", "mixer.noise"):
        one.sound[name] = 1 if first[name] != 1 else 2
    return first, dict(one.sound)


def test_a_recall_sends_what_differs_or_everything(run, two_sounds):
    short = run("recall", "Harbour", "--embedded", "--json").answer
    assert (short["state"], short["sent"], short["equal"]) == ("arrived", 2, 50)
    assert short["saved"] > 200
    whole = run("recall", "Harbour", "--embedded", "--whole", "--json").answer
    assert (whole["state"], whole["sent"], whole["saved"]) == ("arrived", 50, 0)
    assert whole["bytes_out"] > short["bytes_out"] + 200


def test_put_back_undoes_a_recall_and_again_the_other_way(run, unit, two_sounds):
    first, second = two_sounds
    run("recall", "Harbour", "--embedded")
    assert unit["lanternfish"].sound == first
    back = run("put-back", "--embedded", "--json")
    assert back.code == Exit.OK
    assert (back.answer["state"], back.answer["before"]) == ("arrived", "Harbour")
    assert unit["lanternfish"].sound == second
    run("put-back", "--embedded")
    assert unit["lanternfish"].sound == first


def test_what_was_played_since_a_recall_is_kept_before_something_is_put_back(run, unit, two_sounds):
    run("recall", "Harbour", "--embedded")
    one = unit["lanternfish"]
    one.sound["filter.cutoff"] = 77
    played = dict(one.sound)
    run("put-back", "--embedded")
    run("recall", "Harbour", "--embedded")
    held = [
        {value["id"]: value["value"] for value in run("show", patch["id"], "--json").answer["sound"]["values"]}
        for patch in run("find", "--tag", "before a recall", "--json").answer["patches"]
    ]
    sound = {name: played[name] for name in one.chart.sound_ids}
    assert sound in [{name: each[name] for name in sound} for each in held]


def test_a_put_back_that_breaks_off_can_be_tried_again(run, unit, two_sounds, monkeypatch):
    _, second = two_sounds
    run("recall", "Harbour", "--embedded")
    real = recalling.transfer.recall

    def interrupted(line, version, *, keep_before, **options):
        def keep(before):
            keep_before(before)
            raise Cancelled("Nothing was sent yet.")

        return real(line, version, keep_before=keep, **options)

    monkeypatch.setattr(recalling.transfer, "recall", interrupted)
    assert run("put-back", "--embedded").code == Exit.CANCELLED
    monkeypatch.setattr(recalling.transfer, "recall", real)
    assert run("put-back", "--embedded").code == Exit.OK
    assert unit["lanternfish"].sound == second


def test_what_was_there_is_kept_as_before_the_recall(run, two_sounds):
    run("recall", "Harbour", "--embedded")
    (kept,) = run("find", "--tag", "before a recall", "--json").answer["patches"]
    assert kept["note"] == "Before the recall of “Harbour”"


def test_nothing_to_put_back(run):
    refused = run("put-back", "--embedded")
    assert refused.code == Exit.COULD_NOT
    assert "before a recall" in refused.err


def test_an_instrument_that_cannot_be_read_is_told_before(run, library_path, tmp_path):
    text = shipped()["fogbell"].read_text(encoding="utf-8")
    asking, by_hand = text.index("[[capture]]"), text.rindex("[[capture]]")
    chart = tmp_path / "mute.toml"
    chart.write_text(text[:asking] + text[by_hand:], encoding="utf-8")
    run("instrument", "add", "--chart", chart)
    with Library.open(library_path) as library:
        (row,) = library.instruments()
        library.update_instrument(row.id, output="embedded:mute", input="embedded:mute")
        described = load(chart)
        values = Values({name: one.high for name, one in described.parameters.items()})
        library.keep(row.id, "Everything up", Version(described.id, described.revision, values))
    done = run("recall", "Everything up", "--json")
    assert (done.code, done.answer["state"]) == (Exit.UNPROVED, "sent")
    assert "cannot be read: what is in it now is not kept" in done.err
    assert run("put-back").code == Exit.COULD_NOT


def test_a_slower_pace_is_remembered_and_reset(run, unit):
    unit.habits.update(input_buffer=12, message_s=0.005)
    run("capture", "Low", "--embedded", "--instrument", "fogbell")
    one = unit["fogbell"]
    for name, parameter in one.chart.parameters.items():
        one.sound[name] = parameter.low if one.sound[name] != parameter.low else parameter.high
    slow = run("recall", "Low", "--embedded", "--instrument", "fogbell", "--json").answer
    assert slow["state"] == "arrived"
    assert slow["slowed"] > 0
    (row,) = run("instrument", "list", "--json").answer["instruments"]
    assert row["slowed"] == slow["slowed"]
    again = run("recall", "Low", "--embedded", "--instrument", "fogbell", "--whole", "--json").answer
    assert (again["state"], again["rounds"]) == ("arrived", 0), "what worked is taken at once"
    (row,) = run("instrument", "change", "fogbell", "--usual-pace", "--json").answer["instruments"]
    assert row["slowed"] == 0


def test_bring_up_needs_the_monitors_down(run):
    asked = run("bring-up", "--embedded", "--instrument", "fogbell")
    assert asked.code == Exit.COULD_NOT
    assert "--monitors-down" in asked.err


def test_bring_up_reports_in_every_form_and_against_an_earlier_one(run, unit, tmp_path):
    words = ("bring-up", "--embedded", "--instrument", "fogbell", "--monitors-down")
    files = {kind: tmp_path / f"report.{kind}" for kind in ("txt", "html", "xml", "json")}
    done = run(*words, "--text", files["txt"], "--html", files["html"], "--junit", files["xml"], "--save",
               files["json"], "--json")  # fmt: skip
    assert done.code == Exit.OK, done.answer["findings"]
    answer = done.answer
    assert (answer["failed"], answer["changes"]) == (0, None)
    assert answer["passed"] + answer["not_tried"] == len(answer["findings"])
    assert "fastest gap" in " ".join(answer["measured"])
    assert answer["restored"] == "What was in it before is there again."
    assert "Passed" in files["txt"].read_text()
    assert files["html"].read_text().startswith("<!DOCTYPE html>")
    suites = ElementTree.parse(files["xml"]).getroot()
    assert (suites.get("tests"), suites.get("failures")) == (str(len(answer["findings"])), "0")

    deaf = unit["fogbell"]
    usual = type(deaf).set_sound

    def deaf_to_one(self, values, now):
        usual(self, {name: value for name, value in values.items() if name != "filter.cutoff"}, now)

    deaf.set_sound = deaf_to_one.__get__(deaf)
    later = run(*words, "--since", files["json"], "--json")
    assert later.code == Exit.DIFFERS
    assert later.answer["changes"]["broken"]
    assert any(one["subject"].startswith("Cutoff") for one in later.answer["changes"]["broken"])
    assert all(one["sent"] for one in later.answer["changes"]["broken"] if one["subject"].startswith("Cutoff"))
    assert "(new)" in run(*words, "--since", files["json"]).out


def test_reports_must_not_overwrite_each_other(run, tmp_path):
    twice = run("bring-up", "--embedded", "--monitors-down", "--text", tmp_path / "a", "--html", tmp_path / "a")
    assert twice.code == Exit.COULD_NOT
    assert run("bring-up", "--embedded", "--monitors-down", "--since", tmp_path / "none").code == Exit.COULD_NOT


VERBS = {
    "identify": ("identify", "--embedded"),
    "capture": ("capture", "Second", "--embedded"),
    "recall": ("recall", "Harbour", "--embedded"),
    "verify": ("verify", "Harbour", "--embedded"),
    "panic": ("panic", "--embedded"),
    "backup": ("bank", "backup", "Few", "--embedded", "--programs", "1..2"),
    "restore": ("bank", "store", "Harbour", "5", "--embedded", "--yes"),
    "bring-up": ("bring-up", "--embedded", "--instrument", "fogbell", "--monitors-down"),
    "put-back": ("put-back", "--embedded"),
    "compare": ("compare", "Harbour", "--panel", "--embedded"),
}


@pytest.mark.parametrize("verb", VERBS)
def test_every_conversation_can_be_saved_and_had_again(run, two_sounds, tmp_path, verb):
    if verb == "put-back":
        run("recall", "Harbour", "--embedded")
    log = tmp_path / "log.json"
    run(*VERBS[verb], "--traffic", log)
    again = run("replay", log, "--json")
    assert again.code == Exit.OK, again.out
    assert again.answer["same"]
    assert (again.answer["unexpected"], again.answer["left"]) == ([], [])
    assert again.answer["conversation"] in CONVERSATIONS
    assert again.answer["crossings"] > 0


def test_a_log_of_what_went_wrong_ends_in_the_same_words(run, unit, tmp_path):
    unit.habits.update(refuse="silence", identity=False)
    log = tmp_path / "log.json"
    failed = run("capture", "--embedded", "--traffic", log, "--json")
    assert failed.code == Exit.COULD_NOT
    again = run("replay", log, "--json")
    assert (again.code, again.answer["same"]) == (Exit.OK, True)
    assert again.answer["now"] == failed.answer["problem"]["sentence"]


AT = {"capture": 3, "recall": 19, "restore": 60, "backup": 14}
"""Verb -> how many bytes of it the instrument has heard when Ctrl+C is pressed."""


@pytest.mark.parametrize("verb", AT)
def test_a_log_of_what_was_cancelled_by_hand_ends_in_the_same_words(run, unit, two_sounds, tmp_path, verb):
    log, one, heard = tmp_path / "log.json", unit["lanternfish"], [0, 0]
    usual = one.feed

    def feed(data, now):
        heard[:] = heard[1], heard[1] + len(data)
        if heard[0] <= AT[verb] < heard[1]:
            signal.raise_signal(signal.SIGINT)
        usual(data, now)

    one.feed = feed
    ended = run(*VERBS[verb], "--traffic", log, "--json")
    assert ended.code == Exit.CANCELLED
    again = run("replay", log, "--json")
    assert (again.code, again.answer["same"]) == (Exit.OK, True), again.answer
    assert again.answer["now"] in ended.answer["problem"]["sentence"]


def test_another_answer_in_the_log_is_another_end(run, two_sounds, tmp_path):
    log = tmp_path / "log.json"
    run("verify", "Harbour", "--embedded", "--traffic", log)
    lines = log.read_text().splitlines()
    log.write_text("\n".join(lines[:-1]) + "\n")
    again = run("replay", log, "--json")
    assert again.code == Exit.DIFFERS
    assert not again.answer["same"]
    assert again.answer["now"] != again.answer["then"]


def test_a_log_that_does_not_say_what_it_was(run, two_sounds, tmp_path):
    log = tmp_path / "log.json"
    run("capture", "Second", "--embedded", "--traffic", log)
    traffic.save(log, traffic.load(log))
    assert run("replay", log).code == Exit.COULD_NOT, "neither chart nor conversation"
    done = run("replay", log, "--chart", "lanternfish", "--as", "capture", "--json")
    assert done.answer["now"].startswith("52 of 52 parameters")
    assert run("replay", log, "--chart", "lanternfish", "--as", "recall").code == Exit.COULD_NOT, "which sound?"
    other = run("replay", log, "--chart", "lanternfish", "--as", "verify", "--patch", "Harbour", "--json")
    assert other.answer["conversation"] == "verify"
    assert run("replay", log, "--chart", "lanternfish", "--as", "nothing").code == Exit.COULD_NOT


@pytest.mark.parametrize(
    "about",
    [
        {"conversations": 3},
        {"conversations": [{"conversation": "capture"}]},
        {"conversations": [{"conversation": "recall", "options": {"version": {}}, "outcome": ""}]},
        {"conversations": [{"conversation": "backup", "options": {"programs": ["x"]}, "outcome": ""}]},
        {"conversations": [{"conversation": "capture", "options": {}, "outcome": ""}], "address": {"channel": 99}},
        {"conversations": [{"conversation": "capture", "options": {}, "outcome": ""}], "chart": "nonsense"},
    ],
)
def test_a_log_with_a_spoilt_head_is_refused_with_a_sentence(run, two_sounds, tmp_path, about):
    log = tmp_path / "log.json"
    run("capture", "Second", "--embedded", "--traffic", log)
    lines = log.read_text().splitlines()
    head = json.loads(lines[0])
    head["about"].update(about)
    log.write_text("\n".join([json.dumps(head), *lines[1:]]))
    told = run("replay", log)
    assert told.code in {Exit.COULD_NOT, Exit.DIFFERS}
    assert (told.err + told.out).strip()


def test_traffic_as_text_and_where_it_cannot_be_written(run, tmp_path):
    text = tmp_path / "log.txt"
    run("identify", "--embedded", "--traffic", text)
    asked, answered = text.read_text().splitlines()
    assert "-> general information: identity request" in asked
    assert asked.endswith("[F0 7E 7F 06 01 F7]")
    assert "<- general information: identity reply" in answered
    run("capture", "--embedded", "--traffic", text)
    assert "edit: dump  [F0 7D 11 21 " in text.read_text()
    nowhere = run("identify", "--embedded", "--traffic", tmp_path / "missing" / "log.json")
    assert nowhere.code == Exit.COULD_NOT
    assert "could not be written" in nowhere.err


def test_a_log_that_was_cut_or_is_read_by_another_chart_says_so(run, two_sounds, tmp_path):
    log, cut, broken = (tmp_path / f"{name}.json" for name in ("log", "cut", "broken"))
    assert run("capture", "--embedded", "--instrument", "lanternfish", "--traffic", log).code == Exit.OK
    assert run("replay", log, "--json").answer["remarks"] == []
    lines = log.read_text(encoding="utf-8").splitlines(keepends=True)
    cut.write_text("".join(lines[:4]), encoding="utf-8")
    replayed = run("replay", cut)
    assert replayed.code == Exit.DIFFERS
    assert f"The file was cut: it holds 3 of {len(lines) - 1} messages." in replayed.out
    broken.write_text("".join(lines)[:-40], encoding="utf-8")
    refused = run("replay", broken)
    assert refused.code == Exit.COULD_NOT
    assert "the file was cut there: take the line out" in refused.err
    other = run("replay", log, "--chart", shipped()["fogbell"])
    assert other.code == Exit.DIFFERS
    assert "Logged with the chart lanternfish revision 4, read by fogbell revision 2." in other.out
    text = tmp_path / "log.txt"
    assert run("capture", "--embedded", "--instrument", "lanternfish", "--traffic", text).code == Exit.OK
    assert "saved as text is for reading" in run("replay", text).err
