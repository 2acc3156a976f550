"""The history of a chart: its steps fit the parameters, and what it claims is true."""

from __future__ import annotations

from librarian.chart.check.parameters import span_of
from librarian.chart.history import build_history
from librarian.chart.language.flat import Flat
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble


def check_history(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Report changes that cannot be. Skipped while parameters have faults: every id would be a fault again."""
    if sifted.broken_tables & {"parameter", "group", "revision"}:
        return
    spans = {one.table.id: span_of(one.table) or (0, 1) for one in flat.parameters}

    def report(entry: int, change: int | None, sentence: str, remedy: str) -> None:
        path = sifted.path("history", entry)
        trouble.add((*path, "number") if change is None else (*path, "changes", change), sentence, remedy)

    build_history(sifted.table.history, sifted.table.revision, spans, report)
