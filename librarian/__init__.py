"""Librarian: a patch librarian over standard MIDI."""

__version__ = "0.1.0"
