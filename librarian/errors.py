"""The few error types that every room may raise.

Each answers three questions: what happened and to what (`str()`, one plain sentence), whose fault it is
(the class), and what to do next (`hint`). One place in `window` and one in `cli` show them; nothing below
prints or opens a message box. Anything that is not a `LibrarianError` (or `Cancelled`) is a bug of ours.
"""

from __future__ import annotations


class LibrarianError(Exception):
    """Anything the person may see. `str()` is one plain sentence; `hint` is the next step, or empty."""

    hint: str = ""

    def __init__(self, sentence: str, hint: str | None = None) -> None:
        super().__init__(sentence)
        if hint is not None:
            self.hint = hint


class OutsideProblem(LibrarianError):  # noqa: N818 - named for what happened
    """Cable, MIDI system, disk or driver: show it, keep running, lose nothing."""


class BadInput(LibrarianError):  # noqa: N818 - named for what happened
    """A file, chart, dump, query or option that cannot be used as it is; nothing of it was taken."""


class Refused(LibrarianError):  # noqa: N818 - named for what happened
    """Asked for something that is not done here (a guard, not a fault): the sentence says why."""


class Cancelled(Exception):  # noqa: N818 - a person's own wish is no error
    """The person ended a conversation. `state` says in a sentence in which condition things were left."""

    def __init__(self, state: str = "") -> None:
        super().__init__(state or "Cancelled.")
        self.state = state
