"""One sheet of facts: panel, table, header and legend tell the same numbers; unknown is never a value."""

from __future__ import annotations

from dataclasses import replace

import pytest

from librarian.window.shown.cells import centre_of, is_off
from librarian.window.shown.sheet import Sheet
from librarian.window.shown.spoken import spoken
from librarian.window.shown.state import Shown
from tests.gui import demo

CHART = demo.lanternfish()
ONE = Sheet(CHART, demo.one_sound(CHART))
TWO = Sheet(CHART, demo.two_sounds(CHART))
UNKNOWN = Sheet(CHART, demo.with_unknowns(CHART))
GUIDE = Sheet(CHART, demo.guided(CHART))


def test_five_places_one_number():
    counts = TWO.counts
    assert counts.differ == 10
    assert sum(number for _, number in counts.differ_by_section) == counts.differ
    assert dict(TWO.scopes())["differences"] == counts.differ
    assert len(TWO.rows("differences", "share")) == counts.differ
    assert sum(cell.plate == "differs" for cell in TWO.cells.values()) == counts.differ
    assert TWO.summary() == "10 of 50 differ · 38 equal · 2 cannot be compared · setup left out"
    assert counts.differ + counts.equal + counts.unclear == counts.counted == 50


def test_a_difference_in_setup_alone_counts_nowhere():
    a = demo.harbour(CHART)
    b = a | {"v_transpose": 3}
    sheet = Sheet(CHART, Shown(a=a, b=b, comparison=demo.compared(CHART, a, b)))
    assert sheet.counts.differ == 0
    assert sheet.cells["v_transpose"].plate == ""
    assert sheet.cells["v_transpose"].control.quiet


def test_unknown_is_a_word_and_a_mark_never_a_position():
    for name in ("o1_drift", "mod_touch"):
        cell = UNKNOWN.cells[name]
        assert cell.value == "unknown"
        assert cell.control.a is None
        assert cell.spoken_name.endswith("unknown, never received")
    assert UNKNOWN.counts.unknown == 2
    assert UNKNOWN.scopes()[0] == ("unknown", 2)
    rows = UNKNOWN.rows("unknown", "panel")
    assert [row.id for row in rows] == ["o1_drift", "mod_touch"]
    assert all(row.second.startswith("not moved during the capture") and row.a == "unknown" for row in rows)


def test_without_a_sound_everything_is_unknown_and_nothing_is_claimed():
    empty = Sheet(CHART, Shown())
    assert all(cell.control.a is None for cell in empty.cells.values())
    assert empty.summary() == ""
    assert empty.marks_in_use() == ("unknown", "setup")


def test_differences_stand_by_share_then_in_panel_order():
    rows = TWO.rows("differences", "share")
    assert [row.weight for row in rows] == sorted((row.weight for row in rows), reverse=True)
    stepped = [row.id for row in rows if row.weight == 1.0]
    assert stepped == [name for name in CHART.parameters if name in stepped], "equal shares keep the panel's order"
    assert {row.difference for row in rows if row.weight == 1.0} == {"differs"}


def test_what_cannot_be_compared_comes_last_and_says_so():
    rows = TWO.rows("all", "share")
    assert len(rows) == 52
    assert {row.id for row in rows[-2:]} == {"o1_drift", "mod_touch"}
    assert all(row.difference == "cannot compare" and row.second == "unknown" for row in rows[-2:])


def test_the_table_agrees_with_the_panel():
    for sheet, scope in ((ONE, "changed"), (TWO, "differences"), (UNKNOWN, "unknown")):
        for row in sheet.rows(scope, "panel"):
            control = sheet.cells[row.id].control
            assert row.strip.a == control.a
            if scope == "changed":
                assert row.strip.now == control.now


def test_values_of_a_differing_control_are_signed_or_named():
    assert TWO.cells["mix_noise"].value == "+52 %"
    assert TWO.cells["f_env_depth"].value == "−82 %"
    assert TWO.cells["o2_wave"].value == "pulse"
    assert TWO.cells["o1_drift"].value == "B unknown"
    assert TWO.cells["o1_wave"].value == "saw"


def test_the_panel_now_is_shown_only_when_heard_and_off_by_more_than_a_step():
    a = demo.harbour(CHART)
    near = Sheet(CHART, Shown(a=a, now={"f_cutoff": a["f_cutoff"] + 8, "mix_noise": a["mix_noise"] + 1}))
    assert near.counts.changed == 0
    assert near.cells["f_cutoff"].control.now is None
    off = Sheet(CHART, Shown(a=a, now={"f_cutoff": a["f_cutoff"] + 9, "mix_noise": a["mix_noise"] + 2,
                                       "o2_wave": a["o2_wave"] + 1, "o2_interval": a["o2_interval"] - 1}))
    assert off.counts.changed == 4
    assert is_off(CHART.parameters["o2_wave"], 1, 2)
    assert ONE.summary(since="19:42") == "3 controls moved since 19:42"


def test_a_silent_panel_is_told_and_not_shown():
    assert UNKNOWN.summary(silent_since="19:46").startswith("Panel not heard since 19:46")


def test_spoken_names_say_everything_that_is_drawn():
    cell = Sheet(CHART, replace(demo.one_sound(CHART), locked=frozenset({"f_cutoff"}))).cells["f_cutoff"]
    assert cell.spoken_name == ("Filter, Cutoff, A 3.1 kilohertz, panel now 3.6 kilohertz, changed, locked")
    assert TWO.cells["mix_noise"].spoken_name == (
        "Mixer, Noise, A 6 percent, B 58 percent, differs by plus 52 percent")
    assert TWO.cells["o1_drift"].spoken_name.endswith("B unknown, never received")
    assert TWO.cells["v_transpose"].spoken_name.endswith("setup, left out")


@pytest.mark.parametrize(("text", "words"), [
    ("642 Hz", "642 hertz"), ("+7 st", "plus 7 semitones"), ("−3 ct", "minus 3 cents"), ("saw", "saw"),
    ("1.1 s", "1.1 seconds"), ("−1", "minus 1"), ("50 %", "50 percent"), ("s", "s"), ("", ""), ("3 stars", "3 stars"),
])
def test_units_are_spoken(text, words):
    assert spoken(text) == words


def test_the_guide_says_where_to_turn():
    cells = GUIDE.cells
    turning = {name for name, cell in cells.items() if cell.plate == "turn"}
    assert turning == {"o1_drift", "o2_pw_mod", "f_cutoff", "f_env_depth", "mix_noise"}
    assert cells["f_cutoff"].value == "right"
    assert cells["o1_drift"].value == "left"
    assert cells["o1_wave"].control.agrees
    assert cells["v_volume"].value == "move it"
    assert cells["v_transpose"].value == "setup"


def test_a_bipolar_control_has_its_notch_at_its_zero():
    assert centre_of(CHART.parameters["f_env_depth"]) == 0.5
    skewed = demo.knob("f", "Skew", kind="bipolar", low=-10, high=30, unit="", bottom=-10, top=30)
    assert centre_of(skewed) == 0.25
    raw = demo.knob("f", "Raw", kind="bipolar", low=0, high=128, unit="", bottom=-64, top=64)
    assert centre_of(raw) == 0.5


def test_the_legend_has_just_the_marks_in_use():
    assert ONE.marks_in_use() == ("A", "panel", "changed", "locked", "setup")
    assert TWO.marks_in_use() == ("A", "B", "unknown", "setup")
    assert UNKNOWN.marks_in_use() == ("A", "unknown", "locked", "setup")


def test_a_second_sound_needs_its_comparison():
    with pytest.raises(ValueError, match="come together"):
        Shown(a={}, b={})
