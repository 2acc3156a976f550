"""Painting the chain: computer, plugs, strands, plate, box, breaks and the leader to the sentence."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath

from librarian.window.chain.geometry import Geometry
from librarian.window.chain.state import ChainState, Plate, Strand
from librarian.window.paint import marks
from librarian.window.paint.fonts import BODY, SMALL, Fonts
from librarian.window.paint.palette import Palette
from librarian.window.paint.text import dashed, draw, one_line, polar, stroke

THIN, THICK, BREAK = 2.0, 6.0, 4.0
PLUG, LABEL_GAP = 7.5, 16
PLATE_GAP, PLATE_HEIGHT = 8, 34
TRIANGLES, TRIANGLE_STEP = 3, 11
NAME = 14


class ChainPainter:
    """Draws one state. `phase` (0 to 1): how far the byte triangles have moved; 0.5 at rest."""

    def __init__(
        self, painter: QPainter, geometry: Geometry, state: ChainState, palette: Palette, fonts: Fonts,
        phase: float = 0.5,
    ) -> None:
        self.p, self.g, self.state, self.palette, self.fonts, self.phase = (
            painter, geometry, state, palette, fonts, phase,
        )

    def paint(self) -> None:
        """The whole chain except its sentence and buttons, and the bytes on their way."""
        self.p.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._computer()
        plate = self._plate_rect()
        self._strand(self.state.out, self.g.out_y, plate, outwards=True)
        self._strand(self.state.back, self.g.back_y, plate, outwards=False)
        if self.state.out.course == "returning":
            self._loop()
        self._box()
        self._plugs()
        self._labels(plate)
        if self.state.plate is not None and plate is not None:
            self._plate(self.state.plate, plate)
        self._leader()

    def paint_bytes(self) -> None:
        """The byte triangles of both strands, on top of the rest."""
        self.p.setRenderHint(QPainter.RenderHint.Antialiasing)
        plate = self._plate_rect()
        for strand, y, outwards in ((self.state.out, self.g.out_y, True), (self.state.back, self.g.back_y, False)):
            if strand.course == "whole" and strand.moving and not strand.thick and not strand.foreign:
                self._bytes(plate, self.g.box.left() - PLUG, y, outwards=outwards)

    # -- the two ends

    def _computer(self) -> None:
        k, palette = self.g.k, self.palette
        screen = QRectF(16, 17 * k, 34, 24 * k)
        faint = self.state.computer.dashed
        self.p.setBrush(Qt.BrushStyle.NoBrush)
        self.p.setPen(dashed(palette.ring, THIN, 5, 4) if faint else stroke(palette.ink, THIN))
        self.p.drawRoundedRect(screen, 3, 3)
        self.p.setPen(stroke(palette.ring if faint else palette.ink, THIN))
        foot = screen.bottom() + 6
        self.p.drawLine(QPointF(33, screen.bottom() + 1), QPointF(33, foot))
        self.p.drawLine(QPointF(27, foot), QPointF(39, foot))
        room = self.g.plug_x - PLUG - 60 - 8
        self.p.setFont(self.fonts.get(BODY, bold=True))
        draw(self.p, QRectF(60, 12 * k, room, 17 * k), one_line(self.state.computer.name),
             palette.ink2 if faint else palette.ink)
        self.p.setFont(self.fonts.get(SMALL))
        draw(self.p, QRectF(60, 29 * k, room, 16 * k), one_line(self.state.computer.detail), palette.ink2)

    def _box(self) -> None:
        box, palette, shown = self.g.box, self.palette, self.state.box
        k = self.g.k
        faint = shown.outline == "dashed"
        self.p.setBrush(palette.sheet)
        if faint:
            self.p.setPen(dashed(palette.ring, THIN, 6, 4))
        else:
            self.p.setPen(stroke(palette.broken if shown.outline == "broken" else palette.ink, THIN))
        self.p.drawRoundedRect(box.adjusted(1, 1, -1, -1), 5, 5)
        left, right = box.left() + 26, box.right() - 12
        if shown.place:
            right = self._place(shown.place, right)
        self.p.setFont(self.fonts.get(NAME, bold=True))
        draw(self.p, QRectF(left, box.top() + 4 * k, right - left - 8, 19 * k), one_line(shown.name),
             palette.ink2 if faint else palette.ink)
        self.p.setFont(self.fonts.get(SMALL))
        draw(self.p, QRectF(left, box.top() + 24 * k, box.right() - 12 - left, 16 * k), one_line(shown.detail),
             palette.ink2)

    def _place(self, place: str, right: float) -> float:
        """"1 of 2" with a drawn triangle; the others' worst mark before it. Returns where the name has to end."""
        metrics = self.fonts.metrics(SMALL)
        wide = metrics.horizontalAdvance(place)
        y = self.g.box.top() + 14 * self.g.k
        marks.triangle(self.p, QPointF(right - 4, y + 0.5), 3.8, self.palette.ink2, 270)
        x = right - 12 - wide
        self.p.setFont(self.fonts.get(SMALL))
        draw(self.p, QRectF(x, y - 8 * self.g.k, wide + 2, 16 * self.g.k), place, self.palette.ink2, elide=None)
        if self.state.box.others:
            marks.draw_mark(self.p, self.state.box.others, QPointF(x - 10, y), 5.5, self.palette)
            return x - 18
        return x

    def _plugs(self) -> None:
        for strand, y in ((self.state.out, self.g.out_y), (self.state.back, self.g.back_y)):
            if strand.plug:
                self._plug(QPointF(self.g.plug_x, y), faint=False)
            if strand.course != "absent":
                self._plug(QPointF(self.g.box.left(), y), faint=self._plug_faint(strand))

    def _plug_faint(self, strand: Strand) -> bool:
        return strand.course in {"dotted", "broken at instrument", "broken at computer"} or (
            self.state.box.outline == "dashed" and strand.course == "whole"
            and self.state.plate is None
        )

    def _plug(self, at: QPointF, *, faint: bool) -> None:
        palette = self.palette
        self.p.setBrush(palette.sheet)
        if faint:
            self.p.setPen(dashed(palette.ring, 1.6, 4, 3))
            self.p.drawEllipse(at, PLUG - 0.8, PLUG - 0.8)
            return
        self.p.setPen(stroke(palette.ink, 1.7))
        self.p.drawEllipse(at, PLUG - 0.8, PLUG - 0.8)
        self.p.setPen(Qt.PenStyle.NoPen)
        self.p.setBrush(palette.ink)
        for pin in (180, 225, 270, 315, 360):
            self.p.drawEllipse(polar(at, 4.1, pin), 0.85, 0.85)

    # -- the cable

    def _line(self, x1: float, x2: float, y: float, width: float = THIN) -> None:
        if x2 > x1:
            self.p.setPen(stroke(self.palette.ink, width))
            self.p.drawLine(QPointF(x1, y), QPointF(x2, y))

    def _dotted(self, x1: float, x2: float, y: float) -> None:
        self.p.setPen(dashed(self.palette.ring, 1.6, 5, 5))
        self.p.drawLine(QPointF(x1, y), QPointF(x2, y))

    def _bent(self, x: float, y: float) -> None:
        """Two ends bent apart around x."""
        self.p.setPen(stroke(self.palette.broken, BREAK, round_cap=True))
        self.p.drawLine(QPointF(x - 16, y), QPointF(x - 7, y - 7))
        self.p.drawLine(QPointF(x + 7, y + 7), QPointF(x + 16, y + 1))

    def _strand(self, strand: Strand, y: float, plate: QRectF | None, *, outwards: bool) -> None:
        left, right = self.g.plug_x + PLUG, self.g.box.left() - PLUG
        if strand.course == "absent":
            return
        if strand.course == "dotted":
            self._dotted(left + (6 if strand.plug else 0), right, y)
        elif strand.course == "broken at instrument":
            gap = self.g.gap_x
            self._line(left, gap - 16, y)
            self._bent(gap, y)
            self._dotted(gap + 18, right, y)
        elif strand.course == "broken at computer":
            gap = self.g.near_gap_x
            self._line(left, gap - 16, y)
            self._bent(gap, y)
            self._dotted(gap + 18, right, y)
        elif strand.course == "returning":
            self._line(left, self.g.loop_x, y)
            self._dotted(self.g.loop_x + 26, right, y)
        else:
            self._whole(strand, left, right, y, plate, outwards=outwards)

    def _whole(
        self, strand: Strand, left: float, right: float, y: float, plate: QRectF | None, *, outwards: bool
    ) -> None:
        if plate is None:
            self._line(left, right, y)
        else:
            thick_left, thick_right = strand.thick and outwards, strand.thick and not outwards
            self._line(left, plate.left() - PLATE_GAP, y, THICK if thick_left else THIN)
            self._line(plate.right() + PLATE_GAP, right, y, THICK if thick_right else THIN)
        if strand.foreign:
            start, end = left + (right - left) * 0.62, right - 20
            x = start
            while x < end:
                marks.diamond(self.p, QPointF(x, y), 4.6, self.palette.live)
                x += 60

    def _bytes(self, plate: QRectF | None, right: float, y: float, *, outwards: bool) -> None:
        """Three triangles between plate and box, in the direction of travel, moved along by the phase."""
        start = (plate.right() if plate is not None else self.g.plate_centre.x()) + PLATE_GAP + 12
        room = right - 12 - start - TRIANGLE_STEP * TRIANGLES
        if room <= 0:
            return
        travelled = self.phase if outwards else 1 - self.phase
        first = start + room * (travelled if self.phase != 0.5 else 0.62)
        for index in range(TRIANGLES):
            at = QPointF(first + index * TRIANGLE_STEP, y)
            marks.triangle(self.p, at, 4.8, self.palette.live, 0 if outwards else 180)

    def _loop(self) -> None:
        x, top, bottom = self.g.loop_x, self.g.out_y, self.g.back_y
        size = bottom - top
        path = QPainterPath(QPointF(x, top))
        path.arcTo(QRectF(x - size / 2, top, size, size), 90, -180)
        self.p.setBrush(Qt.BrushStyle.NoBrush)
        self.p.setPen(stroke(self.palette.broken, BREAK))
        self.p.drawPath(path)
        self.p.drawLine(QPointF(x - 8, bottom), QPointF(x + 0.5, bottom))
        marks.triangle(self.p, QPointF(x - 12, bottom), 7.5, self.palette.broken, 180)

    def _labels(self, plate: QRectF | None) -> None:
        """Port and rate beside the plugs; where the strand breaks at the computer they stand behind the break."""
        metrics = self.fonts.metrics(SMALL)
        shifted = "broken at computer" in {self.state.out.course, self.state.back.course}
        x = self.g.plug_x + (92 if shifted else LABEL_GAP)
        end = (plate.left() if plate is not None else self.g.gap_x) - 12
        for word, strand, y in (
            ("out", self.state.out, self.g.out_text_y), ("in", self.state.back, self.g.back_text_y),
        ):
            if strand.course in {"absent", "dotted"} and not strand.port:
                continue
            rest = f"   {strand.remark}" if strand.remark else ""
            name = metrics.elidedText(
                one_line(strand.port), Qt.TextElideMode.ElideMiddle,
                max(60.0, end - x - metrics.horizontalAdvance(f"{word}  {rest}")),
            )
            self.p.setFont(self.fonts.get(SMALL))
            draw(self.p, QRectF(x, y - 8 * self.g.k, max(10.0, end - x), 16 * self.g.k), f"{word}  {name}{rest}",
                 self.palette.ink2)

    # -- the plate and the fault

    def _plate_rect(self) -> QRectF | None:
        if self.state.plate is None:
            return None
        wide = 36 + self.fonts.metrics(BODY, bold=True).horizontalAdvance(one_line(self.state.plate.text)) + 15
        room = self.g.box.left() - self.g.plug_x - 200
        wide = min(wide, max(120.0, room))
        centre = self.g.plate_centre
        high = PLATE_HEIGHT * self.g.k
        return QRectF(round(centre.x() - wide / 2), centre.y() - high / 2, round(wide), high)

    def _plate(self, plate: Plate, rect: QRectF) -> None:
        colour: QColor = self.palette.broken if plate.broken else self.palette.ink
        self.p.setPen(stroke(colour, THIN))
        self.p.setBrush(self.palette.sheet)
        self.p.drawRoundedRect(rect.adjusted(1, 1, -1, -1), 4, 4)
        middle = rect.center().y() - (2 if plate.share is not None else 0)
        if plate.mark:
            marks.draw_mark(self.p, plate.mark, QPointF(rect.left() + 19, middle), 6.6, self.palette)
        self.p.setFont(self.fonts.get(BODY, bold=True))
        draw(self.p, QRectF(rect.left() + 36, middle - 10 * self.g.k, rect.width() - 36 - 8, 20 * self.g.k),
             one_line(plate.text), colour)
        if plate.share is not None:
            bar = QRectF(rect.left() + 2, rect.bottom() - 6, rect.width() - 4, 4)
            self.p.fillRect(bar, self.palette.line)
            self.p.fillRect(QRectF(bar.left(), bar.top(), bar.width() * plate.share, bar.height()), colour)

    def _leader(self) -> None:
        x = self.g.leader_x(self.state)
        if x is None or self.sentence_left is None:
            return
        y = 61 * self.g.k
        bar = self.sentence_left - 10
        self.p.setPen(stroke(self.palette.broken, THIN))
        self.p.drawLine(QPointF(x, y - 7), QPointF(x, y + 1))
        self.p.drawLine(QPointF(bar, y), QPointF(x, y))
        self.p.setPen(stroke(self.palette.broken, 3))
        self.p.drawLine(QPointF(bar, y - 1), QPointF(bar, self.sentence_bottom))

    sentence_left: float | None = None
    sentence_bottom: float = 93.0
