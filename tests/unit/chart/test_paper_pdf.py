"""The implementation chart as a PDF: read back by another library, hostile texts included."""

from __future__ import annotations

from io import BytesIO

import pytest
from pypdf import PdfReader

from librarian.chart import loads, shipped
from librarian.chart.paper.pdf import pdf


def read(data: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(data)).pages)


@pytest.mark.parametrize("name", sorted(shipped()))
def test_every_parameter_stands_on_paper_and_the_form_has_its_legend(name: str) -> None:
    chart = loads(shipped()[name].read_text(encoding="utf-8"), name)
    text = read(pdf(chart))
    # MIDI 1.0 Detailed Specification 4.2.1, p. A-7: columns and legend of the form.
    for word in ("Transmitted", "Recognized", "Remarks", "Mode 1: OMNI ON, POLY", "o: Yes", "True Voice"):
        assert word in text
    squeezed = "".join(text.split())
    for parameter in chart.parameters.values():
        assert "".join(parameter.id.split()) in squeezed


def test_the_same_chart_gives_the_same_file() -> None:
    chart = loads(shipped()["fogbell"].read_text(encoding="utf-8"), "fogbell")
    assert pdf(chart) == pdf(chart)


def test_text_from_a_chart_is_text_whatever_it_holds() -> None:
    text = shipped()["fogbell"].read_text(encoding="utf-8").replace(
        'name = "Fogbell"', 'name = "<b>Fog</b> & <img src=x> 霧bell"', 1
    )
    shown = read(pdf(loads(text, "fogbell")))
    assert "<b>Fog</b> & <img src=x>" in shown
