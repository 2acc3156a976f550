"""The main window at work, as a person sees it: stand-ins on the embedded cable, the real library, the real desk."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QSettings
from pytestqt.qtbot import QtBot

from librarian.chart import Chart, load, loads, shipped
from librarian.collection import Library
from librarian.transfer.connections import Connections
from librarian.window.main import MainWindow
from librarian.window.paint.look import Look
from tests.gui.whole_window import PATIENCE_MS, Desk, close


def recall(desk: Desk, name: str) -> None:
    desk.choose(name)
    desk.press("Ctrl+R")
    desk.wait_for(lambda: desk.window.areas.band.isVisible() or "Recall" in desk.sentence)
    if desk.window.areas.band.isVisible():
        assert "hearing damage is permanent" in desk.window.areas.band.first.said
        desk.window.areas.band.buttons["monitors_down"].click()
    desk.wait_for(lambda: f"Recall of “{name}” is proved" in desk.sentence)


def test_recall_asks_for_the_monitors_once_a_day_and_is_proved_in_the_instrument_itself(desk: Desk):
    recall(desk, "Harbour before the storm")
    assert "50 of 50 sound parameters read back equal" in desk.sentence
    kept = desk.library.version(desk.library.patch(desk.patches["Harbour before the storm"]).latest)
    sound = desk.stand_in("lanternfish").sound
    standing = desk.standing("lanternfish")
    assert {name: sound[name] for name in standing.chart.sound_ids} == dict(kept.values.only(standing.chart.sound_ids))
    recall(desk, "Keeper climbs the stair")
    assert not desk.window.areas.band.isVisible(), "asked twice on one day"


def test_not_now_sends_nothing(desk: Desk):
    desk.choose("Harbour before the storm")
    before = dict(desk.stand_in("lanternfish").sound)
    desk.press("Ctrl+R")
    desk.wait_for(desk.window.areas.band.isVisible)
    desk.press("Escape")
    assert not desk.window.areas.band.isVisible()
    assert desk.stand_in("lanternfish").sound == before
    assert desk.standing("lanternfish").in_it is None


def test_the_whole_job(desk: Desk):
    """Recall, turn three knobs, capture, name, tag, find, compare: exactly those three; recall the first: proved."""
    recall(desk, "Harbour before the storm")
    stand_in, chart = desk.stand_in("lanternfish"), desk.charts["lanternfish"]
    turned = {"filter.cutoff": chart.parameters["filter.cutoff"].high, "filter.resonance": 3, "mixer.noise": 99}
    for parameter, value in turned.items():
        # A knob that waits takes over once it has passed the sounding value: from end to end it certainly has.
        for position in (chart.parameters[parameter].low, chart.parameters[parameter].high, value):
            stand_in.turn(parameter, position, desk.connections.clock.now())
    desk.wait_for(lambda: desk.standing("lanternfish").now == turned)
    assert desk.window.areas.header.state.summary.startswith("3 controls moved")

    desk.press("Ctrl+B")
    desk.wait_for(lambda: "52 of 52 parameters received" in desk.sentence)
    editor = desk.window.areas.header.editor
    desk.wait_for(editor.isVisible, "A fresh capture asks for its name.")
    editor.edit.selectAll()
    desk.qtbot.keyClicks(editor.edit, "Gale warning")
    desk.press("Return", editor.edit)
    desk.wait_for(lambda: desk.window.areas.header.state.a.name == "Gale warning")

    desk.press("Ctrl+G")
    tags = desk.window.editor.tags.edit
    desk.qtbot.keyClicks(tags, "act 2, gale")
    desk.press("Return", tags)
    desk.wait_for(lambda: not desk.window.editor.isVisible())
    search = desk.window.areas.collection.search
    search.take_focus()
    desk.qtbot.keyClicks(search.field.edit, "tag:gale")
    desk.wait_for(lambda: desk.listed == ["Gale warning"])

    desk.window.show_all()
    desk.wait_for(lambda: len(desk.listed) > 100)
    desk.choose("Harbour before the storm")
    desk.press("Ctrl+J")
    desk.click_row("Gale warning")
    desk.wait_for(lambda: desk.window.desk.choice.comparing)
    comparison = desk.window.desk.choice.comparison()
    assert {row.parameter for row in comparison.different} == set(turned)
    shown = desk.window.areas.panel.sheet
    assert shown.counts.differ == 3
    assert [row.label for row in shown.rows("differences", "share")] != []

    desk.press("Escape")
    desk.wait_for(lambda: not desk.window.desk.choice.comparing)
    recall(desk, "Harbour before the storm")
    first = desk.library.version(desk.library.patch(desk.patches["Harbour before the storm"]).latest)
    assert dict(first.values.only(chart.sound_ids)) == {name: stand_in.sound[name] for name in chart.sound_ids}


def test_undo_after_a_recall_brings_back_what_was_in_the_instrument(desk: Desk):
    chart, stand_in = desk.charts["lanternfish"], desk.stand_in("lanternfish")
    before = {name: stand_in.sound[name] for name in chart.sound_ids}
    recall(desk, "Harbour before the storm")
    assert {name: stand_in.sound[name] for name in chart.sound_ids} != before
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: {name: stand_in.sound[name] for name in chart.sound_ids} == before)
    desk.wait_for(lambda: "read back equal" in desk.sentence)


def test_deleting_is_undone_by_a_key_and_the_notice_says_what_went(desk: Desk):
    desk.choose("Foghorn far off")
    desk.window.areas.collection.list.take_focus()
    desk.press("Delete", desk.window.areas.collection.list)
    desk.wait_for(lambda: "Foghorn far off" in desk.notice)
    desk.wait_for(lambda: "Foghorn far off" not in desk.listed)
    desk.press("Ctrl+Z")
    desk.wait_for(lambda: "Foghorn far off" in desk.listed)


def test_a_broken_search_says_where_and_keeps_what_the_rest_finds(desk: Desk):
    search = desk.window.areas.collection.search
    search.take_focus()
    desk.qtbot.keyClicks(search.field.edit, "storm cutuff > 900 Hz")
    desk.wait_for(search.problem_area.isVisible)
    assert "cutuff" in search.problem_area.sentence.said
    desk.wait_for(lambda: len(desk.listed) > 5, "The readable part of the query still finds.")


def test_a_version_chosen_in_the_history_becomes_b(desk: Desk):
    desk.choose("Harbour before the storm")
    versions = desk.library.versions(desk.patches["Harbour before the storm"])
    desk.window.areas.history.chosen.emit(versions[0].id)
    assert desk.window.desk.choice.b.version.id == versions[0].id
    assert desk.window.areas.header.state.b.detail == "version 1"


def test_what_another_program_does_to_the_library_is_seen(desk: Desk):
    with Library.open(desk.library.path) as other:
        other.rename(desk.patches["Foghorn far off"], "Foghorn, very far off")
    desk.wait_for(lambda: "Foghorn, very far off" in desk.listed)


def test_a_sound_of_another_instrument_is_not_laid_beside(desk: Desk):
    desk.choose("Harbour before the storm")
    desk.window.desk.choose_b(desk.patches["Foghorn far off"])
    assert "cannot be laid beside" in desk.window.areas.header.state.summary
    assert not desk.window.areas.panel.sheet.shown.comparing


def test_fogbell_is_captured_by_its_controllers(desk: Desk):
    desk.window.desk.instruments.choose(desk.ids["fogbell"])
    desk.wait_for(lambda: desk.standing("fogbell").ready)
    desk.press("Ctrl+B")
    desk.wait_for(lambda: "22 of 22 parameters received" in desk.sentence)
    desk.wait_for(lambda: desk.window.desk.choice.a is not None)
    kept = desk.window.desk.choice.a
    assert dict(kept.values) == desk.stand_in("fogbell").sound


def test_cancel_ends_a_transfer_and_says_in_which_state(desk: Desk, qtbot: QtBot):
    desk.window.desk.capture(by_hand=True)
    desk.wait_for(lambda: "Listening to" in desk.sentence)
    desk.press("Escape")
    desk.wait_for(lambda: "was cancelled" in desk.sentence)
    assert desk.library.total() == len(desk.patches)


def test_panic_works_at_once_whatever_is_under_way(desk: Desk):
    desk.window.desk.capture(by_hand=True)
    desk.wait_for(lambda: "Listening to" in desk.sentence)
    assert desk.window.areas.chain.panic.isEnabled()
    assert desk.window.desk.instruments.panic() == 2


def test_first_start_offers_the_two_ways_and_the_stand_in_works(qtbot: QtBot, look: Look, tmp_path: Path):
    settings = QSettings(str(tmp_path / "w.ini"), QSettings.Format.IniFormat)
    with Library.open(tmp_path / "new.library") as library, Connections(bytes_per_second=31250) as connections:
        window = MainWindow(look, library, connections, settings)
        qtbot.addWidget(window)
        window.show()
        qtbot.wait_until(lambda: window.areas.page == "first start", timeout=PATIENCE_MS)
        window.areas.first_start.pressed.emit("standin")
        qtbot.wait_until(lambda: library.total() > 100, timeout=PATIENCE_MS)
        qtbot.wait_until(lambda: window.areas.page == "sound", timeout=PATIENCE_MS)
        qtbot.wait_until(
            lambda: any(one.ready for one in window.desk.instruments.standings.values()), timeout=PATIENCE_MS
        )
        close(qtbot, window)


def test_the_traffic_is_read_through_the_chart_and_can_be_held(desk: Desk):
    desk.press("Ctrl+Shift+T")
    desk.wait_for(lambda: desk.window.areas.drawer == "traffic")
    model = desk.window.drawers.traffic.model
    said = lambda: [line.meaning for line in model.lines]  # noqa: E731 - read again at each look
    desk.wait_for(lambda: any("identity reply" in meaning for meaning in said()))
    desk.window.desk.instruments.choose(desk.ids["lanternfish"])
    stand_in = desk.stand_in("lanternfish")
    stand_in.turn("filter.cutoff", 100, desk.connections.clock.now())
    cutoff = desk.charts["lanternfish"].parameters["filter.cutoff"].display(100)
    desk.window.drawers.show_traffic()
    desk.window.drawers.show_traffic()
    desk.wait_for(lambda: f"Cutoff {cutoff}" in said())
    desk.window.drawers.traffic.hold(True)
    before = len(model.lines)
    stand_in.turn("filter.cutoff", 90, desk.connections.clock.now())
    desk.wait_for(lambda: desk.standing("lanternfish").now.get("filter.cutoff") == 90)
    desk.window.drawers.traffic.look_for_more()
    assert len(model.lines) == before
    desk.window.drawers.traffic.hold(False)
    desk.wait_for(lambda: len(model.lines) > before)
    desk.press("Escape")
    desk.wait_for(lambda: desk.window.areas.drawer == "")


def test_the_panel_leads_the_hand_back_to_the_stored_sound(desk: Desk):
    desk.choose("Harbour before the storm")
    desk.press("Ctrl+T")
    header = desk.window.areas.header
    desk.wait_for(lambda: "50 not heard yet" in header.state.summary)
    chart, stand_in = desk.charts["lanternfish"], desk.stand_in("lanternfish")
    wanted = desk.window.desk.choice.a.values
    stand_in.turn("filter.cutoff", chart.parameters["filter.cutoff"].high, desk.connections.clock.now())
    desk.wait_for(lambda: header.state.summary.startswith("0 agree · 1 to turn"))
    assert desk.window.areas.panel.sheet.cells["filter.cutoff"].value == "left"
    for name in chart.sound_ids:
        stand_in.turn(name, wanted[name], desk.connections.clock.now())
    desk.wait_for(lambda: header.state.summary.startswith("All 50 agree"))
    desk.press("Escape")
    desk.wait_for(lambda: not desk.window.desk.choice.turning)


def test_every_button_that_the_chain_can_show_does_something(desk: Desk):
    """Names of the buttons of all the states against the commands of the window."""
    import inspect

    from librarian.window.chain import facts, transfers, troubles
    from librarian.window.header import state
    from librarian.window.parts.spec import ButtonSpec

    names = set()
    for module in (facts, transfers, troubles, state):
        text = inspect.getsource(module)
        names |= {piece.split('"')[1] for piece in text.split("ButtonSpec(")[1:] if piece.startswith('"')}
        names |= {spec.name for spec in vars(module).values() if isinstance(spec, ButtonSpec)}
    dead = {name for name in names if name not in desk.window.commands.names}
    # Only offered with the reason why it cannot be pressed.
    assert dead <= {"bring_up", "use_instrument", "keep"}


def next_revision(chart: str, changes: str) -> Chart:
    """A shipped chart as its builder would write it further."""
    text = shipped()[chart].read_text(encoding="utf-8")
    number = load(shipped()[chart]).revision
    raised = text.replace(f"\nrevision = {number}\n", f"\nrevision = {number + 1}\n")
    return loads(f"{raised}\n[[history]]\nnumber = {number + 1}\nchanges = [{changes}]\n")


def test_a_sound_of_an_earlier_chart_is_compared_and_carried_over_before_it_is_recalled(desk: Desk):
    chart, older, other = next_revision("lanternfish", ""), "Harbour before the storm", "Keeper climbs the stair"
    before = desk.library.versions(desk.patches[older])
    desk.library.update_instrument(desk.ids["lanternfish"], chart=chart)
    desk.window.desk.changed_by_us()
    desk.wait_for(lambda: desk.standing("lanternfish").ready and desk.standing("lanternfish").chart.revision == 5)
    desk.choose(older)
    recall_it = desk.window.commands.act["recall"]
    assert not recall_it.isEnabled()
    assert "kept with revision 4 of the chart, and Lanternfish uses revision 5. Carry it over" in recall_it.toolTip()
    desk.window.commands.run("carry")
    desk.settle()
    assert "“Harbour before the storm” is carried over" in desk.notice
    desk.wait_for(recall_it.isEnabled, recall_it.toolTip())
    now = desk.library.versions(desk.patches[older])
    assert [each.origin.kind for each in now] == [*(each.origin.kind for each in before), "carried"]
    desk.window.desk.choose_b(desk.patches[older], before[-1].id)
    assert desk.window.areas.panel.sheet.counts.differ == 0, "its version before, as the later chart explains it"
    desk.window.desk.choose_b(desk.patches[other])
    assert desk.window.areas.panel.sheet.counts.differ > 0
    desk.window.desk.swap()
    assert desk.window.desk.choice.odd == ""
    desk.window.desk.end_compare()
    desk.choose(older)
    desk.window.commands.run("carry")
    desk.settle()
    assert "Nothing was carried over" in desk.notice


def test_a_chart_that_was_written_further_under_the_same_number_is_taken_anew(desk: Desk):
    row = desk.standing("lanternfish").row
    text = shipped()["lanternfish"].read_text(encoding="utf-8").replace('label = "Cutoff"', 'label = "Brightness"')
    desk.library.update_instrument(row.id, chart=loads(text))
    desk.window.desk.changed_by_us()
    desk.choose("Harbour before the storm")
    assert desk.window.areas.panel.sheet.cells["filter.cutoff"].label == "Brightness"
    assert desk.standing("lanternfish").chart.parameters["filter.cutoff"].label == "Brightness"


def test_controls_that_were_moved_before_the_cable_went_are_kept(desk: Desk):
    instruments, lanternfish = desk.window.desk.instruments, desk.ids["lanternfish"]
    instruments.choose(lanternfish)
    count = desk.library.total()
    desk.capture_one_control_by_hand()
    desk.pull_cable(lanternfish)
    desk.wait_for(lambda: desk.library.total() == count + 1)
    desk.wait_for(lambda: "What was heard before is kept: 1 of 52 parameters." in desk.notice, desk.notice)
    desk.settle()
    assert set(desk.window.desk.choice.a.values) == {"filter.resonance"}
