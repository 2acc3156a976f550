"""What conversations teach of an instrument, as changes of the library to be made in their turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from librarian.collection import Library
from librarian.transfer import Identified, Line
from librarian.transfer.connections import pace_text
from librarian.window.desk.standing import Standing

Change = Callable[[], object]


def of_answer(library: Library, standing: Standing, who: Identified) -> Change | None:
    """The firmware, and where the instrument listens; None where that is known."""
    row = standing.row
    if who.fits != "fits" or (who.firmware, who.address) == (row.firmware, row.address):
        return None
    standing.row = replace(row, firmware=who.firmware, address=who.address)
    return lambda: library.note_instrument(row.id, firmware=who.firmware, address=who.address)


def of_pace(library: Library, standing: Standing, line: Line) -> Change | None:
    """The pace that worked for this instrument on these ports; None where that is known."""
    row, text = standing.row, pace_text(standing.chart, line.pace)
    standing.setting = replace(standing.setting, slowed=line.pace.slowed)
    if text == row.pace:
        return None
    standing.row = replace(row, pace=text)
    return lambda: library.note_instrument(row.id, pace=text)
