"""Disks that become full on purpose: a small file system in memory where that is allowed, else a limit for one file."""

from __future__ import annotations

import ctypes
import os
import random
import resource
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

_NEW_MOUNTS = 0x00020000  # CLONE_NEWNS, unshare(2)
_REMOUNT = 32  # MS_REMOUNT, mount(2)
_ROOMY = 512 << 20


class SmallDisk:
    """A file system of its own in `folder`, seen by this process and its children only; gone with them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def resize(self, size: int) -> None:
        """So many bytes from now on."""
        libc = ctypes.CDLL(None, use_errno=True)
        place = os.fsencode(self.folder)
        if libc.mount(b"tmpfs", place, b"tmpfs", ctypes.c_ulong(_REMOUNT), f"size={size}".encode()):
            raise OSError(ctypes.get_errno(), "the small disk cannot change its size")

    def roomy(self) -> None:
        """Room for everything."""
        self.resize(_ROOMY)

    @contextmanager
    def narrow(self, room: int) -> Iterator[None]:
        """Only `room` bytes are free in the block."""
        has = os.statvfs(self.folder)
        self.resize((has.f_blocks - has.f_bfree) * has.f_frsize + room)
        try:
            yield
        finally:
            self.roomy()


def small_disk(folder: Path) -> SmallDisk | None:
    """Mount one; None where that is not allowed."""
    libc = ctypes.CDLL(None, use_errno=True)
    if not hasattr(libc, "unshare") or libc.unshare(_NEW_MOUNTS):
        return None
    folder.mkdir(exist_ok=True)
    for command in (
        ["mount", "--make-rprivate", "/"],
        ["mount", "-t", "tmpfs", "-o", f"size={_ROOMY}", "tmpfs", str(folder)],
    ):
        if subprocess.run(command, check=False, capture_output=True).returncode:
            return None
    return SmallDisk(folder)


@contextmanager
def no_larger_files(path: Path, room: int) -> Iterator[None]:
    """The next best: no file may grow beyond the library's size and `room`."""
    size = max(Path(f"{path}-wal").stat().st_size, path.stat().st_size)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, resource.RLIM_INFINITY))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


def narrowing(path: Path, disk: SmallDisk | None, luck: random.Random, most: int):
    """What a child uses around each intent; most intents find a little room, some none at all."""

    def narrow():
        room = luck.choice((0, luck.randrange(most), luck.randrange(most)))
        return disk.narrow(room // 4096 * 4096) if disk is not None else no_larger_files(path, room)

    return narrow


def wide():
    """No limit."""
    return nullcontext()
