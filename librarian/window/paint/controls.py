"""One control of a sound, painted: the sheet's circle with a line in it, and every mark it may carry.

A plain function of painter, box, state and palette: window, printed sheet and delegates all call it. Positions are
shares of the range, 0 to 1. Angle of a share v: 225 - 270 v degrees, so musicians' clock positions hold (half past
seven, twelve, half past four). Under 28 px a range strip is drawn instead (`paint_strip`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPainterPath

from librarian.window.paint import marks
from librarian.window.paint.palette import Palette, with_alpha
from librarian.window.paint.strip import StripState, paint_strip
from librarian.window.paint.text import dashed, polar, stroke

Kind = Literal["continuous", "bipolar", "stepped", "switch"]
SMALLEST, LARGEST, MANY_STEPS = 28, 60, 12
SECTOR_OPACITY = 0.22


@dataclass(frozen=True)
class ControlState:
    """Where one control stands. None for a share is unknown (`a`), unknown or absent (`b`), not heard (`now`).

    `steps`: number of positions, 0 when continuous. `centre`: where a bipolar control has its notch. `comparing`: a
    second sound is shown; `b_missing`: it does not know this control; `differs`: both are known and not equal.
    `turn`: to be turned towards the stored value. `agrees`: knob and stored value are one. `not_heard`: the knob has
    not moved yet. `left_alone`: not the guide's business (a setup parameter).
    """

    kind: Kind = "continuous"
    steps: int = 0
    a: float | None = None
    b: float | None = None
    now: float | None = None
    centre: float = 0.5
    comparing: bool = False
    b_missing: bool = False
    differs: bool = False
    turn: bool = False
    agrees: bool = False
    changed: bool = False
    setup: bool = False
    locked: bool = False
    not_heard: bool = False
    left_alone: bool = False

    @property
    def dotted(self) -> bool:
        """True when every position has its dot instead of an arc."""
        return self.kind in {"stepped", "bipolar"} and 0 < self.steps <= MANY_STEPS

    @property
    def notched(self) -> bool:
        """True when the middle is marked: bipolar controls."""
        return self.kind == "bipolar"

    @property
    def quiet(self) -> bool:
        """True when hand and scale are thin and in ring colour: equal, not comparable, or agreeing."""
        return (self.comparing and not self.differs) or self.agrees or self.not_heard or self.left_alone

    @property
    def unknown_corner(self) -> bool:
        """True when the small unknown mark stands at the corner: the second sound or the panel is not known."""
        return self.a is not None and (self.b_missing or self.not_heard)


@dataclass(frozen=True)
class Strokes:
    """Widths and mark sizes for a control of diameter d, px; none ever below its floor."""

    hand: float
    quiet_hand: float
    scale: float
    arc: float
    bipolar: float
    bead: float
    triangle: float
    diamond: float
    z: float
    r: float

    @classmethod
    def at(cls, d: float) -> Strokes:
        """For diameter d: in proportion to 36 px up to 60 px, beyond that growing slowly."""
        z = d / 36 if d <= LARGEST else 1.67 * (d / LARGEST) ** 0.35
        return cls(
            hand=max(2.4, 3 * z),
            quiet_hand=max(1.8, 2 * z),
            scale=max(1.25, 1.3 * z),
            arc=max(2.6, 3 * z),
            bipolar=max(1.8, 2.2 * z),
            bead=max(3.8, 3.8 * z),
            triangle=max(4.0, 4 * z),
            diamond=max(3.6, 3.6 * z),
            z=z,
            r=d / 2 - max(4.2, 0.135 * d),
        )


def angle(share: float) -> float:
    """Degrees of a share of the range, counter-clockwise from three o'clock."""
    return 225.0 - 270.0 * min(1.0, max(0.0, share))


def paint_control(painter: QPainter, box: QRectF, state: ControlState, palette: Palette) -> None:
    """Draw the control centred in `box`; its diameter is the smaller side. Marks may stand up to 0.7 d off centre."""
    d = min(box.width(), box.height())
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if d < SMALLEST:
        paint_strip(painter, box, StripState(a=state.a, b=state.b, now=state.now), palette)
    elif state.kind == "switch":
        _Switch(painter, box.center(), d, state, palette).paint()
    else:
        _Dial(painter, box.center(), d, state, palette).paint()
    painter.restore()


class _Drawing:
    """What dials and switches share: strokes, colours, corner marks."""

    def __init__(self, painter: QPainter, centre: QPointF, d: float, state: ControlState, palette: Palette) -> None:
        self.painter, self.c, self.d, self.state, self.palette = painter, centre, d, state, palette
        self.s = Strokes.at(d)
        self.hand_colour = palette.ring if state.quiet else palette.ink
        self.hand_width = self.s.quiet_hand if state.quiet else self.s.hand

    def no_brush(self) -> None:
        self.painter.setBrush(Qt.BrushStyle.NoBrush)

    def beside(self, x: float, y: float) -> QPointF:
        """A point at these shares of the diameter off the centre."""
        reach = min(self.d, LARGEST) if self.d <= LARGEST else self.d * 0.75
        return QPointF(self.c.x() + x * reach, self.c.y() + y * reach)

    def corner_marks(self) -> None:
        if self.state.changed:
            marks.diamond(self.painter, self.beside(0.62, -0.48), self.s.diamond, self.palette.live)
        if self.state.unknown_corner:
            at = self.beside(0.52, 0.37) if self.state.not_heard else self.beside(0.66, -0.36)
            marks.unknown(self.painter, at, max(6.0, 6 * self.s.z**0.5), self.palette.ink2)
        if self.state.agrees:
            marks.tick(self.painter, self.beside(0.47, 0.37), max(5.0, 5 * self.s.z**0.7), self.palette.ink)

    def question(self, share: float) -> None:
        marks.letter(self.painter, self.c, self.d * share, "?", self.palette.ink2)


class _Dial(_Drawing):
    def paint(self) -> None:
        state = self.state
        r = self.s.r
        self.arc_box = QRectF(self.c.x() - r, self.c.y() - r, 2 * r, 2 * r)
        if state.a is None:
            self._unknown_scale()
        else:
            self._sector()
            self._scale()
            self._notch()
            self._arcs()
            self._hand(state.a)
        if state.b is not None and (state.differs or (state.comparing and state.a is None)):
            self._bead(state.b)
        if state.now is not None:
            at = angle(state.now)
            tip_gap = 0.5 * self.s.z + self.s.triangle * 0.8
            marks.triangle(self.painter, polar(self.c, r + tip_gap, at), self.s.triangle, self.palette.live, at + 180)
        if state.locked:
            marks.padlock(self.painter, self.beside(0.0, 0.32), max(4.4, 4.6 * self.s.z), self.palette.ink2)
        self.corner_marks()

    def _unknown_scale(self) -> None:
        self.no_brush()
        self.painter.setPen(dashed(self.palette.ring, self.s.scale, 2.4 * self.s.z, 2.4 * self.s.z))
        if self.state.setup:
            self.painter.drawRect(self.arc_box)
        else:
            self.painter.drawArc(self.arc_box, -45 * 16, 270 * 16)
        self.question(0.39)

    def _scale(self) -> None:
        self.no_brush()
        pen = stroke(self.palette.ring, self.s.scale)
        self.painter.setPen(pen)
        if self.state.setup:
            self.painter.drawRoundedRect(self.arc_box, 2, 2)
        elif not self.state.dotted:
            self.painter.drawArc(self.arc_box, -45 * 16, 270 * 16)
            for end in (225.0, -45.0):
                self.painter.drawLine(
                    polar(self.c, self.s.r - self.s.scale / 2, end), polar(self.c, self.s.r + 2.6 * self.s.z, end)
                )
        if self.state.dotted:
            self.painter.setPen(Qt.PenStyle.NoPen)
            self.painter.setBrush(self.palette.ring)
            size = max(1.5, 1.6 * self.s.z)
            last = max(1, self.state.steps - 1)
            for step in range(self.state.steps):
                self.painter.drawEllipse(polar(self.c, self.s.r, angle(step / last)), size, size)
            self.no_brush()

    def _notch(self) -> None:
        if not self.state.notched:
            return
        at = angle(self.state.centre)
        self.painter.setPen(stroke(self.hand_colour, max(1.8, 2 * self.s.z)))
        self.painter.drawLine(
            polar(self.c, self.s.r - 3.5 * self.s.z, at), polar(self.c, self.s.r + 4.2 * self.s.z, at)
        )

    def _arc(self, first: float, second: float) -> None:
        start, end = angle(first), angle(second)
        self.painter.drawArc(self.arc_box, round(min(start, end) * 16), round(abs(end - start) * 16))

    def _sector(self) -> None:
        state = self.state
        if state.a is None or state.b is None or not state.differs:
            return
        start, end = angle(state.a), angle(state.b)
        path = QPainterPath(self.c)
        path.arcTo(self.arc_box, start, end - start)
        path.closeSubpath()
        self.painter.fillPath(path, with_alpha(self.palette.b, SECTOR_OPACITY))

    def _arcs(self) -> None:
        state = self.state
        self.no_brush()
        if state.a is None:
            return
        if state.notched and not state.differs and not state.turn:
            self.painter.setPen(stroke(self.hand_colour, self.s.bipolar))
            self._arc(state.centre, state.a)
        if state.differs and state.b is not None:
            self.painter.setPen(stroke(self.palette.b, self.s.arc))
            self._arc(state.a, state.b)
        elif state.turn and state.now is not None:
            self.painter.setPen(stroke(self.palette.live, self.s.arc))
            self._arc(state.a, state.now)

    def _hand(self, share: float) -> None:
        at = angle(share)
        self.painter.setPen(stroke(self.hand_colour, self.hand_width, round_cap=True))
        # The round caps are part of the hand's length.
        cap = self.hand_width / 2
        self.painter.drawLine(
            polar(self.c, 0.12 * self.s.r + cap * 0.5, at), polar(self.c, self.s.r - cap * 0.3, at)
        )
        if self.state.dotted:
            marks.disc(self.painter, polar(self.c, self.s.r, at), max(2.6, 3 * self.s.z), self.hand_colour)

    def _bead(self, share: float) -> None:
        fill = self.palette.b_tint if self.state.differs else self.palette.sheet
        marks.ring(
            self.painter, polar(self.c, self.s.r, angle(share)), self.s.bead, self.palette.b, fill,
            max(1.9, 1.9 * self.s.z**0.7),
        )


class _Switch(_Drawing):
    def paint(self) -> None:
        state, s = self.state, self.s
        wide, high = 0.42 * self.d, 0.79 * self.d
        self.slot = QRectF(self.c.x() - wide / 2, self.c.y() - high / 2, wide, high)
        self.no_brush()
        if state.setup:
            around = self.slot.adjusted(-0.22 * self.d, -0.08 * self.d, 0.22 * self.d, 0.08 * self.d)
            self.painter.setPen(stroke(self.palette.ring, s.scale))
            self.painter.drawRoundedRect(around, 2, 2)
        inner = self.slot.adjusted(s.scale / 2, s.scale / 2, -s.scale / 2, -s.scale / 2)
        radius = 3.2 * s.z
        if state.a is None:
            self.painter.setPen(dashed(self.palette.ring, s.scale, 2.4 * s.z, 2.0 * s.z))
            self.painter.drawRoundedRect(inner, radius, radius)
            self._question_beside_bead()
        else:
            border = stroke(self.palette.b, s.arc * 0.8) if state.differs else stroke(self.palette.ring, s.scale)
            self.painter.setPen(border)
            self.painter.drawRoundedRect(inner, radius, radius)
            self.painter.setPen(Qt.PenStyle.NoPen)
            self.painter.setBrush(self.hand_colour)
            self.painter.drawRoundedRect(self._cell(state.a), s.z, s.z)
        if state.b is not None and (state.differs or (state.comparing and state.a is None)):
            size = min(s.bead, self._cell(state.b).height() / 2)
            marks.ring(self.painter, self._cell(state.b).center(), size, self.palette.b, width=max(1.6, 1.7 * s.z))
        if state.now is not None:
            at = QPointF(self.slot.right() + s.z + s.triangle * 0.8, self._cell(state.now).center().y())
            marks.triangle(self.painter, at, s.triangle, self.palette.live, 180)
        if state.locked:
            marks.padlock(self.painter, self.beside(-0.39, 0.28), max(4.0, 4.2 * s.z), self.palette.ink2)
        self.corner_marks()

    def _question_beside_bead(self) -> None:
        """In the middle, or in the cell farthest from B's bead."""
        if self.state.b is None or not self.state.comparing:
            self.question(0.34)
        else:
            far = self._cell(0.0 if self.state.b > 0.5 else 1.0)
            marks.letter(self.painter, far.center(), min(self.d * 0.34, far.height() * 1.1), "?", self.palette.ink2)

    def _cell(self, share: float) -> QRectF:
        """The cell of a position; the lowest value is the lowest cell."""
        count = max(2, self.state.steps)
        inset = 2.7 * self.s.z
        room = self.slot.adjusted(inset, inset, -inset, -inset)
        gap = 1.2 * self.s.z
        high = (room.height() - gap * (count - 1)) / count
        index = min(count - 1, max(0, round(share * (count - 1))))
        return QRectF(room.left(), room.bottom() - high - index * (high + gap), room.width(), high)
