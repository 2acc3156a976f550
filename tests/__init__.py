"""Tests: unit/ mirrors the package, gui/ drives the window, end2end/ drives real processes, bench/ measures."""
