"""Marks and controls are told apart by shape alone, at every size, and say what they are meant to say."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from librarian.window.paint.controls import ControlState, Strokes, angle, paint_control
from librarian.window.paint.marks import MARKS, draw_mark
from librarian.window.paint.palette import DARK, LIGHT, Palette
from librarian.window.paint.strip import StripState, paint_strip

pytestmark = pytest.mark.usefixtures("qapp")
KINDS = {
    "continuous": ControlState("continuous", 0, a=0.38),
    "bipolar": ControlState("bipolar", 201, a=0.71),
    "stepped": ControlState("stepped", 4, a=1 / 3),
    "stepped bipolar": ControlState("bipolar", 5, a=0.25),
    "switch": ControlState("switch", 2, a=1.0),
}


def grey(image: QImage) -> np.ndarray:
    """Brightness 0 to 255 of every pixel, seen without colour."""
    image = image.convertToFormat(QImage.Format.Format_Grayscale8)
    lines = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return lines[:, : image.width()].astype(int)


def canvas(width: int, height: int, palette: Palette) -> QImage:
    image = QImage(width, height, QImage.Format.Format_RGB32)
    image.fill(palette.sheet)
    return image


def control(state: ControlState, d: int = 36, palette: Palette = LIGHT) -> np.ndarray:
    image = canvas(2 * d, 2 * d, palette)
    painter = QPainter(image)
    paint_control(painter, QRectF(d / 2, d / 2, d, d), state, palette)
    painter.end()
    return grey(image)


def ink(picture: np.ndarray, palette: Palette = LIGHT) -> np.ndarray:
    """Where something was drawn."""
    return np.abs(picture - picture[0, 0]) > 40


def different_share(one: np.ndarray, other: np.ndarray) -> float:
    """Pixels that differ clearly, as a share of those that are drawn in either."""
    drawn = ink(one) | ink(other)
    return float((np.abs(one - other)[drawn] > 60).mean())


def mark_picture(mark: str, palette: Palette, size: float = 6) -> np.ndarray:
    """One mark in plain ink: nothing but its shape is left."""
    black = QColor("black") if not palette.dark else QColor("white")
    plain = replace(palette, ink=black, ink2=black, ring=black, b=black, live=black, broken=black)
    image = canvas(20, 20, palette)
    painter = QPainter(image)
    draw_mark(painter, mark, QPointF(10, 10), size, plain)  # type: ignore[arg-type]
    painter.end()
    return grey(image)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_two_marks_differ_by_shape(palette):
    pictures = {mark: mark_picture(mark, palette) for mark in MARKS}
    for one, other in combinations(MARKS, 2):
        assert different_share(pictures[one], pictures[other]) > 0.25, f"{one} looks like {other}"


@pytest.mark.parametrize("mark", MARKS)
def test_every_mark_is_drawn_around_its_point(mark):
    drawn = np.argwhere(ink(mark_picture(mark, LIGHT)))
    assert len(drawn) > 12
    middle = (drawn.min(axis=0) + drawn.max(axis=0)) / 2
    assert np.abs(middle - 9.5).max() <= 1.6


@pytest.mark.parametrize("d", [28, 36, 60])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_kinds_of_control_are_told_apart_without_their_labels(d, share):
    """At either end and in the middle, where hands of all kinds point the same way (steps of 4 have no middle)."""
    same_place = {name: replace(state, a=share) for name, state in KINDS.items() if name != "stepped" or share != 0.5}
    for one, other in combinations(same_place, 2):
        changed = np.abs(control(same_place[one], d) - control(same_place[other], d)) > 40
        # The least there is: at twelve a bipolar control shows itself by the notch above its scale alone.
        assert changed.sum() >= 5, f"{one} looks like {other} at {share}, {d} px"


@pytest.mark.parametrize("d", [28, 36, 60])
@pytest.mark.parametrize("kind", KINDS)
def test_every_state_of_a_control_looks_different_without_colour(kind, d):
    base = KINDS[kind]
    away = 0.0 if kind == "switch" else 0.9
    states = {
        "stored": base,
        "differs": replace(base, b=away, comparing=True, differs=True),
        "equal": replace(base, b=base.a, comparing=True),
        "panel": replace(base, now=away),
        "B unknown": replace(base, comparing=True, b_missing=True),
        "unknown": replace(base, a=None),
        "setup": replace(base, setup=True),
        "locked": replace(base, locked=True),
        "changed": replace(base, now=away, changed=True),
        "agrees": replace(base, agrees=True),
    }
    pictures = {name: control(state, d) for name, state in states.items()}
    for one, other in combinations(states, 2):
        changed = int((np.abs(pictures[one] - pictures[other]) > 40).sum())
        assert changed >= d / 3, f"{kind} at {d} px: {one} looks like {other} ({changed} px)"


@pytest.mark.parametrize("kind", KINDS)
def test_unknown_is_never_drawn_as_a_position(kind):
    """No hand at half past seven, none at twelve: nothing solid reaches from the middle to the scale."""
    unknown = control(replace(KINDS[kind], a=None), 60)
    for share in (0.0, 0.5, 1.0):
        shown = control(replace(KINDS[kind], a=share), 60)
        assert different_share(unknown, shown) > 0.3


@pytest.mark.parametrize(("share", "degrees"), [(0.0, 225.0), (0.5, 90.0), (1.0, -45.0), (-1.0, 225.0), (2.0, -45.0)])
def test_hands_point_as_musicians_say(share, degrees):
    """Half past seven, twelve, half past four; outside the range it stops at the end."""
    assert angle(share) == degrees


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_the_hand_is_where_the_value_is(share):
    picture = control(ControlState("continuous", a=share), 60)
    middle, r = 59.5, Strokes.at(60).r
    turn = np.radians(angle(share))
    x, y = middle + r * 0.6 * np.cos(turn), middle - r * 0.6 * np.sin(turn)
    assert picture[round(y), round(x)] < 90
    opposite = picture[round(2 * middle - y), round(2 * middle - x)]
    assert opposite > 200


def test_strokes_never_fall_below_their_floors():
    smallest = Strokes.at(28)
    assert (smallest.hand, smallest.quiet_hand, smallest.scale) == (2.4, 1.8, 1.25)
    assert (smallest.arc, smallest.bead, smallest.triangle, smallest.diamond) == (2.6, 3.8, 4.0, 3.6)
    usual = Strokes.at(36)
    assert usual.r == pytest.approx(18 - 0.135 * 36)
    assert usual.hand == 3
    assert Strokes.at(120).z == pytest.approx(1.67 * 2**0.35)


def test_the_lowest_cell_of_a_switch_is_its_lowest_position():
    low = ink(control(ControlState("switch", 2, a=0.0), 60))
    high = ink(control(ControlState("switch", 2, a=1.0), 60))
    assert low[60:, :].sum() > high[60:, :].sum() * 1.5


def test_under_28_px_a_range_strip_is_drawn():
    state = ControlState("continuous", a=0.25)
    image = canvas(80, 24, LIGHT)
    painter = QPainter(image)
    paint_control(painter, QRectF(0, 0, 80, 24), state, LIGHT)
    painter.end()
    strip = canvas(80, 24, LIGHT)
    painter = QPainter(strip)
    paint_strip(painter, QRectF(0, 0, 80, 24), StripState(a=0.25), LIGHT)
    painter.end()
    assert image == strip


def test_the_strip_shows_a_b_the_bar_between_and_the_panel_below():
    def strip(state: StripState) -> np.ndarray:
        image = canvas(220, 24, LIGHT)
        painter = QPainter(image)
        paint_strip(painter, QRectF(0, 0, 220, 24), state, LIGHT)
        painter.end()
        return grey(image)

    a = strip(StripState(a=0.25))
    assert a[8:17, 54:60].mean() < 120
    both = strip(StripState(a=0.25, b=0.75, differs=True))
    assert both[11:14, 80:140].mean() < 140
    assert both[12, 161] > 200
    heard = strip(StripState(a=0.25, now=0.75))
    assert ink(heard)[16:22, 155:170].sum() > 10
    assert ink(a)[16:22, 155:170].sum() == 0
    unknown = strip(StripState())
    assert 0 < ink(unknown)[11:14].sum() < ink(a)[11:14].sum()
