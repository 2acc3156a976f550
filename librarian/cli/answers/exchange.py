"""Answers about files: import, export, what was not understood."""

from __future__ import annotations

from typing import Literal

from librarian.cli.answers.base import Answer


class FileSound(Answer):
    """One sound of a file. `others`: further instruments that it may belong to. `patch`: null for a new one."""

    status: Literal["new", "same", "changed"]
    name: str
    instrument: str
    others: list[str]
    known: int
    of: int
    patch: int | None
    where: str


class FileRest(Answer):
    """Messages that were not understood. `before`: the library had kept them already."""

    source: str
    name: str
    reason: str
    messages: int
    bytes: int
    before: bool


class FileLeftOut(Answer):
    """A file that could not be used; nothing of it was taken."""

    file: str
    reason: str


class ImportAnswer(Answer):
    """Answer of `import`. `kept` is false for a preview. `sounds` and `rest` hold at most as many as asked for.

    `patches`: numbers of the new ones; `versions`: patch to its new version (an id).
    """

    files: list[str]
    files_left_out: list[FileLeftOut]
    kept: bool
    new: int
    changed: int
    same: int
    not_understood: int
    sounds: list[FileSound]
    rest: list[FileRest]
    notes: list[str]
    instruments_added: list[str]
    patches: list[int]
    versions: dict[int, int]
    unread: list[int]
    skipped: int
    did: str


class LeftOut(Answer):
    """A sound that the file cannot hold."""

    patch: int
    name: str
    reason: str


class ExportAnswer(Answer):
    """Answer of `export` and `unread export`. `made`: how many were encoded, as they were edited.

    `content`: SHA-256 of a bundle's sounds.
    """

    path: str
    form: Literal["syx", "mid", "csv", "tsv", "bundle"]
    sounds: int
    bytes: int
    made: int
    left_out: list[LeftOut]
    content: str


class Unread(Answer):
    """Bytes that no chart understood."""

    number: int
    source: str
    reason: str
    name: str
    messages: int
    bytes: int


class UnreadList(Answer):
    """Answer of `unread list` and `unread forget` (what is left)."""

    unread: list[Unread]


class ReadAgain(Answer):
    """Answer of `unread read-again`. `left`: messages that are still not understood."""

    patches: list[int]
    versions: dict[int, int]
    same: int
    left: int
