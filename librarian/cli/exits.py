"""What the exit code of `librarian` says. Scripts may rely on these numbers."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """0 is the only one that claims success; 3 and 4 are answers, not accidents."""

    OK = 0
    """Done; for a recall: read back equal. For a comparison: everything compared is equal."""
    COULD_NOT = 1
    """Not done: no answer, no such patch, a file that cannot be read. The sentence says why."""
    USAGE = 2
    """The command line cannot be understood."""
    DIFFERS = 3
    """Done, and what was read back (or compared) differs."""
    UNPROVED = 4
    """Sent, but cannot be verified; or compared with something unknown on either side."""
    CANCELLED = 130
    """Ended by Ctrl+C, as shells report it."""
