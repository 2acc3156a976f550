"""`.syx` files: raw messages one after another, as found in the world. Every byte is accounted for.

No standard defines these files. Our rules: a SysEx message runs from F0 to F7 (realtime bytes inside are taken out); at
another status byte or at the end of the file it is closed as "without F7" and kept; channel messages between are
messages too; runs of 00, FF or 1A after a message are padding; the rest is reported as bytes outside messages.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from librarian.errors import BadInput, OutsideProblem, Refused
from librarian.files.hextext import bytes_from
from librarian.files.pieces import Piece, PieceKind
from librarian.wire.assembler import REALTIME
from librarian.wire.cable import data_bytes

LONGEST_FILE = 256 << 20
"""Bytes; a whole file is read into memory. The largest files of the trade (sample dumps) are far smaller."""

_PIECE = re.compile(
    rb"\xf0[\x00-\x7f\xf8-\xff]*\xf7?|[\x80-\xef][\x00-\x7f\xf8-\xff]*|[\xf1-\xf3\xf6][\x00-\x7f\xf8-\xff]*"
    rb"|[\x00-\x7f\xf4\xf5\xf7-\xff]+"
)
_PADDING = frozenset(b"\x00\xff\x1a")


@dataclass(frozen=True, slots=True)
class SyxFile:
    """An opened file. `data`: its MIDI bytes (of hexadecimal text: those that it lists)."""

    name: str
    data: bytes
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """Bytes."""
        return len(self.data)

    def pieces(self) -> Iterator[Piece]:
        """The pieces in order; each begins where the one before ended, the last ends with the file."""
        return scan(self.data)

    def where(self, place: int) -> str:
        """A place in words."""
        return f"byte {place}"


@dataclass(frozen=True, slots=True)
class Account:
    """What a file is made of: numbers of messages, and bytes of everything else. `sentences` say it."""

    sysex: int
    cut: int
    other: int
    outside: int
    padding: int
    realtime: int
    sentences: tuple[str, ...]


def read(path: Path) -> SyxFile:
    """The file at `path`. Raises OutsideProblem where it cannot be read, BadInput where it is no such file."""
    return from_bytes(read_bytes(path), path.name)


def from_bytes(data: bytes, name: str) -> SyxFile:
    """The same of bytes that are at hand. `name` is what origins call the file."""
    midi, note = bytes_from(data)
    return SyxFile(name, midi, (note,) if note else ())


def read_bytes(path: Path, longest: int = LONGEST_FILE) -> bytes:
    """A file's bytes, at most `longest`. Raises OutsideProblem, BadInput."""
    try:
        with path.open("rb") as file:
            data = file.read(longest + 1)
    except OSError as error:
        raise OutsideProblem(
            f"{path} cannot be read: {error.strerror or error}.", "Check the name, and that you may read the file."
        ) from error
    if len(data) > longest:
        raise BadInput(
            f"{path.name} is larger than {longest >> 20} MB.", "Files of sounds are smaller; split it, or check it."
        )
    return data


def scan(data: bytes) -> Iterator[Piece]:
    """The pieces of `data`; together they cover every byte, in order. Memory: one piece at a time."""
    after_message = False
    for found in _PIECE.finditer(data):
        whole = found[0]
        start, size, first = found.start(), len(whole), whole[0]
        clean = whole
        if size > 2 and (first == 0xF0 or first < 0xF0 <= max(whole) or first in (0xF1, 0xF2, 0xF3, 0xF6)):
            clean = whole.translate(None, REALTIME)
        inside = size - len(clean)
        kind: PieceKind
        if first == 0xF0:
            kind = "sysex" if whole[-1] == 0xF7 else "cut"
        elif 0x80 <= first < 0xF0:
            kind = "channel" if len(clean) > (data_bytes(first) or 1) else "outside"
        elif first in (0xF1, 0xF2, 0xF3, 0xF6) and len(clean) == 1 + (data_bytes(first) or 0):
            kind = "system"
        else:
            kind = "padding" if after_message and _PADDING.issuperset(whole) else "outside"
            clean, inside = whole, 0
        if kind == "outside":
            clean, inside = whole, 0
        after_message = kind not in ("outside", "cut")
        yield Piece(start, size, kind, clean, inside)


def account(file: SyxFile) -> Account:
    """Counts every byte of the file by what it is."""
    counts = dict.fromkeys(("sysex", "cut", "channel", "system", "padding", "outside", "realtime"), 0)
    said: list[str] = []
    first_message: int | None = None
    empty = 0
    for piece in file.pieces():
        counts["realtime"] += piece.realtime
        if piece.kind in ("padding", "outside"):
            counts[piece.kind] += piece.size
            if piece.kind == "outside" and len(said) < 8:
                before = " before the first message" if first_message is None else ""
                said.append(f"{_bytes(piece.size)} outside messages at byte {piece.place}{before}.")
            continue
        counts["outside"] += len(piece.surplus)
        counts[piece.kind] += sum(1 for _ in piece.messages()) if piece.kind == "channel" else 1
        if first_message is None:
            first_message = piece.place
        empty += piece.raw == b"\xf0\xf7"
        if piece.kind == "cut" and len(said) < 8:
            said.append(f"The SysEx message at byte {piece.place} ends after {_bytes(piece.size)} without F7.")
    if empty:
        said.append(f"{empty} SysEx messages are empty: the interface that recorded them may have lost their content.")
    if counts["realtime"]:
        said.append(f"{_bytes(counts['realtime'])} of clock and the like stood inside messages and were taken out.")
    if counts["padding"]:
        said.append(f"{_bytes(counts['padding'])} of padding after messages.")
    return Account(
        counts["sysex"],
        counts["cut"],
        counts["channel"] + counts["system"],
        counts["outside"],
        counts["padding"],
        counts["realtime"],
        (*file.notes, *said),
    )


def write(path: Path, messages: Iterable[bytes], *, replace: bool = False) -> int:
    """Write messages one after another, exactly as given; returns the bytes written.

    The file appears whole or not at all. Raises Refused when it exists and `replace` is off, OutsideProblem.
    """
    return write_whole(path, messages, replace=replace)


def write_whole(path: Path, chunks: Iterable[bytes], *, replace: bool = False) -> int:
    """A file out of chunks, whole or not at all; returns its size in bytes."""
    if path.exists() and not replace:
        raise Refused(f"{path} exists already; nothing was written.", "Choose another name, or say --replace.")
    written = 0
    draft: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name[:60]}.", delete=False) as file:
            draft = Path(file.name)
            for chunk in chunks:
                written += file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        _as_usual(draft)
        if replace:
            draft.replace(path)
        else:
            _appear(draft, path)
    except OSError as error:
        raise OutsideProblem(
            f"{path} cannot be written: {error.strerror or error}.", "Choose another folder, or make room on the disk."
        ) from error
    finally:
        if draft is not None:
            with suppress(FileNotFoundError):
                draft.unlink()
    return written


def _appear(draft: Path, path: Path) -> None:
    """Under its name unless another program has made that file meanwhile."""
    try:
        os.link(draft, path)
    except FileExistsError:
        raise Refused(f"{path} exists already; nothing was written.", "Choose another name.") from None
    except OSError:  # a file system without hard links
        draft.replace(path)


def _as_usual(draft: Path) -> None:
    """The permissions that an ordinary new file gets; a temporary one is private."""
    mask = os.umask(0)
    os.umask(mask)
    draft.chmod(0o666 & ~mask)


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count} bytes"
