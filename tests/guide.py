"""Brings the generated part of assets/guide/chart.md up to date: `python -m tests.guide`."""

from __future__ import annotations

from pathlib import Path

from librarian.chart.reference import with_reference

PAGE = Path(__file__).parents[1] / "assets" / "guide" / "chart.md"

if __name__ == "__main__":
    PAGE.write_text(with_reference(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
