"""A library with the two demo instruments, and sounds to put into it."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.messages import Address, Origin, Values, Version


@pytest.fixture(scope="session")
def lanternfish() -> Chart:
    return load(shipped()["lanternfish"])


@pytest.fixture(scope="session")
def fogbell() -> Chart:
    return load(shipped()["fogbell"])


@pytest.fixture(scope="session")
def empty_library(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a library with nothing in it: made once, as making the tables takes longer than most tests."""
    path = tmp_path_factory.mktemp("empty") / "library.sqlite"
    Library.open(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    return path.read_bytes()


@pytest.fixture
def library(library_path: Path, empty_library: bytes) -> Iterator[Library]:
    library_path.write_bytes(empty_library)
    with Library.open(library_path) as opened:
        yield opened


@pytest.fixture
def lantern(library: Library, lanternfish: Chart) -> int:
    """Id of an instrument in `library`."""
    return library.add_instrument(lanternfish, "Lanternfish", Address(0, 17))


CAPTURED = Origin("captured")
MakeSound = Callable[..., Version]


@pytest.fixture
def sound(lanternfish: Chart) -> MakeSound:
    """Makes a whole Lanternfish sound: every parameter at its low end but for those given; `unknown` ids left out."""

    def make(unknown: tuple[str, ...] = (), origin: Origin = CAPTURED, **values: int) -> Version:
        known = {name: each.low for name, each in lanternfish.parameters.items()} | values
        return Version(
            lanternfish.id,
            lanternfish.revision,
            Values(known).without(unknown),
            frozenset(unknown),
            origin=origin,
            received=(bytes([0xF0, 0x7D, *(value & 0x7F for value in values.values()), 0xF7]),),
        )

    return make


@pytest.fixture
def any_sound(lanternfish: Chart) -> Callable[[int], Version]:
    """A random Lanternfish sound for a seed, some of it unknown."""

    def make(seed: int) -> Version:
        luck = random.Random(seed)
        known = {
            name: luck.randint(each.low, each.high)
            for name, each in lanternfish.parameters.items()
            if luck.random() > 0.03
        }
        unknown = frozenset(lanternfish.parameters).difference(known)
        return Version(lanternfish.id, lanternfish.revision, Values(known), unknown)

    return make
