"""Lines of a text file in whatever encoding it was saved, with bounded memory."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from librarian.errors import BadInput, OutsideProblem

LONGEST_FILE = 512 << 20
LONGEST_LINE = 8 << 20
"""Signs; a note has a million at most."""
LONGEST_CELL = 2_000_000
csv.field_size_limit(LONGEST_CELL)  # the csv module's own limit is shorter than a note may be


def encoding_of(path: Path) -> tuple[str, str]:
    """The encoding, and what is worth saying about it ('' for UTF-8). Raises BadInput, OutsideProblem.

    Without a byte order mark it is UTF-8 if every line is; else Windows-1252, unless some lines are UTF-8 and others
    are not: then two files were put together, and names would come in wrong.
    """
    try:
        with path.open("rb") as file:
            start = file.read(4)
            if start.startswith((b"\xff\xfe", b"\xfe\xff")):
                return "utf-16", ""
            file.seek(0)
            return _scan(file, path.name)
    except OSError as error:
        raise OutsideProblem(f"{path} cannot be read: {error.strerror or error}.", "Check the file.") from error


def _scan(file: IO[bytes], name: str) -> tuple[str, str]:
    as_utf8 = other = total = number = 0
    for line in iter(lambda: file.readline(LONGEST_LINE * 4), b""):
        number += 1
        total += len(line)
        if total > LONGEST_FILE:
            raise BadInput(f"{name} is larger than {LONGEST_FILE >> 20} MB.", "Split the table.")
        if b"\x00" in line:
            raise BadInput(f"{name} is no text: line {number} has zero bytes.", "Save it as CSV in UTF-8.")
        if line.isascii():
            continue
        try:
            line.decode("utf-8")
            as_utf8 = as_utf8 or number
        except UnicodeDecodeError:
            other = other or number
        if as_utf8 and other:
            raise BadInput(
                f"{name} has two encodings: line {as_utf8} is UTF-8, line {other} is not.",
                "Save the whole table as UTF-8, then import it.",
            )
    if other:
        return "cp1252", "The table is not UTF-8; its signs were read as Windows-1252"
    return "utf-8-sig", ""


def lines(path: Path, encoding: str) -> Iterator[tuple[str, int]]:
    """(line with its end, bytes of the file read so far). Raises BadInput, OutsideProblem."""
    try:
        errors = "replace" if encoding == "cp1252" else "strict"
        with path.open("rb") as plain, io.TextIOWrapper(plain, encoding=encoding, errors=errors, newline="") as file:
            for line in iter(lambda: file.readline(LONGEST_LINE + 1), ""):
                if len(line) > LONGEST_LINE:
                    raise BadInput(
                        f"{path.name} has a line of more than {LONGEST_LINE >> 20} million signs.",
                        "Choose a table with one sound a row.",
                    )
                yield line, plain.tell()
    except UnicodeError as error:
        raise BadInput(f"{path.name} is damaged text: {error}.", "Save the table as UTF-8.") from error
    except OSError as error:
        raise OutsideProblem(f"{path} cannot be read: {error.strerror or error}.", "Check the file.") from error
