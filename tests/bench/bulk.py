"""How fast a large bank of sounds comes in, beside raw sqlite3 inserting the very same rows.

    python -m tests.bench.bulk --patches 200000 --seed 1
    python -m tests.bench.bulk --patches 20000 --chart tests/data/charts/sluice.toml

A .syx file of invented dumps (every sound with its own values and name) of the instrument of `--chart`, Lanternfish
where none is named, is imported into a new library as a person would do it: read, previewed, kept as one step, found.
`ratio` is that whole time over the baseline's: the sqlite3 module inserting the rows that came of it, table by table
with executemany in one transaction, into the same tables with the same indexes, foreign keys, durability and FTS5
index. The baseline has nothing to read, to check or to compare, as its rows lie ready in memory; and it needs the one
commit and the index of words, because without them nothing is kept or found. `cpu_ratio` is the same of the time that
the processor worked: on a machine that does other things too, it is the steadier one. `keep_ratio` is the keeping alone
(`Library.keep_many` of finished versions with tags and notes). `mb_peak`: the importing process at its largest.
`file_ratio`: the library's size over the baseline file's. `bytes_ratio`: over the bytes of the .syx file.
`bundle_same`: 1 when the first `--bundled` sounds, exported as a bundle and read into an empty library, are the same
there by a hash of every name, tag, note, version, value and byte, taken from both files with plain SQL.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from librarian.chart import Chart, load, shipped
from librarian.collection import Library
from librarian.files import importing, intake, outgoing, syx
from librarian.files.targets import targets_of
from librarian.messages import ALL_CALL, Address, Values
from tests.bench.collection_filler import Filler
from tests.jackd import bound

DEVICE = 16
"""Of the instrument, where its chart does not say one."""


def write_bank(path: Path, chart: Chart, patches: int, seed: int) -> int:
    """A file of dumps of the kind that the chart sends first; returns its bytes."""
    luck = random.Random(seed)
    filler = Filler(chart, seed)
    address = address_of(chart)
    encode: Callable[..., tuple[bytes, ...]] = chart.codec.encode
    message = next(each.message for each in chart.ways_out if each.kind == "dump")
    info = chart.codec.messages[message]
    ranges = [each for each in filler.ranges if each[0] in info.carries]
    size = 0
    with path.open("wb") as file:
        for number in range(patches):
            values = Values((name, luck.randint(low, high)) for name, low, high in ranges)
            slots = {word: low + number % (high - low + 1) for word, (low, high) in info.slots.items()}
            name = " ".join(filler.some_words(2))[: info.name_size].upper() or None
            for raw in encode(message, values, address, name=name, **slots):
                size += file.write(raw)
    return size


def address_of(chart: Chart) -> Address:
    """Where the instrument of the bench listens."""
    usual = chart.default_address
    return Address(usual.channel, DEVICE if usual.device == ALL_CALL else usual.device)


def child_import(chart: Chart, library_path: Path, bank: Path) -> dict[str, float]:
    """In a process of its own: import, find, say how long it took and how large it became."""
    with Library.open(library_path) as library:
        library.add_instrument(chart, chart.name, address_of(chart))
        worked, start = time.process_time(), time.perf_counter()
        targets = targets_of(library)
        seen = importing.preview(library, [syx.read(bank)], targets)
        looked = time.perf_counter()
        done = importing.apply(library, seen)
        kept = time.perf_counter()
        first = library.patch(done.patches[0])
        assert first.id in library.find(first.name).ids
        end, worked = time.perf_counter(), time.process_time() - worked
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "seconds": end - start,
        "worked_s": worked,
        "preview_s": looked - start,
        "apply_s": kept - looked,
        "patches": len(done.patches),
        "mb_peak": peak,
    }


def child_keep(chart: Chart, library_path: Path, patches: int, seed: int) -> dict[str, float]:
    """In a process of its own: keep finished versions."""
    sounds = list(Filler(chart, seed).sounds(1, patches))
    with Library.open(library_path) as library:
        library.add_instrument(chart, chart.name, address_of(chart))
        start = time.perf_counter()
        library.keep_many(sounds)
        return {"seconds": time.perf_counter() - start}


def child_bundle(library_path: Path, sounds: int) -> dict[str, float]:
    """In a process of its own: some sounds out as a bundle, and into an empty library."""
    bundle, back = library_path.with_name("some.zip"), library_path.with_name("back.sqlite")
    with Library.open(library_path) as library:
        ids = sorted(library.find().ids)[:sounds]
        start = time.perf_counter()
        outgoing.export(library, ids, bundle)
    with Library.open(back) as library:
        intake.apply(library, intake.preview(library, [bundle], charts=()))
    seconds = time.perf_counter() - start
    return {"seconds": seconds, "same": float(content(library_path, ids[-1]) == content(back, 1 << 60))}


def content(library_path: Path, last: int) -> tuple[int, str]:
    """Number and hash of all that is kept of the patches up to `last`, whatever their numbers are."""
    source = sqlite3.connect(library_path)
    rows = source.execute(
        "SELECT patch.name, patch.tags, patch.note, instrument.name, version.number, version.origin, version.detail, "
        "version.dump_name, version.note, version.taken, layout.chart, layout.revision, layout.parameters, "
        "content.row, received.lengths, received.raw FROM patch JOIN instrument ON instrument.id = patch.instrument_id "
        "JOIN version ON version.patch_id = patch.id JOIN content ON content.id = version.content_id "
        "JOIN layout ON layout.id = content.layout_id LEFT JOIN received ON received.id = version.received_id "
        "WHERE patch.state = 0 AND version.state = 0 AND patch.id <= ?",
        (last,),
    )
    hashes = sorted(hashlib.sha256(repr(row).encode()).digest() for row in rows)
    source.close()
    return len(hashes), hashlib.sha256(b"".join(hashes)).hexdigest()


def raw_inserts(library: Path, target: Path) -> tuple[float, float]:
    """Seconds of the sqlite3 module for the same rows, from the first CREATE to the end of the commit.

    As they passed, and as the processor worked.
    """
    source = sqlite3.connect(library)
    schema = [
        (str(name), str(sql))
        for kind in ("table", "index")
        for name, sql in source.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = ? AND sql IS NOT NULL AND name NOT LIKE 'word_index_%' "
            "AND name NOT LIKE 'sqlite_%'",
            (kind,),
        )
    ]
    columns = {
        name: [str(row[1]) for row in source.execute(f"PRAGMA table_info({name})")]
        for name, sql in schema
        if sql.startswith("CREATE TABLE")
    }
    order = (
        "chart_text",
        "instrument",
        "layout",
        "content",
        "received",
        "patch",
        "version",
        "tag",
        "patch_tag",
        "intent",
    )
    rows = {name: source.execute(f"SELECT * FROM {name}").fetchall() for name in order}
    words = source.execute("SELECT rowid, name, tags, note FROM word_index").fetchall()
    source.close()
    worked, start = time.process_time(), time.perf_counter()
    made = sqlite3.connect(target, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON", "cache_size = -32768"):
        made.execute(f"PRAGMA {pragma}")
    made.execute("BEGIN IMMEDIATE")
    for _, sql in schema:
        made.execute(sql)
    for name in order:
        places = ", ".join("?" for _ in columns[name])
        made.executemany(f"INSERT INTO {name} VALUES ({places})", rows[name])
    made.executemany("INSERT INTO word_index(rowid, name, tags, note) VALUES (?, ?, ?, ?)", words)
    made.execute("COMMIT")
    taken = time.perf_counter() - start, time.process_time() - worked
    made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    made.close()
    return taken


def in_child(folder: Path, *arguments: str) -> dict[str, Any]:
    """The answer of one of the children."""
    command = [sys.executable, "-m", "tests.bench.bulk", *arguments]
    with subprocess.Popen(bound(command), stdout=subprocess.PIPE, text=True) as process:
        out, _ = process.communicate()
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)} failed in {folder}")
    answer: dict[str, Any] = json.loads(out.splitlines()[-1])
    return answer


def measure(folder: Path, chart_path: Path, patches: int, seed: int, bundled: int) -> dict[str, float]:
    """All the numbers of the last line."""
    chart = load(chart_path)
    of_chart = ("--chart", str(chart_path))
    bank = folder / "bank.syx"
    size = write_bank(bank, chart, patches, seed)
    print(f"{patches} dumps, {size / 1e6:.1f} MB")
    imported = folder / "imported.sqlite"
    done = in_child(folder, *of_chart, "--child-import", str(imported), str(bank))
    raw, raw_worked = raw_inserts(imported, folder / "raw.sqlite")
    print(f"import {done['seconds']:.1f} s (preview {done['preview_s']:.1f}, apply {done['apply_s']:.1f})")
    print(f"raw {raw:.1f} s")
    kept = folder / "kept.sqlite"
    amount = ("--patches", str(patches), "--seed", str(seed))
    keeping = in_child(folder, *of_chart, "--child-keep", str(kept), *amount)
    raw_kept, _ = raw_inserts(kept, folder / "raw kept.sqlite")
    print(f"keep {keeping['seconds']:.1f} s, raw {raw_kept:.1f} s")
    there = in_child(folder, "--child-bundle", str(imported), "--bundled", str(min(bundled, patches)))
    print(f"bundle of {min(bundled, patches)} sounds and back {there['seconds']:.1f} s")
    with Library.open(imported) as library:
        whole = not library.check()
    return {
        "ratio": done["seconds"] / raw,
        "cpu_ratio": done["worked_s"] / raw_worked,
        "mb_peak": done["mb_peak"],
        "file_ratio": imported.stat().st_size / (folder / "raw.sqlite").stat().st_size,
        "keep_ratio": keeping["seconds"] / raw_kept,
        "bytes_ratio": imported.stat().st_size / size,
        "patches": done["patches"],
        "whole": float(whole),
        "bundle_same": there["same"],
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--patches", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--chart", type=Path, default=Path(str(shipped()["lanternfish"])), help="of which instrument")
    parser.add_argument("--bundled", type=int, default=20_000, help="sounds that go out as a bundle and come back")
    parser.add_argument("--child-bundle", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--child-import", nargs=2, type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--child-keep", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.child_import:
        print(json.dumps(child_import(load(given.chart), *given.child_import)))
        return
    if given.child_bundle:
        print(json.dumps(child_bundle(given.child_bundle, given.bundled)))
        return
    if given.child_keep:
        print(json.dumps(child_keep(load(given.chart), given.child_keep, given.patches, given.seed)))
        return
    with tempfile.TemporaryDirectory() as folder:
        results = measure(Path(folder), given.chart, given.patches, given.seed, given.bundled)
    print("RESULT " + " ".join(f"{name}={value:.2f}" for name, value in results.items()))


if __name__ == "__main__":
    main()
