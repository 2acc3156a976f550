"""What must hold between the entries of a chart. Every module looks at one subject and reports all its faults."""

from __future__ import annotations

from librarian.chart.check.bindings import check_bindings
from librarian.chart.check.cautions import check_cautions
from librarian.chart.check.history import check_history
from librarian.chart.check.names import check_names
from librarian.chart.check.panel import check_panel
from librarian.chart.check.parameters import check_parameters
from librarian.chart.check.ways import check_reach, check_ways
from librarian.chart.language.flat import Flat
from librarian.chart.language.sift import Sifted
from librarian.chart.language.trouble import Trouble

__all__ = ["check_cautions", "check_language", "check_reach"]


def check_language(sifted: Sifted, flat: Flat, trouble: Trouble) -> None:
    """Everything that can be judged without the dump side."""
    check_names(sifted, flat, trouble)
    check_panel(sifted, flat, trouble)
    check_parameters(sifted, flat, trouble)
    check_bindings(sifted, flat, trouble)
    check_ways(sifted, flat, trouble)
    check_history(sifted, flat, trouble)
