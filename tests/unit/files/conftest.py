"""A filled library and a bundle of it, made once and copied for every test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from librarian.collection import Library
from librarian.files import outgoing
from tests.filesamples import library_at


@pytest.fixture(scope="session")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with full.sqlite, empty.sqlite and good.zip; nobody writes into it."""
    folder = tmp_path_factory.mktemp("ready")
    with library_at(folder / "full.sqlite") as library:
        outgoing.export_all(library, folder / "good.zip")
    Library.open(folder / "empty.sqlite").close()
    return folder


@pytest.fixture
def full(ready: Path, tmp_path: Path) -> Iterator[Library]:
    """A library with everything that a file can carry."""
    with Library.open(Path(shutil.copy(ready / "full.sqlite", tmp_path))) as library:
        yield library


@pytest.fixture
def empty(ready: Path, tmp_path: Path) -> Iterator[Library]:
    """A new library."""
    with Library.open(Path(shutil.copy(ready / "empty.sqlite", tmp_path))) as library:
        yield library


@pytest.fixture
def bundle(ready: Path, tmp_path: Path) -> Path:
    """A bundle of the filled library."""
    return Path(shutil.copy(ready / "good.zip", tmp_path))
