"""Charts by the word on a command line or by the text that a library keeps; each is compiled once a run."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from librarian.chart import Chart, load, loads, shipped
from librarian.collection import InstrumentRow, Library
from librarian.errors import BadInput
from librarian.files import syx
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


def sysex_of(path: Path) -> list[bytes]:
    """The whole SysEx messages of a file of dumps, in order. Raises OutsideProblem, BadInput."""
    found = [piece.raw for piece in syx.read(path).pieces() if piece.kind == "sysex"]
    if not found:
        raise BadInput(
            f"{path} holds no whole SysEx message.", "Name a file of dumps, as bytes or as hexadecimal text."
        )
    return found


def _kept(library: Library, chart: str, revision: int) -> Chart:
    return chart_text(library.chart_text(chart, revision), f"{chart}, revision {revision}")
