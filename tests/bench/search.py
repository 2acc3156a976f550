"""How fast sounds are found while typing, beside raw sqlite3 on the same file.

    python -m tests.bench.search --patches 200000 --seed 1

Forty lines as a person types them (words letter by letter, several words, tags), each asked of the library and, in
the same process and the same file, of the sqlite3 module with the plainest FTS5 statements that give the same answer:
how many patches match, and the first page of 50 rows (name, tags, note, unknowns) in the order of names.
SQLite may walk the names and look each up among the matches, or sort the matches; which is faster depends on the
line, so both are timed and the faster one is the baseline. The library finds *all* ids in order, not only a page.
`page_ratio` is our time for the page (find, then rows) over the baseline's; both warm, best of several rounds, which
take turns so that whatever else the machine does meets both.
`bare_ms_p95` is FTS5 alone, counting matches without order or rows. `values_query_ms` are parameter conditions,
`complete_ms` completions. Results of both are compared before anything is timed.
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from librarian.chart import load, shipped
from librarian.collection import Library
from librarian.messages import Address
from tests.bench.collection_filler import Filler

PAGE = 50
ROUNDS = 5


def build(path: Path, patches: int, seed: int) -> Filler:
    """A library file with so many sounds."""
    chart = load(shipped()["lanternfish"])
    filler = Filler(chart, seed)
    with Library.open(path) as library:
        instrument = library.add_instrument(chart, "Lanternfish", Address(0, 16))
        library.keep_many(filler.sounds(instrument, patches), "Bench")
    return filler


def lines(filler: Filler) -> list[str]:
    """Forty realistic lines: four words typed letter by letter, pairs, triples, a word of many, one of few, none."""
    common, other, third, rare = filler.words[1], filler.words[25], filler.words[200], filler.words[4000]
    typed = [word[:length] for word in (common, other, third, rare) for length in range(1, len(word) + 1)]
    pairs = [f"{common} {other[:length]}" for length in (1, 2, 3)] + [f"{other} {third}", f"{third[:2]} {rare[:2]}"]
    more = [
        f"{common} {other} {third[:1]}",
        f"{rare} 7",
        "1",
        "10",
        "99",
        "zzz",
        "xylo",
        filler.words[2],
        filler.words[3],
    ]
    tags = [filler.tags[0].rpartition("/")[2], filler.tags[20].rpartition("/")[2][:3], "scene", "mo"]
    every = typed + pairs + more + tags
    return (every + [f"{word} {number}" for number, word in enumerate(filler.words[30:70])])[:40]


class Baseline:
    """The sqlite3 module and nothing else."""

    def __init__(self, path: Path) -> None:
        self.connection = sqlite3.connect(path, isolation_level=None)
        self.connection.execute("PRAGMA cache_size = -32768")

    @staticmethod
    def _match(line: str) -> str:
        return " AND ".join(f'"{word}" *' for word in line.split())

    def page(self, line: str, *, from_matches: bool = False) -> tuple[int, list[tuple]]:
        """How many match, and the first page by name; SQLite begins with the matches, or goes through the names."""
        match = self._match(line)
        count = self.connection.execute(
            "SELECT count(*) FROM word_index WHERE word_index MATCH ?", (match,)
        ).fetchone()[0]
        source = (
            "word_index CROSS JOIN patch ON patch.id = word_index.rowid WHERE word_index MATCH ?"
            if from_matches
            else "patch WHERE patch.id IN (SELECT rowid FROM word_index WHERE word_index MATCH ?)"
        )
        rows = self.connection.execute(
            f"SELECT patch.id, patch.name, patch.tags, patch.note, patch.unknown FROM {source} AND patch.state = 0 "
            "ORDER BY patch.name_order, patch.id LIMIT ?",
            (match, PAGE),
        ).fetchall()
        return count, rows

    def bare(self, line: str) -> int:
        """How many match."""
        sql = "SELECT count(*) FROM word_index WHERE word_index MATCH ?"
        return int(self.connection.execute(sql, (self._match(line),)).fetchone()[0])


def ours(library: Library, line: str) -> tuple[int, list[tuple]]:
    """The same by the library."""
    found = library.find(line)
    rows = library.rows(found.ids[:PAGE])
    return len(found), [(row.id, row.name, "\n".join(row.tags), row.note, row.unknown) for row in rows]


def best_ms(ask: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Shortest of several runs, in milliseconds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        ask()
        times.append((time.perf_counter() - start) * 1000)
    return min(times)


def in_turns(*asks: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """Shortest of several runs of each, in milliseconds."""
    times = [[best_ms(ask, 1) for ask in asks] for _ in range(rounds)]
    return [min(some) for some in zip(*times, strict=True)]


def p95(times: list[float]) -> float:
    """The value that 95 of 100 do not exceed."""
    return statistics.quantiles(times, n=20, method="inclusive")[-1]


def conditions(seed: int) -> list[str]:
    """Parameter conditions in display units."""
    return [
        "cutoff > 2 kHz", "cutoff < 200 Hz", "cutoff = 1 kHz", "resonance > 90 %", "attack < 20 ms",
        "amp envelope attack > 1 s", "wave = saw", "wave != saw", "tune > 10 ct", "drive unknown", "has:unknown",
        "cutoff > 1 kHz cutoff < 1.2 kHz resonance > 50 %", "not wave = saw",
        "(wave = saw or wave = pulse) attack < 5 ms", "transpose > 3 st", "cutoff > 2 kHz ba", "rate 1 > 2 hz",
        "volume > 99 %", "before:2017 cutoff > 5 kHz", "mode = low release > 2 s",
    ]  # fmt: skip


def by_sql_ms(library: Library, line: str) -> float:
    """One line on the road of a process that asks once: SQL only."""
    with Library.open(library.path) as fresh:
        fresh.total()
        start = time.perf_counter()
        fresh.find(line)
        return (time.perf_counter() - start) * 1000


def measure(path: Path, filler: Filler, seed: int) -> dict[str, float]:
    """All the numbers of the last line."""
    with Library.open(path) as library:
        start = time.perf_counter()
        library.warm()
        warm_s = time.perf_counter() - start
        baseline = Baseline(path)
        ratios, pages, bare = [], [], []
        for line in lines(filler):
            theirs, mine = baseline.page(line), ours(library, line)
            assert theirs == mine, f"{line!r}: {theirs[0]} by sqlite3, {mine[0]} by the library"
            page, *raws = in_turns(
                lambda line=line: ours(library, line),
                lambda line=line: baseline.page(line),
                lambda line=line: baseline.page(line, from_matches=True),
            )
            raw = min(raws)
            bare.append(best_ms(lambda line=line: baseline.bare(line)))
            ratios.append(page / raw)
            pages.append(page)
            print(f"{line!r:28} {mine[0]:8} found  {page:7.2f} ms  sqlite3 {raw:7.2f} ms  counting {bare[-1]:6.2f} ms")
        values = []
        for line in conditions(seed):
            found = library.find(line)
            assert not found.problems, (line, found.problems)
            values.append(best_ms(lambda line=line: ours(library, line)))
            print(f"{line!r:58} {len(found):8} found  {values[-1]:7.2f} ms")
        completions = [best_ms(lambda line=line: library.complete(line)) for line in lines(filler)]
        tags = best_ms(lambda: library.tag_counts(library.find(lines(filler)[0])))
        edits = after_an_edit(library, lines(filler)[1])
        once = statistics.median(by_sql_ms(library, line) for line in lines(filler)[:8] + conditions(seed)[:4])
        baseline.connection.close()
    return {
        "page_ratio_median": statistics.median(ratios),
        "page_ms_p95": p95(pages),
        "values_query_ms_p95": p95(values),
        "complete_ms_p95": p95(completions),
        "bare_ms_p95": p95(bare),
        "tag_counts_ms": tags,
        "after_edit_ms": edits,
        "once_ms_median": once,
        "warm_s": warm_s,
    }


def after_an_edit(library: Library, line: str) -> float:
    """The first answer after a change, which has to read what changed."""
    times = []
    patch = library.find(line).ids[0]
    for number in range(3):
        library.rename(patch, f"{library.patch(patch).name} {number}")
        times.append(best_ms(lambda: ours(library, line), 1))
    return statistics.median(times)


def main(arguments: Sequence[str] | None = None) -> None:
    """Build (or take) a library, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--patches", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--library", type=Path, help="keep the library there, and take it when it is there")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        path = given.library or Path(folder) / "bench.sqlite"
        if path.exists():
            filler = Filler(load(shipped()["lanternfish"]), given.seed)
        else:
            start = time.perf_counter()
            filler = build(path, given.patches, given.seed)
            took, size = time.perf_counter() - start, path.stat().st_size / 1e6
            print(f"{given.patches} sounds kept in {took:.1f} s, {size:.0f} MB")
        results = measure(path, filler, given.seed)
    print("RESULT " + " ".join(f"{name}={value:.2f}" for name, value in results.items()))


if __name__ == "__main__":
    main()
