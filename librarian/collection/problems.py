"""What can go wrong with the file that holds the collection, as sentences for the person."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from librarian.errors import OutsideProblem


class LibraryProblem(OutsideProblem):
    """The library file cannot be opened, read or written as asked; nothing was changed."""


class NewerLibrary(LibraryProblem):
    """The file was written by a newer Librarian; it is left exactly as it is."""

    hint = "Install the newer Librarian, or open another library with --library."


class ChangedLibrary(LibraryProblem):
    """A library opened only to be read is another one now, or gone: what was read of it cannot be relied on."""


class BusyLibrary(LibraryProblem):
    """Another program has been writing for so long that waiting makes no sense."""

    hint = "Wait until the other program has finished or close it, then try again. Nothing was changed."


def unwritable(library: Path) -> LibraryProblem:
    """The sentence for a library that cannot be changed."""
    return LibraryProblem(
        f"The library {library} cannot be written.",
        "Check who may write to the file and its folder, or copy it to where you may and open that.",
    )


@contextmanager
def as_kept() -> Iterator[None]:
    """Rows are read in the block: what cannot be, was damaged on the disk, as nothing of that kind is ever written."""
    try:
        yield
    except (ValueError, TypeError, AttributeError, OverflowError, LookupError, struct.error, zlib.error) as error:
        raise LibraryProblem(
            f"Something in the library is damaged and cannot be read ({error}).",
            "See what: librarian library check. Then restore a backup, or repair it into a new file.",
        ) from error
