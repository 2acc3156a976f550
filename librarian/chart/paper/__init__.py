"""The implementation chart on paper: the standard's one-page form, and the table of parameters."""

from librarian.chart.paper.html import html
from librarian.chart.paper.markdown import markdown

__all__ = ["html", "markdown"]
