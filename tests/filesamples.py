"""A small library with everything in it that a file can carry, and a picture of a library's content to compare."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.files.identity import identity
from librarian.messages import Address, Origin, Values, Version

START = datetime(2026, 3, 1, 20, 15, 2, 123456, tzinfo=UTC)
SPITEFUL = (
    '=HYPERLINK("x")',
    "+1+1",
    "-2",
    "@sum(A1)",
    "'quoted",
    "'=already",
    "''twice",
    'semi;colon, comma\ttab "quote"',
    "<b>bold</b> & \u202eright to left",
    "Robert'); DROP TABLE patch;--",
    'name:x OR tag:"y" NEAR(',
    "ünïcödé 音 🎹",
    "\\x1b[31mred",
)
"""Names that other programs obey, interpret, or break on."""


@cache
def chart(name: str) -> Chart:
    """A shipped chart."""
    return load(shipped()[name])


def dump(name: str = "Harbour", device: int = 16, **values: int) -> tuple[bytes, ...]:
    """A Lanternfish edit buffer as its instrument sends it; `filter__cutoff=5` sets filter.cutoff."""
    lantern = chart("lanternfish")
    known = {**lantern.defaults(), **{key.replace("__", "."): value for key, value in values.items()}}
    return tuple(lantern.codec.encode("edit", known, Address(2, device), name=name, form="answer"))


def version(name: str, number: int = 0, **values: int) -> Version:
    """A captured Lanternfish sound with its bytes."""
    raws = dump(name[:12], **values)
    decoded = chart("lanternfish").codec.decode_all(raws, Address(2, 16))
    known = Values({key: value for key, value in decoded.values.items() if key in chart("lanternfish").parameters})
    return Version(
        "lanternfish",
        chart("lanternfish").revision,
        known,
        chart("lanternfish").unknown(known),
        raws,
        Origin("captured", "edit buffer"),
        decoded.name,
        START + timedelta(minutes=number),
    )


def edited(before: Version, number: int, **values: int) -> Version:
    """The same sound after an edit: no bytes."""
    changed = {key.replace("__", "."): value for key, value in values.items()}
    return Version(
        before.chart,
        before.revision,
        before.values.with_values(changed),
        before.unknown - changed.keys(),
        (),
        Origin("edited", "by hand, “quotes” and\ttabs"),
        before.name,
        START + timedelta(minutes=number, microseconds=number),
    )


def fill(library: Library) -> None:
    """Two instruments (and a removed one), sounds with histories, tags, notes, a trash, searches, strange bytes."""
    lantern, fog = chart("lanternfish"), chart("fogbell")
    left = library.add_instrument(lantern, "Left", Address(2, 16))
    pedal = library.add_instrument(fog, "Pedal", Address(0, 127))
    gone = library.add_instrument(lantern, "Sold", Address(4, 18))
    library.update_instrument(left, firmware="1.2")
    first = version("Harbour", 1)
    patch = library.keep(left, "Harbour", first, ["act 1", "act 1/storm", "semi;colon", 'quo"te'], "Two lines\nof note")
    library.add_version(patch, edited(first, 2, filter__cutoff=3), "quieter")
    library.add_version(patch, edited(first, 3, filter__cutoff=90), "", library.versions(patch)[0].id)
    for number, name in enumerate(SPITEFUL):
        library.keep(left, name, version("Odd", 10 + number, filter__cutoff=number), [name.replace("/", " ")], name)
    bursts = fog.codec.controllers(fog.defaults(), Address(0), side="instrument")
    messages = tuple(raw for burst in bursts for raw in burst.messages)
    known = Values(dict(list(fog.defaults().items())[:-3]))
    drone = Version("fogbell", fog.revision, known, fog.unknown(known), messages, Origin("captured"), "", START)
    library.keep(pedal, "Drone", drone)
    other = library.keep(left, "Harbour too", version("Harbour2", 40, filter__cutoff=44))
    library.merge(patch, [other])
    library.keep(gone, "Of a sold one", version("Sold", 50, filter__cutoff=9))
    library.remove_instrument(gone)
    library.keep_unread([((b"\xf0\x55\x01\xf7", b"\x01\x02"), "old.syx at byte 3", "No chart here knows it.")])
    library.save_search("Storms", "tag:storm")


def picture(library: Library) -> list[object]:
    """All that a person would miss, without numbers that belong to one library."""
    found: list[object] = []
    for place in (False, True):
        for row in library.rows(library.find(trash=place).ids):
            history = library.versions(row.id)
            numbers = {each.id: n for n, each in enumerate(history)}
            contents = library.version_contents([each.id for each in history])
            versions = [
                (
                    identity(contents[each.id]).hex(),
                    each.note,
                    numbers.get(each.parent, "elsewhere") if each.parent else None,
                )
                for each in history
            ]
            found.append((row.name, row.instrument_name, row.tags, row.note, row.place, tuple(versions)))
    instruments = [
        (r.name, r.chart, r.revision, r.address, r.firmware, r.removed) for r in library.instruments(removed=True)
    ]
    rest = [(row.messages, row.source, row.reason) for row in library.unread()]
    searches = [(row.name, row.text) for row in library.saved_searches()]
    return [sorted(map(str, found)), sorted(map(str, instruments)), rest, searches]


def library_at(path: Path) -> Library:
    """An open library that is filled."""
    library = Library.open(path)
    fill(library)
    return library


def rewritten(path: Path, change: Callable[..., bytes | None], **more: bytes) -> Path:
    """A copy of a bundle with files inside changed (None: left out) and added."""
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = change(name, old.read(name))
            if data is not None:
                new.writestr(name, data)
        for name, data in more.items():
            new.writestr(name, data)
    return out
