"""Arithmetic on values: what differs between two sounds, and which sounds are alike."""

from librarian.sounds.compare import compare, compare_versions

__all__ = ["compare", "compare_versions"]
