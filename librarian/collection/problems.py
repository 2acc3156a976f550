"""What can go wrong with the file that holds the collection, as sentences for the person."""

from __future__ import annotations

from librarian.errors import OutsideProblem


class LibraryProblem(OutsideProblem):
    """The library file cannot be opened, read or written as asked; nothing was changed."""


class NewerLibrary(LibraryProblem):
    """The file was written by a newer Librarian; it is left exactly as it is."""

    hint = "Install the newer Librarian, or open another library with --library."


class BusyLibrary(LibraryProblem):
    """Another program has been writing for so long that waiting makes no sense."""

    hint = "Wait until the other program has finished or close it, then try again. Nothing was changed."
