"""How long "sounds like this one" takes beside one matrix-vector product over the same numbers.

    python -m tests.bench.similar --patches 1000000

The baseline is numpy's float32 product of all sounds (one number for each sound parameter of Lanternfish) with one
vector, in whichever memory layout is faster. Results are exact when the nearest of every query are, in order, those
of a plain float64 computation over all sounds that shares nothing with the program but the data, and when scipy's
KD-tree finds the same ones, at the same distances, among a sample of the complete sounds.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable, Sequence

import numpy as np
from scipy.spatial import KDTree

from librarian.chart import Chart, load, shipped
from librarian.messages import Values
from librarian.sounds.near import Likeness

SPREAD = 0.08
UNKNOWN_SOUNDS = 0.05
UNKNOWN_SHARE = 0.1
#: Sounds that scipy looks through too.
SAMPLE = 20_000


def some_sounds(chart: Chart, count: int, seed: int) -> tuple[list[str], np.ndarray, np.ndarray]:
    """Names, raw values (count, P) and known flags of invented sounds: clouds around 200 centres, some incomplete."""
    rng = np.random.default_rng(seed)
    parameters = [chart.parameters[name] for name in chart.sound_ids]
    low = np.array([each.low for each in parameters])
    high = np.array([each.high for each in parameters])
    centres = rng.random((200, len(parameters)))
    raw = np.empty((count, len(parameters)), dtype=np.int64)
    for start in range(0, count, 100_000):
        part = slice(start, min(count, start + 100_000))
        size = part.stop - part.start
        share = centres[rng.integers(0, 200, size)] + rng.normal(0, SPREAD, (size, len(parameters)))
        raw[part] = np.rint(low + np.clip(share, 0, 1) * (high - low))
    known = np.ones(raw.shape, dtype=np.bool_)
    incomplete = rng.random(count) < UNKNOWN_SOUNDS
    known[incomplete] = rng.random((int(incomplete.sum()), len(parameters))) >= UNKNOWN_SHARE
    return [each.id for each in parameters], raw, known


def plain(chart: Chart, names: list[str], raw: np.ndarray, known: np.ndarray, row: int, limit: int) -> list[int]:
    """The nearest of one sound by float64 arithmetic over everything, ids in order."""
    squares = np.zeros(len(raw))
    common = np.zeros(len(raw))
    for column, name in enumerate(names):
        if not known[row, column]:
            continue
        parameter = chart.parameters[name]
        apart = np.abs(raw[:, column] - raw[row, column]) / (parameter.high - parameter.low)
        if parameter.kind in ("stepped", "switch"):
            apart = (apart > 0).astype(float)
        squares += np.where(known[:, column], apart**2, 0)
        common += known[:, column]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(common >= 0.5 * known[row].sum(), np.sqrt(squares / common), np.inf)
    order = np.lexsort((np.arange(len(raw)), np.round(distance, 12)))[:limit]
    return [int(each) for each in order]


def by_scipy(chart: Chart, names: list[str], raw: np.ndarray, known: np.ndarray, queries: int, limit: int) -> bool:
    """Whether scipy's KD-tree agrees on a sample of sounds of which all is known.

    A step becomes one axis for each position, so that two different ones are 1 apart; then distances are plain.
    """
    sample = np.flatnonzero(known.all(axis=1))[:SAMPLE]
    axes = []
    for column, name in enumerate(names):
        parameter, own = chart.parameters[name], raw[sample, column]
        if parameter.kind in ("stepped", "switch"):
            axes += [np.sqrt(0.5) * (own == position) for position in range(parameter.low, parameter.high + 1)]
        else:
            axes.append((own - parameter.low) / (parameter.high - parameter.low))
    points = np.stack(axes, axis=1) / np.sqrt(len(names))
    tree = KDTree(points)
    index = Likeness.from_raw(chart, sample, names, raw[sample], known[sample])
    for row in range(0, len(sample), max(1, len(sample) // queries)):
        values = Values(zip(names, raw[sample[row]].tolist(), strict=True))
        found = index.nearest(values, limit)
        distances, places = tree.query(points[row], k=min(limit, len(sample)))
        if not np.allclose([near.distance for near in found], distances, atol=1e-9):
            return False
        # The last ones may be equally far as others that found no place.
        sure = distances < distances[-1] - 1e-9
        if not {near.id for near in found} >= set(sample[places[sure]].tolist()):
            return False
    return True


def best(action: Callable[[], object], times: int) -> float:
    """Seconds of the fastest of several runs."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, and print RESULT."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--patches", type=int, default=1_000_000)
    parser.add_argument("--queries", type=int, default=12)
    parser.add_argument("--checked", type=int, default=4, help="queries whose results are checked")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)

    chart = load(shipped()["lanternfish"])
    names, raw, known = some_sounds(chart, asked.patches, asked.seed)
    index = Likeness.from_raw(chart, np.arange(asked.patches), names, raw, known)
    rows = np.random.default_rng(asked.seed + 1).integers(0, asked.patches, asked.queries)

    def sound(row: int) -> Values:
        return Values({name: int(raw[row, at]) for at, name in enumerate(names) if known[row, at]})

    by_rows = raw.astype(np.float32)
    by_columns = np.ascontiguousarray(by_rows.T)
    vector = by_rows[0].copy()
    seconds, products = [], []
    for row in rows.tolist():
        # Side by side, so that whatever else the machine does meets both.
        products.append(min(best(lambda: by_rows @ vector, 2), best(lambda: vector @ by_columns, 2)))
        asked_sound = sound(row)
        seconds.append(best(lambda one=asked_sound: index.nearest(one, 20), 3))
    exact = all(
        [near.id for near in index.nearest(sound(row), 20)] == plain(chart, names, raw, known, row, 20)
        for row in rows[: asked.checked].tolist()
    )
    exact = exact and by_scipy(chart, names, raw, known, asked.checked * 5, 20)
    median, product = statistics.median(seconds), statistics.median(products)
    print(f"{asked.patches} sounds, {len(names)} parameters; product {product * 1000:.1f} ms")
    print(f"RESULT ratio={median / product:.2f} ms={median * 1000:.1f} exact={int(exact)}")


if __name__ == "__main__":
    main()
