"""The command line as such: usage, help, documented answers, charts, the demo's job, where problems are shown."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
import time

import jsonschema
import pytest

from librarian.chart import load, shipped
from librarian.cli import waiting as waiting_module
from librarian.cli.answers import OF_VERB
from librarian.cli.app import build
from librarian.cli.connect import find_port
from librarian.cli.exits import Exit
from librarian.cli.job import three_knobs, whole_job
from librarian.cli.waiting import on_interrupt, waiting
from librarian.collection import Library
from librarian.errors import BadInput, Cancelled
from librarian.standin import Behaviour
from librarian.transfer import Progress
from librarian.transfer.connections import add_stand_in
from librarian.wire.ports import Port, numbered
from tests.simulated import world


def verbs():
    """Every verb that is registered, groups included."""
    found = [command.name for command in build().registered_commands]
    for group in build().registered_groups:
        found += [f"{group.name} {command.name}" for command in group.typer_instance.registered_commands]
    return found


@pytest.mark.parametrize("verb", sorted(set(verbs()) - {"window", "standin"}))
def test_every_verb_has_help_and_documented_answers(run, verb):
    shown = run(*verb.split(), "--help")
    assert shown.code == Exit.OK
    assert "--json" in shown.out
    assert "--library" in shown.out
    assert verb in OF_VERB, "its answer is not documented"


def test_no_answer_is_documented_without_its_verb():
    assert set(OF_VERB) == set(verbs()) - {"window", "standin"}


@pytest.mark.parametrize(
    "words", [("nosuchverb",), ("find", "--nosuchoption"), ("show",), ("find", "--limit", "many"), ("recall", "a", "b")]
)
def test_usage_is_told_apart(run, words):
    wrong = run(*words)
    assert wrong.code == Exit.USAGE
    assert "Traceback" not in wrong.err
    assert wrong.err.strip()


def test_options_before_and_after_the_verb_mean_the_same(run, small, tmp_path):
    before, after = run("--json", "find"), run("find", "--json")
    assert before.out == after.out
    other = run("find", "--json", "--library", tmp_path / "other.sqlite")
    assert other.answer["total"] == 0


def test_answers_are_documented_as_json_schema(run):
    found = run("answers", "--json").answer["answers"]
    assert set(found) == set(OF_VERB) | {"trouble"}
    for schema in found.values():
        jsonschema.Draft202012Validator.check_schema(schema)
        assert schema["description"]
    one = run("answers", "recall", "--json").answer["answers"]
    assert set(one) == {"recall", "trouble"}
    assert "sentence" in run("answers", "recall").out
    assert run("answers", "nosuchverb").code == Exit.USAGE


def test_without_a_window_the_verb_says_so(run):
    assert run("window").code == Exit.COULD_NOT


def test_chart_verbs(run, tmp_path):
    assert run("chart", "check", "lanternfish", "--json").answer["chart"] == {
        "id": "lanternfish",
        "name": "Lanternfish",
        "revision": 4,
        "parameters": 52,
        "sound": 50,
        "setup": 2,
    }
    printed = run("chart", "print", "fogbell", "--json").answer
    assert len(printed["parameters"]) == 22
    assert printed["ways_in"][0].startswith("controllers")
    assert "CC 74" in run("chart", "print", "fogbell").out
    assert run("chart", "print", "fogbell", "--form", "markdown").out.count("|") > 100
    assert "<table" in run("chart", "print", "fogbell", "--form", "html").out
    cautions = run("chart", "check", "fogbell", "--json").answer["cautions"]
    assert ["cc" in caution["key"] and caution["line"] > 0 for caution in cautions] == [True]
    assert "to look at again" in run("chart", "check", "fogbell").out
    assert {chart["id"] for chart in run("chart", "list", "--json").answer["charts"]} == {"fogbell", "lanternfish"}
    wrong = tmp_path / "wrong.toml"
    text = (
        shipped()["fogbell"].read_text().replace("cc = 74", "cc = 300").replace('section = "bell"', 'section = "bel"')
    )
    wrong.write_text(text)
    checked = run("chart", "check", wrong, "--json")
    assert checked.code == Exit.COULD_NOT
    assert checked.answer["usable"] is False
    faults = checked.answer["faults"]
    assert len(faults) >= 2
    line = next(number for number, each in enumerate(text.splitlines(), 1) if "cc = 300" in each)
    assert line in {fault["line"] for fault in faults}
    assert any("bell" in fault["remedy"] for fault in faults)
    assert f"{line}" in run("chart", "check", wrong).out
    said = run("chart", "print", wrong).err
    assert said.count(faults[0]["remedy"]) == 1, "what to do is said once"
    missing = run("chart", "check", tmp_path / "missing.toml", "--json")
    assert (missing.code, missing.answer["ok"]) == (Exit.COULD_NOT, False)


def test_the_schema_of_the_chart_language_accepts_the_shipped_charts(run):
    import tomllib

    schema = json.loads(run("chart", "schema").out)
    jsonschema.Draft202012Validator.check_schema(schema)
    for path in shipped().values():
        jsonschema.validate(tomllib.loads(path.read_text()), schema)
    assert run("chart", "schema", "--json").answer["json_schema"] == schema


@pytest.mark.parametrize("name", ["lanternfish", "fogbell"])
def test_the_whole_job_proves_each_step(library_path, name):
    with Library.open(library_path) as library:
        chart = load(shipped()[name])
        there = world(chart)
        steps = list(whole_job(library, add_stand_in(library, chart), there.line, there.instrument))
        assert [step.name for step in steps if not step.holds] == []
        assert len(steps) == 10
        (compared,) = [step.comparison for step in steps if step.comparison is not None]
        assert {row.parameter for row in compared.different} == {knob.id for knob in three_knobs(chart)}
        assert len(library.versions(1)) == 2


def test_the_whole_job_ends_at_the_step_that_does_not_hold(library_path, monkeypatch):
    with Library.open(library_path) as library:
        chart = load(shipped()["lanternfish"])
        there = world(chart)
        steps = []
        for step in whole_job(library, add_stand_in(library, chart), there.line, there.instrument):
            steps.append(step)
            if step.name == "compare the versions":
                # From now on it takes nothing that is written.
                monkeypatch.setattr(there.instrument, "set_sound", lambda values, now: None)
        assert (steps[-1].name, steps[-1].holds) == ("recall version 1", False)
        assert "47 of 50" in steps[-1].proof


def test_a_knob_that_sends_nothing_is_not_taken_as_turned(library_path):
    with Library.open(library_path) as library:
        chart = load(shipped()["fogbell"])
        there = world(chart, behaviour=Behaviour(send_controllers=False))
        steps = list(whole_job(library, add_stand_in(library, chart), there.line, there.instrument))
        assert (steps[-1].name, steps[-1].holds) == ("turn three knobs", False)


PORTS = (
    *numbered("jack", "out", ["Pit interface 1", "Pit interface 2", "Twin", "Twin"]),
    *numbered("jack", "in", ["Pit interface 1", "Keys"]),
)


@pytest.mark.parametrize(
    ("said", "direction", "port"),
    [
        ("Pit interface 2", "out", Port("jack", "out", "Pit interface 2", 0)),
        ("interface 2", "out", Port("jack", "out", "Pit interface 2", 0)),
        ("jack:out:1:Twin", "out", Port("jack", "out", "Twin", 1)),
        ("keys", "in", Port("jack", "in", "Keys", 0)),
    ],
)
def test_a_port_is_meant_by_fingerprint_name_or_part(said, direction, port):
    assert find_port(said, direction, PORTS, "") == port


@pytest.mark.parametrize(("said", "direction"), [("Pit", "out"), ("Twin", "out"), ("Keys", "out"), ("nothing", "in")])
def test_no_port_is_guessed(said, direction):
    with pytest.raises(BadInput, match=said):
        find_port(said, direction, PORTS, "")


def test_ctrl_c_is_a_wish_first_and_an_end_the_second_time():
    before = signal.getsignal(signal.SIGINT)
    with waiting("Testing") as (cancel, progress):
        progress(Progress(1, 2, "parameters", None))
        signal.raise_signal(signal.SIGINT)
        assert cancel.is_set()
        with pytest.raises(Cancelled):
            cancel.check("Nothing was sent.")
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_a_second_ctrl_c_says_that_nothing_is_known():
    def pressed_twice():
        with waiting("Testing") as (cancel, _):
            signal.raise_signal(signal.SIGINT)
            assert cancel.is_set()
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(Cancelled, match="how far it had got is not known"):
        pressed_twice()


@pytest.mark.parametrize("words", [["find"], ["find", "--json"]])
def test_ctrl_c_while_the_verbs_are_put_together_is_answered_in_a_sentence(words):
    pressed = (
        "import signal, sys, typer.main\n"
        "typer.main.get_command = lambda app: signal.raise_signal(signal.SIGINT)\n"
        "from librarian.__main__ import main\n"
        f"sys.argv = ['librarian', *{words!r}]\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", pressed], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == Exit.CANCELLED
    assert done.stderr == "Ended by Ctrl+C; nothing had begun.\n"
    told = json.loads(done.stdout)["problem"]["kind"] if "--json" in words else done.stdout
    assert told == ("cancelled" if "--json" in words else "")


def test_in_another_thread_ctrl_c_is_left_alone():
    seen = []

    def work():
        with on_interrupt(lambda: None):
            seen.append(signal.getsignal(signal.SIGINT))

    before = signal.getsignal(signal.SIGINT)
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert seen == [before]


def test_a_bar_is_drawn_only_on_a_terminal(monkeypatch, capsys):
    class Terminal:
        def __init__(self):
            self.said = ""

        def isatty(self):
            return True

        def write(self, text):
            self.said += text
            return len(text)

        def flush(self):
            pass

    with waiting("Quiet") as (_, progress):
        progress(Progress(1, 2, "parameters", 3.0))
    assert capsys.readouterr() == ("", "")
    terminal = Terminal()
    monkeypatch.setattr(waiting_module.sys, "stderr", terminal)
    with waiting("Capturing from \x1bX") as (_, progress):
        progress(Progress(31, 52, "parameters", 2.0))
        time.sleep(0.15)
    assert "31/52" in terminal.said
    assert "about 2 s left" in terminal.said
    assert "\\x1bX" in terminal.said
