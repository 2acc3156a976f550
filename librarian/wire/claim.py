"""One conversation at a time with an instrument, also where several programs of this computer can reach it.

Systems let any number of programs open one port, and two conversations at once would take each other's answers. So
each holds the lock of a small file while it lasts; the operating system gives it back however a program ends.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs

_LOCKED_AT = 1 << 20
"""On Windows a locked byte cannot be read either: it lies where nothing is written."""


class Taken(Exception):  # noqa: N818 - a signal inside these rooms
    """Another program holds it. `what`: its conversation, or ''; `process`: its number, 0 where it is not known."""

    def __init__(self, what: str, process: int) -> None:
        super().__init__(what, process)
        self.what = what
        self.process = process


class Claim:
    """The right to converse with the instrument that `key` names, among all programs of this person."""

    def __init__(self, key: str, folder: Path | None = None) -> None:
        place = folder if folder is not None else platformdirs.user_cache_path("librarian") / "conversations"
        self._path = place / f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.lock"
        self._me = f"{os.getpid()} {id(self)} {os.urandom(4).hex()}"

    @contextmanager
    def held(self, what: str) -> Iterator[bool]:
        """Hold it for one conversation. True: another program has had one since ours. Raises Taken."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            # No folder to keep it in: an instrument must not be out of reach for that.
            yield False
            return
        try:
            if not _lock(file):
                raise Taken(*_holder(_read(file)))
            last = _read(file).partition("\n")[0]
            _write(file, f"{self._me}\n{what}\n")
            yield last not in {"", self._me}
        finally:
            os.close(file)


def _read(file: int) -> str:
    os.lseek(file, 0, os.SEEK_SET)
    return os.read(file, 1024).decode(errors="replace")


def _write(file: int, text: str) -> None:
    os.ftruncate(file, 0)
    os.lseek(file, 0, os.SEEK_SET)
    os.write(file, text.encode())


def _holder(text: str) -> tuple[str, int]:
    """Its conversation and its process, as far as it has written them."""
    who, _, what = text.partition("\n")
    number = who.partition(" ")[0]
    return what.strip(), int(number) if number.isdigit() else 0


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> bool:
        """False when another program holds it."""
        os.lseek(file, _LOCKED_AT, os.SEEK_SET)
        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def _lock(file: int) -> bool:
        """False when another program holds it. A file system without locks holds nobody back."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True
        return True
