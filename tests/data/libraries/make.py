"""Write the library file of the present schema, once, when the schema is released:

    python tests/data/libraries/make.py

It is never written again: tests/unit/collection/test_opening.py upgrades and reads it for ever.
"""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

from librarian.collection import Library
from librarian.collection.schema import HEAD
from librarian.messages import Address, Origin, Values, Version

CHART = SimpleNamespace(
    id="lanternfish",
    revision=4,
    name="Lanternfish",
    text="# the chart's text\n",
    sections=(),
    parameters={
        "cutoff": SimpleNamespace(low=0, high=127),
        "attack": SimpleNamespace(low=0, high=127),
        "fine": SimpleNamespace(low=-8192, high=8191),
    },
)
TAKEN = datetime(2026, 3, 12, 19, 42, 7, 123456, tzinfo=UTC)


def version(cutoff: int, attack: int | None, fine: int, *received: bytes) -> Version:
    known = {"cutoff": cutoff, "fine": fine} | ({} if attack is None else {"attack": attack})
    return Version("lanternfish", 4, Values(known), frozenset({"cutoff", "attack", "fine"}).difference(known),
                   received, Origin("captured", "dump on Pit interface 1"), "STORM   ", TAKEN)  # fmt: skip


def main() -> None:
    path = Path(__file__).parent / f"{HEAD}.sqlite"
    with Library.open(path) as library:
        lantern = library.add_instrument(CHART, "Lanternfish in the pit", Address(0, 16))
        gust = version(100, 5, -300, b"\xf0\x7d\x01\x02\xf7", b"\xb0\x4a\x64")
        storm = library.keep(lantern, "Storm, first gust", gust, ("scene/storm", "loud"), "gusts from the left")
        library.add_version(storm, version(110, None, 0), "brighter")
        library.keep(lantern, "Harbour before the storm", version(20, 90, 12), ("scene/harbour",))
        library.keep(lantern, "Fog, rolling in", version(5, 127, -1))
        library.save_search("Storms", "tag:storm")
        library.keep_unread([((b"\xf0\x7d\x55\xf7",), "old bank.syx, offset 0", "no chart knows it")])
        library.delete([library.keep(lantern, "Thrown away", version(1, 1, 1))])
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()


if __name__ == "__main__":
    main()
