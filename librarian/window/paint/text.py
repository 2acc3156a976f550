"""Painting text: outside text made harmless, elision, labels that fall back, hits underlined, hairlines."""

from __future__ import annotations

import html
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen

from librarian.window.paint.fonts import SMALL, TINY, Fonts

LEFT = Qt.AlignmentFlag.AlignLeft
RIGHT = Qt.AlignmentFlag.AlignRight
CENTRE = Qt.AlignmentFlag.AlignHCenter
MIDDLE = Qt.TextElideMode.ElideMiddle
END = Qt.TextElideMode.ElideRight
_REPLACED = "\N{REPLACEMENT CHARACTER}"


def one_line(text: str) -> str:
    """Outside text as one line: line breaks and tabs become spaces, control and direction-turning characters \ufffd.

    Zero-width joiners stay: scripts need them.
    """
    if text.isascii() and text.isprintable():
        return text
    made = []
    for letter in text:
        if letter in "\t\n\r\v\f\x85\u2028\u2029":
            made.append(" ")
        elif letter in "\u200c\u200d" or unicodedata.category(letter) not in {"Cc", "Cf", "Cs"}:
            made.append(letter)
        else:
            made.append(_REPLACED)
    return "".join(made)


def plain_tip(text: str) -> str:
    """A tool tip that shows exactly this text. Qt would read a tip that looks like HTML as HTML."""
    return f"<qt>{html.escape(one_line(text), quote=False)}</qt>" if text else ""


def sentence_markup(first: str, rest: str) -> str:
    """Rich text of a sentence whose first clause is bold; both parts are shown as they are, never as HTML."""
    bold = f"<b>{html.escape(one_line(first), quote=False)}</b>" if first else ""
    text = " ".join(part for part in (bold, html.escape(one_line(rest), quote=False)) if part)
    return f'<p style="margin:0; line-height:112%">{text}</p>'


def draw(
    painter: QPainter, rect: QRectF, text: str, colour: QColor, align: Qt.AlignmentFlag = LEFT,
    elide: Qt.TextElideMode | None = END,
) -> None:
    """One line in the painter's font, centred in height, elided to fit; `elide=None` never shortens."""
    shown = text
    if elide is not None:
        shown = QFontMetricsF(painter.font()).elidedText(text, elide, rect.width() + 0.5)
    painter.setPen(colour)
    flags = int(align) | int(Qt.AlignmentFlag.AlignVCenter) | int(Qt.TextFlag.TextSingleLine)
    painter.drawText(rect, flags | int(Qt.TextFlag.TextDontClip), shown)


@dataclass(frozen=True)
class Fit:
    """How a label fits its room: the text to draw, condensed or not, its size, and whether it is less than all."""

    text: str
    condensed: bool
    shortened: bool
    px: float


_EPSILON = 0.5


def fit_label(fonts: Fonts, label: str, short: str, width: float, px: float, *, bold: bool) -> Fit:
    """The label, else the chart's short one, else condensed to 85 %, else elided in the middle."""
    width += _EPSILON
    plain = fonts.metrics(px, bold=bold)
    if plain.horizontalAdvance(label) <= width:
        return Fit(label, condensed=False, shortened=False, px=px)
    brief = short or label
    if plain.horizontalAdvance(brief) <= width:
        return Fit(brief, condensed=False, shortened=brief != label, px=px)
    narrow = fonts.metrics(px, bold=bold, condensed=True)
    if narrow.horizontalAdvance(brief) <= width:
        return Fit(brief, condensed=True, shortened=brief != label, px=px)
    return Fit(narrow.elidedText(brief, MIDDLE, width), condensed=True, shortened=True, px=px)


def fit_value(fonts: Fonts, value: str, short: str, width: float, *, bold: bool) -> Fit:
    """A number or word whole, else condensed, else its short form, else 10 px small; cut only at last, at its end."""
    width += _EPSILON
    for text in dict.fromkeys((value, short or value)):
        for condensed in (False, True):
            if fonts.metrics(SMALL, bold=bold, condensed=condensed).horizontalAdvance(text) <= width:
                return Fit(text, condensed=condensed, shortened=text != value, px=SMALL)
    small = fonts.metrics(TINY, bold=bold, condensed=True)
    text = small.elidedText(short or value, END, width)
    return Fit(text, condensed=True, shortened=text != value, px=TINY)


@dataclass(frozen=True)
class Run:
    """A piece of a line of text in one style."""

    text: str
    bold: bool = False
    underline: bool = False


def runs_of(text: str, hits: Sequence[tuple[int, int]], *, bold: bool = False, bold_hits: bool = False) -> list[Run]:
    """Cut text at its hits, (start, length) each; hits are underlined, and bold where asked. Wrong hits are ignored."""
    made: list[Run] = []
    at = 0
    for start, length in sorted(hits):
        if start < at or length <= 0 or start + length > len(text):
            continue
        if start > at:
            made.append(Run(text[at:start], bold))
        made.append(Run(text[start : start + length], bold or bold_hits, underline=True))
        at = start + length
    if at < len(text):
        made.append(Run(text[at:], bold))
    return made


def width_of(fonts: Fonts, runs: Sequence[Run], px: float) -> float:
    """How wide the runs are together, px."""
    return sum(fonts.metrics(px, bold=run.bold).horizontalAdvance(run.text) for run in runs)


def draw_runs(painter: QPainter, rect: QRectF, fonts: Fonts, runs: Sequence[Run], px: float, colour: QColor) -> float:
    """Runs one after the other from the left, the last that fits elided at its end. Returns the width used."""
    x = rect.left()
    for index, run in enumerate(runs):
        metrics = fonts.metrics(px, bold=run.bold)
        room = rect.right() - x
        wide = metrics.horizontalAdvance(run.text)
        follows = index + 1 < len(runs)
        text = run.text if wide <= room + 0.5 else metrics.elidedText(run.text, END, room)
        if not text:
            break
        painter.setFont(fonts.get(px, bold=run.bold))
        used = metrics.horizontalAdvance(text)
        draw(painter, QRectF(x, rect.top(), used + 2, rect.height()), text, colour, elide=None)
        if run.underline:
            base = rect.center().y() + (metrics.ascent() - metrics.descent()) / 2 + 2.5
            painter.fillRect(QRectF(x, base, used, max(1.0, px / 11)), colour)
        x += used
        if text != run.text or (follows and x >= rect.right()):
            break
    return x - rect.left()


def hairline(painter: QPainter, colour: QColor, x1: float, y1: float, x2: float, y2: float) -> None:
    """A level or upright line of exactly one device pixel, at any scale factor."""
    device = painter.device()
    ratio = device.devicePixelRatioF() if device is not None else 1.0
    thick = 1.0 / ratio
    # Snap to whole device pixels, so that the line is crisp at 125 and 150 % as well.
    left, top = round(x1 * ratio) / ratio, round(y1 * ratio) / ratio
    if y1 == y2:
        painter.fillRect(QRectF(left, top, x2 - x1, thick), colour)
    else:
        painter.fillRect(QRectF(left, top, thick, y2 - y1), colour)


def stroke(colour: QColor, width: float, *, round_cap: bool = False) -> QPen:
    """A solid pen of this width, flat or round at its ends, never cosmetic."""
    pen = QPen(colour, width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap if round_cap else Qt.PenCapStyle.FlatCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin if round_cap else Qt.PenJoinStyle.MiterJoin)
    return pen


def dashed(colour: QColor, width: float, dash: float, gap: float) -> QPen:
    """A dashed pen; dash and gap in px (Qt counts them in pen widths)."""
    pen = QPen(colour, width)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    pen.setDashPattern([dash / width, gap / width])
    return pen


def polar(centre: QPointF, radius: float, degrees: float) -> QPointF:
    """The point at this angle: 0 at three o'clock, growing counter-clockwise, y downwards."""
    turn = radians(degrees)
    return QPointF(centre.x() + radius * cos(turn), centre.y() - radius * sin(turn))
