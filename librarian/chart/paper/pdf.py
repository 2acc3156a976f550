"""The paper chart as a PDF on A4, written by ReportLab; the same lines as the other forms."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import cache
from html import escape
from io import BytesIO
from pathlib import Path
from typing import Any

import reportlab
from reportlab.lib.colors import black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import LongTable, PageBreak, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from librarian.chart.chart import Chart
from librarian.chart.paper.lines import FOOT, form_lines, parameter_lines, title

_MARGIN, _SIZE = 14 * mm, 7.5
_FORM_HEADS = ("Function", "", "Transmitted", "Recognized", "Remarks")
_FORM_WIDTHS = (30, 30, 26, 26, 70)
_HEADS = ("Parameter", "Id", "Values", "Reads", "Transmitted", "Recognized", "Takes over")
_WIDTHS = (27, 33, 20, 37, 24, 24, 17)
_GRID = TableStyle(
    [
        ("GRID", (0, 0), (-1, -1), 0.3 * mm, black),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 1.2 * mm),
        ("RIGHTPADDING", (0, 0), (-1, -1), 1.2 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.3 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.6 * mm),
    ]
)


def pdf(chart: Chart) -> bytes:
    """The standard's form and the table of parameters. Text from the chart is text, never markup.

    Characters that the font of the file does not have are replaced by their plain form, or by a middle dot.
    """
    into = BytesIO()
    document = SimpleDocTemplate(
        into,
        pagesize=A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN,
        title=f"MIDI implementation chart: {chart.name}",
        # Two prints of one chart are the same file.
        invariant=1,
    )
    flow: list[Any] = [_words("MIDI implementation chart", 14, bold=True), _words(title(chart), 9)]
    form = [(one.function, one.detail, one.transmitted, one.recognized, one.remarks) for one in form_lines(chart)]
    flow += [Spacer(1, 2 * mm), _table(_FORM_HEADS, form, _FORM_WIDTHS)]
    if chart.implementation.notes:
        flow.append(_words(chart.implementation.notes, 8))
    flow += [_words(line, 8) for line in FOOT]
    flow += [PageBreak(), _words("Parameters", 12, bold=True)]
    for label, lines in parameter_lines(chart):
        rows = [
            (one.parameter, one.id, one.values, one.reads, one.transmitted, one.recognized, one.takeover)
            for one in lines
        ]
        flow += [Spacer(1, 2 * mm), _words(label, 9, bold=True), _table(_HEADS, rows, _WIDTHS)]
    document.build(flow)
    return into.getvalue()


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> LongTable:
    cells = [[_words(head, _SIZE, bold=True) for head in heads]]
    cells += [[_words(cell, _SIZE) for cell in row] for row in rows]
    table = LongTable(cells, colWidths=[wide * mm for wide in widths], repeatRows=1, splitInRow=1)
    table.setStyle(_GRID)
    return table


def _words(text: str, size: float, *, bold: bool = False) -> Paragraph:
    font = _fonts()[bold]
    style = ParagraphStyle("words", fontName=font, fontSize=size, leading=size * 1.25, wordWrap="CJK")
    return Paragraph(escape(_shown(text)), style)


@cache
def _fonts() -> tuple[str, str]:
    """Names of the plain and the bold font; both come with ReportLab."""
    folder = Path(reportlab.__file__).parent / "fonts"
    for name, file in (("Paper", "Vera.ttf"), ("Paper-Bold", "VeraBd.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    return "Paper", "Paper-Bold"


@cache
def _glyphs() -> frozenset[int]:
    return frozenset(pdfmetrics.getFont(_fonts()[0]).face.charToGlyph)


def _shown(text: str) -> str:
    return "".join(_sign(sign) for sign in text)


def _sign(sign: str) -> str:
    if ord(sign) in _glyphs() and sign.isprintable():
        return sign
    if sign.isspace():
        return " "
    plain = "".join(one for one in unicodedata.normalize("NFKD", sign) if ord(one) in _glyphs() and one.isprintable())
    return plain or "\N{MIDDLE DOT}"
