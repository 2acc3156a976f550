"""The terminal: the same services as the window under plain verbs. It knows no Qt."""

from __future__ import annotations

from librarian.cli.app import prepared

__all__ = ["prepared"]
