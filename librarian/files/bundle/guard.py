"""What a zip from outside may be before a byte of it is unpacked: few entries, plain names, sizes that can be true.

Nothing is ever written to a folder: entries are read by name, line by line. Python's zipfile builds its whole directory
in memory, so the number of entries is read from the end record first.
Source: APPNOTE.TXT, .ZIP File Format Specification 6.3.10, 4.3.14 to 4.3.16 and 4.4.5.
"""

from __future__ import annotations

import struct
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import IO

from librarian.errors import BadInput, OutsideProblem

MOST_ENTRIES = 20_000
MOST_DIRECTORY = 4 << 20
MOST_UNPACKED = 16 << 30
MOST_RATIO = 250
"""Unpacked to packed of a whole bundle; deflate reaches 1032, bundles of real sounds 10 to 40."""
_SUSPICIOUS = 64 << 20
_END, _END64, _LOCATOR = b"PK\x05\x06", b"PK\x06\x06", b"PK\x06\x07"
_TAIL = (1 << 16) + 22


def opened(file: IO[bytes], name: str) -> zipfile.ZipFile:
    """The zip, its directory judged. Raises BadInput with the reason."""
    entries, directory = _announced(file, name)
    if entries > MOST_ENTRIES or directory > MOST_DIRECTORY:
        raise BadInput(f"{name} says it has {entries:,} files inside; a bundle has at most {MOST_ENTRIES:,}.", _HINT)
    file.seek(0)
    try:
        found = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, ValueError, OverflowError, struct.error, UnicodeError, NotImplementedError) as error:
        raise BadInput(f"{name} is no whole zip: {error}.", _HINT) from error
    _judge(found, file, name)
    return found


_HINT = "Nothing was taken from it. Ask for the bundle again, or export it again."


def _judge(found: zipfile.ZipFile, file: IO[bytes], name: str) -> None:
    infos = found.infolist()
    if len(infos) > MOST_ENTRIES:
        raise BadInput(f"{name} has {len(infos):,} files inside; a bundle has at most {MOST_ENTRIES:,}.", _HINT)
    for each in infos:
        inside = each.orig_filename
        parts = inside.replace("\\", "/").split("/")
        if inside.startswith(("/", "\\")) or ".." in parts or "\x00" in inside or ":" in parts[0]:
            raise BadInput(f"{name} has a file whose name leads out of it: {inside[:80]!r}.", _HINT)
        if each.flag_bits & 0x1:
            raise BadInput(f"{name} is encrypted.", "A bundle is not; unpack it and pack it again without a password.")
        if each.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadInput(f"{name} is packed in a way that is not read here ({each.compress_type}).", _HINT)
    twice = [inside for inside, count in Counter(each.filename for each in infos).items() if count > 1]
    if twice:
        raise BadInput(f"{name} has two files called {twice[0][:80]!r}.", _HINT)
    unpacked = sum(each.file_size for each in infos)
    size = file.seek(0, 2)
    if unpacked > MOST_UNPACKED or (unpacked > _SUSPICIOUS and unpacked > MOST_RATIO * max(size, 1)):
        raise BadInput(
            f"{name} would unpack to {unpacked >> 20:,} MB from {size:,} bytes; no bundle is like that.", _HINT
        )


def _announced(file: IO[bytes], name: str) -> tuple[int, int]:
    """Number of entries and bytes of the directory, as the end record says."""
    size = file.seek(0, 2)
    file.seek(max(size - _TAIL, 0))
    tail = file.read(_TAIL)
    at = tail.rfind(_END)
    if at < 0 or len(tail) < at + 22:
        raise BadInput(f"{name} is no whole zip: its directory is missing.", _HINT)
    entries, directory = struct.unpack("<HL", tail[at + 10 : at + 16])
    locator = tail.rfind(_LOCATOR, 0, at)
    if locator >= 0 and len(tail) >= locator + 20:
        place = struct.unpack("<Q", tail[locator + 8 : locator + 16])[0]
        if place <= size - 56:
            file.seek(place)
            record = file.read(56)
            if record[:4] == _END64:
                entries, directory = struct.unpack("<QQ", record[32:48])
    return int(entries), int(directory)


@contextmanager
def reading(name: str) -> Iterator[None]:
    """What zipfile and zlib say about damage becomes a sentence."""
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, NotImplementedError, struct.error) as error:
        raise BadInput(f"{name} is damaged: {str(error) or type(error).__name__}.", _HINT) from error
    except OSError as error:
        raise OutsideProblem(f"{name} cannot be read: {error.strerror or error}.", "Check the disk.") from error


def whole(archive: zipfile.ZipFile, inside: str, name: str, longest: int) -> bytes:
    """All of a small file. Raises BadInput when it is larger than `longest` bytes, or damaged."""
    with reading(name), archive.open(inside) as file:
        found = file.read(longest + 1)
    if len(found) > longest:
        raise BadInput(f"{name}: {inside} is larger than {longest >> 20} MB.", _HINT)
    return found


def lines(archive: zipfile.ZipFile, inside: str, name: str, longest: int) -> Iterator[tuple[int, bytes]]:
    """(number from 1, line without its end), one at a time. Raises BadInput for one longer than `longest` bytes."""
    with ExitStack() as stack:
        with reading(name):
            file = stack.enter_context(archive.open(inside))
        number = 0
        while True:
            with reading(name):
                line = file.readline(longest + 1)
            if not line:
                return
            number += 1
            if len(line) > longest:
                raise BadInput(f"{name}: line {number} of {inside} is longer than {longest >> 20} MB.", _HINT)
            if line.strip():
                yield number, line
