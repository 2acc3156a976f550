"""Charts by the word on a command line or by the text that a library keeps; each is compiled once a run."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from librarian.chart import Chart, load, loads, shipped
from librarian.collection import InstrumentRow, Library
from librarian.messages import Version


def chart_file(said: str) -> Chart:
    """The chart that `said` means: the id of a shipped one, or a file. Raises ChartFaults, BadInput."""
    charts = shipped()
    return shipped_chart(said) if said in charts else load(Path(said))


@lru_cache(maxsize=16)
def shipped_chart(name: str) -> Chart:
    """The shipped chart with this id."""
    return load(shipped()[name])


@lru_cache(maxsize=16)
def chart_text(text: str, source: str = "chart") -> Chart:
    """The chart in a text; charts do not change, so one may serve many."""
    return loads(text, source)


def chart_of(library: Library, version: Version) -> Chart:
    """The chart revision that a stored version was taken by, from the text that the library keeps."""
    return _kept(library, version.chart, version.revision)


def chart_of_instrument(library: Library, row: InstrumentRow) -> Chart:
    """The chart revision that an instrument uses, from the text that the library keeps."""
    return _kept(library, row.chart, row.revision)


def _kept(library: Library, chart: str, revision: int) -> Chart:
    return chart_text(library.chart_text(chart, revision), f"{chart}, revision {revision}")
