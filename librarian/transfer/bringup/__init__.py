"""Bring-up: prove an instrument against its chart, part by part, and say what failed with the bytes of each failure."""

from librarian.transfer.bringup.report import Finding, Report, load, save
from librarian.transfer.bringup.run import bring_up
from librarian.transfer.bringup.since import Changes, changes, refuse_other
from librarian.transfer.bringup.writing import as_html, as_junit, as_text

__all__ = [
    "Changes", "Finding", "Report", "as_html", "as_junit", "as_text", "bring_up", "changes", "load",
    "refuse_other", "save",
]
