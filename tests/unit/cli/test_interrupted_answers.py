"""Ctrl+C after a conversation has ended and before its result is told: the result is told."""

from __future__ import annotations

import json
import signal

import pytest

from librarian.cli import connect, here
from librarian.cli.exits import Exit
from librarian.cli.verbs import banks, bankwrite, conversation, recalling
from librarian.collection.memories import Memories
from librarian.transfer.connections import Connections

CAPTURE = ("capture", "Harbour", "--embedded")
RECALL = ("recall", "Harbour", "--embedded", "--json")
STORE = ("bank", "store", "Harbour", "5", "--embedded")


pytestmark = pytest.mark.usefixtures("unit")


@pytest.fixture(autouse=True)
def _handler_is_as_before():
    others = signal.signal(signal.SIGINT, signal.default_int_handler)  # as in a process of its own
    yield
    assert signal.signal(signal.SIGINT, others) is signal.default_int_handler


def presses(monkeypatch, place, door, times=1, after=False):
    """Ctrl+C is pressed each time that this is called, before it does its work, or after."""
    plain = getattr(place, door)

    def pressed(*given, **named):
        found = plain(*given, **named) if after else None
        for _ in range(times):
            signal.raise_signal(signal.SIGINT)
        return found if after else plain(*given, **named)

    monkeypatch.setattr(place, door, pressed)


@pytest.mark.parametrize("where", [
    (recalling, "compared_answer"), (recalling, "patch_answer"), (here, "print_json"), (recalling, "state_exit"),
])  # fmt: skip
def test_what_a_recall_came_to_is_told(run, monkeypatch, where):
    run(*CAPTURE)
    presses(monkeypatch, *where)
    done = run(*RECALL)
    assert (done.code, done.answer["state"]) == (Exit.OK, "arrived")
    assert done.err == "Ending as soon as the result is told.\n"


def test_what_a_backup_came_to_is_told_and_it_is_no_interrupted_one(run, monkeypatch):
    presses(monkeypatch, Memories, "end")
    done = run("bank", "backup", "Few", "--embedded", "--programs", "1..2", "--json")
    assert (done.code, done.answer["memory"]["complete"]) == (Exit.OK, True)
    assert done.answer["memory"]["kept"] == 2


def test_a_wish_while_the_ports_are_closed_changes_nothing_and_another_one_after_it_neither(run, monkeypatch):
    run(*CAPTURE)
    presses(monkeypatch, Connections, "__exit__", after=True)
    presses(monkeypatch, recalling, "compared_answer")
    done = run(*RECALL)
    assert (done.code, done.answer["state"]) == (Exit.OK, "arrived")


def test_two_presses_while_the_ports_are_closed_tell_what_had_come_of_it(run, monkeypatch):
    run(*CAPTURE)
    presses(monkeypatch, Connections, "__exit__", times=2)
    ended = run(*RECALL)
    assert ended.code == Exit.CANCELLED
    assert ended.answer["problem"]["sentence"] == (
        "Ended at once by Ctrl+C. Before that: 50 of 50 sound parameters read back equal."
    )


def test_two_presses_after_it_end_the_program_before_the_answer(run, monkeypatch):
    run(*CAPTURE)
    presses(monkeypatch, recalling, "compared_answer", times=2)
    ended = run(*RECALL)
    assert ended.code == Exit.CANCELLED
    assert ended.answer["problem"]["sentence"].startswith("Ended by Ctrl+C before the answer was given")


def test_a_press_between_reading_and_writing_is_no_yes(run, monkeypatch, unit):
    run(*CAPTURE)
    held = dict(unit["lanternfish"].memory[4].values)
    plain, began = bankwrite.waiting, []

    def waits(what):
        began.append(what)
        if len(began) == 2:
            signal.raise_signal(signal.SIGINT)
        return plain(what)

    monkeypatch.setattr(bankwrite, "waiting", waits)
    written = run(*STORE, "--yes")
    assert written.code == Exit.CANCELLED
    assert dict(unit["lanternfish"].memory[4].values) == held


def test_a_press_before_a_question_answers_it(run, monkeypatch, unit, answers_of_a_person):
    run(*CAPTURE)
    held = dict(unit["lanternfish"].memory[4].values)
    answers_of_a_person("y\n")
    presses(monkeypatch, bankwrite, "_question")
    declined = run(*STORE)
    assert declined.code == Exit.CANCELLED
    assert "Nothing was written; Lanternfish is as it was." in declined.err
    assert dict(unit["lanternfish"].memory[4].values) == held


def test_a_press_before_the_conversation_begins_is_its_cancel(run, monkeypatch, unit):
    run(*CAPTURE)
    presses(monkeypatch, connect, "chart_of_instrument")
    assert run(*RECALL).code == Exit.CANCELLED


def test_after_the_answer_no_second_object_is_printed(run, monkeypatch):
    run(*CAPTURE)
    presses(monkeypatch, recalling, "state_exit", times=2)
    done = run(*RECALL)
    assert done.code == Exit.CANCELLED
    assert json.loads(done.out)["state"] == "arrived"
    assert "Ended by Ctrl+C after the answer was given." in done.err


def test_a_verb_without_a_conversation_ends_at_once(run, monkeypatch):
    run(*CAPTURE)
    presses(monkeypatch, banks, "find_backup")
    ended = run("bank", "show", "last")
    assert ended.code == Exit.CANCELLED
    assert "before the answer was given" in ended.err


def test_a_capture_is_told(run, monkeypatch):
    presses(monkeypatch, conversation, "sound_answer")
    done = run(*CAPTURE, "--json")
    assert (done.code, done.answer["complete"]) == (Exit.OK, True)
