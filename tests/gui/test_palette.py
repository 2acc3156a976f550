"""The colours keep their promises: contrast of text and marks, distance for the colour-blind, dimmed, high contrast."""

from __future__ import annotations

from itertools import combinations

import pytest
from PySide6.QtGui import QColor, QPalette

from librarian.window.paint.look import Look
from librarian.window.paint.palette import DARK, LIGHT, Palette, dimmed, high_contrast, qt_palette
from tests.gui.colour_science import BLINDNESS, ciede2000, contrast, lab, seen_by

GROUNDS = ("ground", "sheet", "well", "select", "b_tint", "live_tint", "broken_tint")
TEXTS = ("ink", "ink2", "b", "live", "broken")
MARKS = ("ink", "ring", "b", "live", "broken")
# The table of the window's design, one row for each colour, columns as GROUNDS.
MEASURED = {
    "light": {
        "ink": (13.9, 16.5, 15.2, 12.9, 13.7, 14.5, 13.9), "ink2": (6.2, 7.4, 6.8, 5.8, 6.1, 6.5, 6.2),
        "b": (5.6, 6.7, 6.1, 5.2, 5.5, 5.9, 5.6), "live": (4.9, 5.8, 5.4, 4.6, 4.8, 5.1, 4.9),
        "broken": (9.2, 10.9, 10.0, 8.5, 9.0, 9.6, 9.1), "ring": (3.4, 4.1, 3.7, 3.2, 3.4, 3.6, 3.4),
    },
    "dark": {
        "ink": (16.0, 14.6, 15.3, 10.1, 11.4, 11.5, 12.1), "ink2": (8.7, 8.0, 8.3, 5.5, 6.2, 6.2, 6.6),
        "b": (10.1, 9.2, 9.7, 6.4, 7.2, 7.2, 7.6), "live": (12.5, 11.4, 12.0, 7.9, 8.9, 9.0, 9.4),
        "broken": (8.2, 7.6, 7.9, 5.2, 5.9, 5.9, 6.2), "ring": (5.0, 4.6, 4.8, 3.2, 3.6, 3.6, 3.8),
    },
}
PALETTES = {"light": LIGHT, "dark": DARK}


def colour(palette: Palette, name: str) -> QColor:
    made = getattr(palette, name)
    assert isinstance(made, QColor)
    return made


@pytest.mark.parametrize("theme", PALETTES)
def test_contrast_is_what_the_design_measured(theme):
    for name, row in MEASURED[theme].items():
        for ground, wanted in zip(GROUNDS, row, strict=True):
            found = contrast(colour(PALETTES[theme], name), colour(PALETTES[theme], ground))
            assert found == pytest.approx(wanted, abs=0.06), f"{theme}: {name} on {ground}"


@pytest.mark.parametrize("theme", PALETTES)
def test_text_and_marks_stand_out_enough(theme):
    """WCAG 2.2, 1.4.3 (text 4.5) and 1.4.11 (graphics 3)."""
    palette = PALETTES[theme]
    for ground in GROUNDS:
        for name in TEXTS:
            assert contrast(colour(palette, name), colour(palette, ground)) >= 4.5, f"{theme}: {name} on {ground}"
        for name in MARKS:
            assert contrast(colour(palette, name), colour(palette, ground)) >= 3, f"{theme}: {name} on {ground}"


@pytest.mark.parametrize(("one", "other", "wanted"), [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((22.7233, 20.0904, -46.6940), (23.0331, 14.9730, -42.5619), 2.0373),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
])
def test_colour_difference_is_the_published_one(one, other, wanted):
    """Sharma, Wu, Dalal 2005, table 1 (pairs 1, 17, 16, 31, 34)."""
    assert ciede2000(one, other) == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize(("theme", "smallest"), [("light", 16.7), ("dark", 14.1)])
def test_colours_stay_apart_for_the_colour_blind(theme, smallest):
    found = min(
        ciede2000(lab(seen_by(colour(PALETTES[theme], one), kind)), lab(seen_by(colour(PALETTES[theme], other), kind)))
        for kind in BLINDNESS if kind != "full colour"
        for one, other in combinations(MARKS, 2)
    )
    assert found >= 12
    assert found == pytest.approx(smallest, abs=0.1)


def test_a_dimmed_room_can_still_be_read():
    palette = dimmed(DARK)
    assert contrast(palette.ink, palette.sheet) == pytest.approx(9.7, abs=0.06)
    for name in TEXTS:
        assert contrast(colour(palette, name), palette.sheet) >= 5.25, name
    assert contrast(palette.ink, palette.select) == pytest.approx(7.1, abs=0.5)
    assert contrast(palette.ink, palette.select) > contrast(palette.ink2, palette.select)


def test_high_contrast_takes_the_platforms_colours_and_no_tints(qapp):
    system = QPalette()
    system.setColor(QPalette.ColorRole.Window, QColor("black"))
    system.setColor(QPalette.ColorRole.WindowText, QColor("white"))
    system.setColor(QPalette.ColorRole.Highlight, QColor("#1AEBFF"))
    palette = high_contrast(system)
    assert not palette.tints
    assert palette.dark
    assert palette.ink == QColor("white")
    assert palette.b == QColor("#1AEBFF")
    assert {colour(palette, ground).name() for ground in GROUNDS} == {"#000000"}


def test_what_qt_paints_itself_wears_the_same_colours(qapp):
    made = qt_palette(DARK)
    assert made.color(QPalette.ColorRole.Window) == DARK.ground
    assert made.color(QPalette.ColorRole.Text) == DARK.ink
    assert made.color(QPalette.ColorRole.Base) == DARK.sheet


def test_choosing_a_look_tells_everybody_once(qtbot, look: Look):
    with qtbot.waitSignal(look.changed):
        look.choose("dark")
    assert look.palette == DARK
    with qtbot.assertNotEmitted(look.changed):
        look.choose("dark")
    look.choose("light")
    look.on_stage(on=True)
    assert look.palette == DARK
    look.on_stage(on=False)
    assert look.palette == LIGHT
    look.dim(on=True)
    assert look.palette == dimmed(LIGHT)


def test_small_text_is_never_smaller_than_promised(look: Look):
    """A system with tiny text does not make labels tiny; one with large text enlarges all."""
    look.set_base(9)
    assert look.fonts.get(11).pixelSize() == 11
    look.set_base(18)
    assert look.fonts.get(11).pixelSize() == round(11 * 18 / 13)
    assert look.fonts.room(44) == round(44 * 18 / 13)
