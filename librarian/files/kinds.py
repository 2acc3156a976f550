"""What kind of file this is, by what stands in it; the suffix only decides where the content cannot."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from librarian.errors import BadInput, OutsideProblem
from librarian.files import smf
from librarian.files.table import heading

Kind = Literal["messages", "recording", "table", "bundle"]

_HEAD = 64 << 10
_ZIP = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
_OTHERS = (
    (b"SQLite format 3\x00", "is a library itself", "Open it with --library, or see: librarian library go-back FILE"),
    (b"%PDF-", "is a PDF", "Sheets on paper cannot be read back; import the .syx, .mid, table or bundle."),
    (b"\x1f\x8b", "is compressed with gzip", "Unpack it first."),
    (b"7z\xbc\xaf\x27\x1c", "is a 7z archive", "Unpack it first."),
    (b"\x89PNG", "is a picture", "Choose a file of sounds."),
)


def kind_of(path: Path) -> Kind:
    """Raises OutsideProblem where the file cannot be read, BadInput where it is certainly something else."""
    head = _head(path)
    if head.startswith(_ZIP):
        return "bundle"
    for mark, what, hint in _OTHERS:
        if head.startswith(mark):
            raise BadInput(f"{path.name} {what}.", hint)
    if smf.looks_like(head):
        return "recording"
    if heading.looks_like(head, path.suffix.casefold()):
        return "table"
    return "messages"


def _head(path: Path) -> bytes:
    try:
        if not path.is_file():
            what = "is no file" if path.exists() else "does not exist"
            raise BadInput(f"{path} {what}.", "Name a file of sounds: .syx, .mid, a table or a bundle.")
        with path.open("rb") as file:
            return file.read(_HEAD)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise OutsideProblem(f"{path} cannot be read: {why}.", "Check the name, and that you may read it.") from error
