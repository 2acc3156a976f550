"""The list of tables of a library whose own is damaged, out of another library.

Every library is made by the same steps, so its list of tables says the same, and the tables begin on the same pages.
Source of the bytes: "The Database Header" and "B-tree Pages" of https://sqlite.org/fileformat2.html.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

from .connections import log_of

_HEADER = 100
_INTERIOR = 0x05


def with_list_of_tables(damaged: Path, other: Path, into: Path) -> None:
    """Copy `damaged` with the list of tables of `other`, which is whole and closed. Raises OSError."""
    shutil.copyfile(damaged, into)
    if log_of(damaged).exists():
        shutil.copyfile(log_of(damaged), log_of(into))
    whole = other.read_bytes()
    size = int.from_bytes(whole[16:18], "big")
    pages = -(-into.stat().st_size // size)
    with into.open("r+b") as file:
        for number in _pages(whole, size, 1):
            file.seek((number - 1) * size)
            file.write(whole[(number - 1) * size : number * size])
        # How many pages there are is for the file itself to say.
        file.seek(28)
        file.write(pages.to_bytes(4, "big"))


def _pages(whole: bytes, size: int, number: int) -> Iterator[int]:
    """Numbers of the pages of the tree that begins on page `number`."""
    yield number
    start = (number - 1) * size
    head = start + (_HEADER if number == 1 else 0)
    if whole[head] != _INTERIOR:
        return
    for count in range(int.from_bytes(whole[head + 3 : head + 5], "big")):
        place = head + 12 + 2 * count
        cell = start + int.from_bytes(whole[place : place + 2], "big")
        yield from _pages(whole, size, int.from_bytes(whole[cell : cell + 4], "big"))
    yield from _pages(whole, size, int.from_bytes(whole[head + 8 : head + 12], "big"))
