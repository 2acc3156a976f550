"""What a recall replaces is kept and can be had back: cancelled, broken off, of two at once, played since."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Event

import pytest

from librarian.chart import load
from librarian.collection import Library
from librarian.messages import Values, Version
from librarian.transfer.connections import add_stand_in
from librarian.window.desk import desk as desks
from librarian.window.desk import recalls
from librarian.wire.claim import Claim
from tests.gui.whole_window import Desk

STORM, STAIR = "Harbour before the storm", "Keeper climbs the stair"
TAG = 'tag:"before a recall"'


def recall(desk: Desk, name: str) -> None:
    desk.choose(name)
    desk.window.commands.run("recall")
    if desk.window.areas.band.isVisible():
        desk.window.areas.band.buttons["monitors_down"].click()


def proved(desk: Desk, name: str) -> None:
    recall(desk, name)
    desk.wait_for(lambda: f"Recall of “{name}” is proved" in desk.sentence)


def of(desk: Desk, chart: str) -> str:
    """The name of a demo sound of this instrument."""
    ids = desk.library.find(instrument=desk.ids[chart]).ids
    return next(name for name, patch in desk.patches.items() if patch in ids)


def sound(desk: Desk, chart: str) -> dict[str, int]:
    held = desk.stand_in(chart).sound
    return {name: held[name] for name in desk.charts[chart].sound_ids}


def kept(desk: Desk) -> list[dict[str, int]]:
    ids = desk.charts["lanternfish"].sound_ids
    rows = desk.library.rows(desk.library.find(TAG).ids)
    return [dict(desk.library.version(row.latest).values.only(ids)) for row in rows]


@pytest.fixture
def after_keeping(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[int], object]], None]:
    """Have something happen once, on the line's thread, when what was there has been kept and nothing was sent yet."""

    def plan(happen: Callable[[int], object]) -> None:
        plain, waiting = recalls.keep_what_was_there, [happen]

        def keep(library, instrument, chart, before: Version, over: str, *, with_setup: bool) -> None:
            plain(library, instrument, chart, before, over, with_setup=with_setup)
            if waiting:
                waiting.pop()(instrument)

        monkeypatch.setattr(recalls, "keep_what_was_there", keep)

    return plan


def test_what_was_played_since_a_recall_is_kept_before_the_recall_is_undone(desk: Desk) -> None:
    first = sound(desk, "lanternfish")
    proved(desk, STORM)
    desk.stand_in("lanternfish").turn("filter.resonance", 0, desk.connections.clock.now())
    for value in (100, 50):  # a knob that waits takes over once it has passed the sounding value
        desk.stand_in("lanternfish").turn("filter.resonance", value, desk.connections.clock.now())
    played = sound(desk, "lanternfish")
    desk.wait_for(lambda: "filter.resonance" in desk.standing("lanternfish").now)
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence and "is proved" in desk.sentence)
    assert sound(desk, "lanternfish") == first
    assert kept(desk) == [first, played] or kept(desk) == [played, first]


def test_a_sound_that_is_kept_is_not_kept_again_because_the_setup_differs(desk: Desk) -> None:
    proved(desk, STORM)
    count = desk.library.total()
    stand_in = desk.stand_in("lanternfish")
    setup = desk.charts["lanternfish"].setup_ids[0]
    other = desk.charts["lanternfish"].parameters[setup]
    value = other.low if stand_in.sound[setup] != other.low else other.high
    stand_in.set_sound({**stand_in.sound, setup: value}, desk.connections.clock.now())
    proved(desk, STAIR)
    assert desk.library.total() == count


def test_a_cancelled_recall_can_be_undone(desk: Desk, after_keeping) -> None:
    first = sound(desk, "lanternfish")
    after_keeping(desk.window.desk.instruments.cancel)
    recall(desk, STORM)
    desk.wait_for(lambda: "cancelled" in desk.sentence)
    assert desk.window.commands.act["undo_recall"].isEnabled()
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence and "is proved" in desk.sentence)
    assert sound(desk, "lanternfish") == first


def test_an_undo_that_breaks_off_can_be_tried_again(desk: Desk, after_keeping) -> None:
    first = sound(desk, "lanternfish")
    proved(desk, STORM)
    after_keeping(desk.window.desk.instruments.cancel)
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "cancelled" in desk.sentence)
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence and "is proved" in desk.sentence)
    assert sound(desk, "lanternfish") == first


def test_a_recall_that_lost_its_cable_is_told_when_the_cable_is_back(desk: Desk, after_keeping) -> None:
    after_keeping(desk.pull_cable)
    recall(desk, STORM)
    desk.wait_for(lambda: "is gone" in desk.notice, desk.notice)
    desk.wait_for(lambda: "answered" in desk.sentence)
    assert desk.notice.startswith(f"Recall of “{STORM}” was broken off. The embedded cable is gone.")
    assert "Nothing was sent" in desk.notice


def test_of_two_recalls_at_once_each_keeps_what_its_own_instrument_held(desk: Desk) -> None:
    """The second begins while the first is under way; undo brings back the sound of the one that ended last."""
    other = of(desk, "fogbell")
    first = {name: sound(desk, name) for name in desk.ids}
    lanternfish, fogbell = (desk.ids[name] for name in ("lanternfish", "fogbell"))
    proved(desk, other)  # answers the caution, which is asked for each instrument
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence)
    desk.wait_for(lambda: not desk.window.desk.instruments.busy(fogbell))
    first["fogbell"] = sound(desk, "fogbell")
    ended: list[int] = []
    desk.window.desk.instruments.recalled.connect(lambda instrument, *_: ended.append(instrument))
    recall(desk, STORM)
    recall(desk, other)
    desk.wait_for(lambda: sorted(ended) == sorted([lanternfish, fogbell]))
    last = desk.window.desk.recalls.last
    assert last is not None
    chart = next(name for name, number in desk.ids.items() if number == ended[-1])
    assert last.instrument == ended[-1]
    assert dict(last.content.values.only(desk.charts[chart].sound_ids)) == first[chart]


def test_a_new_version_stays_one_while_another_instrument_does_not_answer(desk: Desk) -> None:
    desk.choose(STORM)
    inner = desk.window.desk
    count, versions = desk.library.total(), len(desk.library.versions(desk.patches[STORM]))
    inner.capture(as_version_of_a=True)
    inner.instruments.failed.emit(desk.ids["fogbell"], "identify", ValueError("it did not answer"))
    desk.wait_for(lambda: len(desk.library.versions(desk.patches[STORM])) == versions + 1)
    desk.settle()
    assert desk.library.total() == count


def test_an_instrument_that_cannot_be_read_is_told_once(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desks, "can_be_read", lambda _line: False)
    told = []
    desk.window.desk.told.connect(lambda one: told.append(one.sentence))
    proved(desk, STORM)
    proved(desk, STAIR)
    assert told.count("Lanternfish cannot be read: what is in it now is not kept.") == 1


def test_of_a_recall_that_is_refused_only_the_refusal_is_said(desk: Desk) -> None:
    """An instrument with a memory and nothing else: what is in it is not replaced, so nothing is said of it."""
    chart = load(Path(__file__).parents[1] / "data" / "charts" / "culvert.toml")
    inner = desk.window.desk
    number = add_stand_in(desk.library, chart)
    values = Values({name: one.low for name, one in chart.parameters.items()})
    patch = desk.library.keep(number, "In its memory", Version(chart.id, chart.revision, values))
    inner.changed_by_us()
    desk.wait_for(lambda: inner.instruments.standings[number].ready)
    told: list[str] = []
    inner.told.connect(lambda one: told.append(one.sentence))
    inner.choose_a(patch)
    inner.recall()
    desk.wait_for(lambda: "only into its memory" in desk.sentence)
    assert told == []


def test_a_conversation_with_another_instrument_than_the_chain_shows_ends_with_a_sentence(
    desk: Desk, after_keeping
) -> None:
    instruments = desk.window.desk.instruments
    after_keeping(desk.pull_cable)
    recall(desk, STORM)
    instruments.choose(desk.ids["fogbell"])
    desk.wait_for(lambda: f"Recall of “{STORM}” was broken off." in desk.notice, desk.notice)


def test_an_instrument_that_another_program_held_is_asked_again(desk: Desk, tmp_path: Path) -> None:
    """The sentence that it is busy is true only until that program is done."""
    instruments, lanternfish = desk.window.desk.instruments, desk.ids["lanternfish"]
    instruments.choose(lanternfish)
    line = instruments.line(lanternfish)
    assert line is not None
    line.claim = Claim("the same instrument", tmp_path)
    with Claim("the same instrument", tmp_path).held("backup"):
        instruments.capture(lanternfish)
        desk.wait_for(lambda: "is busy: backup is under way" in desk.sentence)
        assert desk.standing("lanternfish").to_be_asked_again
        instruments.ask_the_silent()
        desk.wait_for(lambda: not instruments.busy(lanternfish))
        desk.settle()
        assert "is busy: backup is under way" in desk.sentence
    instruments.ask_the_silent()
    desk.wait_for(lambda: "answered" in desk.sentence)
    assert not desk.standing("lanternfish").to_be_asked_again


@pytest.mark.parametrize("change", ["removed", "other ports"])
def test_a_conversation_that_a_change_of_its_instrument_ends_is_told(desk: Desk, change: str) -> None:
    """As when a terminal removes the instrument, or gives it other ports, while its memory is being read."""
    lanternfish, inner = desk.ids["lanternfish"], desk.window.desk
    ended: list[Exception] = []

    def reading(_line, cancel, _progress) -> None:
        while True:
            cancel.check("9 of 64 programs were read and kept.")
            Event().wait(0.01)

    inner.instruments.converse(lanternfish, "backup", "", reading, lambda _: None, ended.append)
    desk.wait_for(lambda: desk.standing("lanternfish").transfer == "backup")
    with Library.open(desk.library.path) as terminal:
        if change == "removed":
            terminal.remove_instrument(lanternfish)
        else:
            terminal.update_instrument(lanternfish, output="jack:out:0:elsewhere", input="jack:in:0:elsewhere")
    desk.wait_for(lambda: "9 of 64 programs were read and kept." in desk.notice, desk.notice)
    assert desk.notice.startswith("Reading the memory was broken off. Its ports or its chart were changed, or it was")
    assert len(ended) == 1


def test_a_recall_that_is_asked_for_twice_is_had_once_and_undone_to_what_was_there(desk: Desk) -> None:
    proved(desk, STAIR)  # the caution is answered
    before, recalled = sound(desk, "lanternfish"), []
    desk.window.desk.instruments.recalled.connect(lambda *_: recalled.append(True))
    desk.choose(STORM)
    for _ in range(3):
        desk.window.commands.run("recall")
    assert desk.notice == "Another transfer is under way."
    desk.wait_for(lambda: f"Recall of “{STORM}” is proved" in desk.sentence)
    desk.wait_for(lambda: not desk.window.desk.instruments.busy(desk.ids["lanternfish"]))
    desk.settle()
    assert len(recalled) == 1
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "what was there before" in desk.sentence and "is proved" in desk.sentence)
    assert sound(desk, "lanternfish") == before


@pytest.mark.parametrize(("command", "more"), [("capture", 1), ("compare_instrument", 0)])
def test_a_key_that_is_hit_twice_asks_once(desk: Desk, command: str, more: int) -> None:
    desk.choose(STORM)
    count, started = desk.library.total(), []
    link = desk.window.desk.instruments._links[desk.ids["lanternfish"]]
    link.started.connect(started.append)
    desk.window.commands.run(command)
    desk.window.commands.run(command)
    desk.wait_for(lambda: desk.library.total() == count + more and bool(started))
    desk.wait_for(lambda: not desk.window.desk.instruments.busy(desk.ids["lanternfish"]))
    desk.settle()
    assert len(started) == 1
    assert desk.library.total() == count + more


def test_a_backup_that_is_asked_for_twice_ends_once(desk: Desk) -> None:
    lanternfish, inner = desk.ids["lanternfish"], desk.window.desk
    ended: list[object] = []
    for _ in range(2):
        inner.instruments.converse(
            lanternfish, "backup", "", lambda _line, _cancel, _progress: "read", ended.append, ended.append
        )
    desk.wait_for(lambda: bool(ended) and not inner.instruments.busy(lanternfish))
    desk.settle()
    assert ended == ["read"]
