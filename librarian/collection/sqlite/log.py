"""Whether a library file and the log beside it belong together.

SQLite applies whatever log lies beside a file, without a word. A copy put over a library whose program had been killed
would be mixed with the last changes of the library that was there before, and become a heap of both.

Every change therefore leaves a mark that no other change has, and the mark before it. A log begins where its file ended
when all that was before had been written into it; from then on the file has that state or a later one out of the log.
So the file's mark is the one before the first change in the log or the mark of one of its changes, or the two do not
belong together. Nothing is said where there are no marks (libraries that no program with marks has changed), and of a
copy of the very library that is no older than the log: that becomes its newest state, which is whole.

The log is read as bytes ("The WAL File Format", "B-tree Pages", "Record Format" of https://sqlite.org/fileformat2.html).
The file is read by SQLite alone: another handle closed by this process would take away the locks of its connections.
"""

from __future__ import annotations

import secrets
import sqlite3
import struct
import time
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection

from librarian.collection.problems import LibraryProblem

from .connections import log_of, raw

_HEADER, _FRAME = 32, 24
_MAGIC = (0x377F0682, 0x377F0683)
_LEAF = 0x0D
#: Bytes of integers by their serial type; 8 and 9 are the numbers 0 and 1.
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 8: 0, 9: 0}
#: Another program may be writing the log into the file while we look: only what stays so is believed.
_LOOKS, _BETWEEN_S = 4, 0.05


def mark_change(connection: Connection) -> None:
    """Leave the mark of a change in its transaction."""
    driver = raw(connection)
    driver.execute(
        "INSERT OR REPLACE INTO counter (name, value) "
        "VALUES ('before', coalesce((SELECT value FROM counter WHERE name = 'mark'), 0))"
    )
    mark = secrets.randbits(62) | 1
    driver.execute("INSERT OR REPLACE INTO counter (name, value) VALUES ('mark', ?)", (mark,))


def refuse_strange_log(path: Path) -> None:
    """Raises `LibraryProblem` when file and log do not belong together. Look before anything else opens the file."""
    for look in range(_LOOKS):
        if look:
            time.sleep(_BETWEEN_S)
        if _together(path):
            return
    log = log_of(path)
    raise LibraryProblem(
        f"The library {path} and its log {log.name} do not belong together: one of them was put there from elsewhere, "
        "as when a backup is copied over a library that was not closed. Nothing was changed.",
        f"To go on with this file, move {log.name} into another folder first; it holds the last changes of the library "
        "that was there before. To go on with that one, put its own file back beside the log.",
    )


def _together(path: Path) -> bool:
    """False only when it is certain for what was read."""
    log = log_of(path)
    try:
        header = _header(log)
        if header is None:
            return True
        found = _of_file(path)
        if found is None:
            return True
        root, mark = found
        marks = set(_of_log(log, header, root))
        return not marks or mark in marks or _header(log) != header
    except FileNotFoundError:  # the program that had it open has closed it
        return True


def _of_file(path: Path) -> tuple[int, int] | None:
    """Page of the counters and the mark, of the file without its log; None where it has no such table to be read."""
    connection = sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)
    try:
        root = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'counter'").fetchone()
        mark = connection.execute("SELECT value FROM counter WHERE name = 'mark'").fetchone()
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return None
    finally:
        connection.close()
    return None if root is None else (int(root[0]), int(mark[0]) if mark else 0)


def _header(log: Path) -> bytes | None:
    """What a log begins with; None when it is empty or none."""
    if not log.exists():
        return None
    with log.open("rb") as file:
        header = file.read(_HEADER)
    return header if len(header) == _HEADER and int.from_bytes(header[:4], "big") in _MAGIC else None


def _of_log(log: Path, header: bytes, root: int) -> Iterator[int]:
    """The mark before the first change in the log, then the marks of its changes."""
    size, salts = int.from_bytes(header[8:12], "big"), header[16:24]
    first = True
    with log.open("rb") as file:
        file.seek(_HEADER)
        while len(frame := file.read(_FRAME)) == _FRAME and frame[8:16] == salts:
            if int.from_bytes(frame[:4], "big") != root:
                file.seek(size, 1)
                continue
            rows = _rows(file.read(size))
            if rows is None:
                continue
            if first:
                yield rows.get("before", 0)
            first = False
            yield rows.get("mark", 0)


def _rows(page: bytes) -> dict[str, int] | None:
    """Names and numbers on a page of the counters; None where it is no such page."""
    try:
        if page[0] != _LEAF:
            return None
        count = int.from_bytes(page[3:5], "big")
        found = dict(_row(page, place) for place in struct.unpack_from(f">{count}H", page, 8))
    except (IndexError, KeyError, ValueError, struct.error):
        return None
    return found if "change" in found else None


def _row(page: bytes, place: int) -> tuple[str, int]:
    for _ in range(2):  # the length of the row, and its number
        _, place = _varint(page, place)
    start = place
    length, place = _varint(page, place)
    text, place = _varint(page, place)
    kind, place = _varint(page, place)
    at = start + length
    end = at + (text - 13) // 2
    size = _INTEGERS[kind]
    number = int.from_bytes(page[end : end + size], "big", signed=True) if size else kind - 8
    return page[at:end].decode(), number


def _varint(page: bytes, place: int) -> tuple[int, int]:
    """A number of one to nine bytes, and the place after it."""
    number = 0
    for count in range(8):
        byte = page[place + count]
        number = number << 7 | byte & 0x7F
        if byte < 0x80:
            return number, place + count + 1
    return number << 8 | page[place + 8], place + 9
