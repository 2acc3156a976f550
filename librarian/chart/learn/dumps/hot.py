"""Bytes that move with almost every control, and the checksums that explain them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from librarian.chart.learn.dumps.evidence import Bytes, Evidence, touched
from librarian.chart.learn.dumps.readings import Reading
from librarian.chart.learn.sums import INNER_FORMS, WIRE_FORMS, SumForm, SumGuess, checksums, checksums_of

_OFTEN = 0.6
_LEAST_CONTROLS = 1
_LEAST_DUMPS = 4
_LEAST_STARTED = 6
_LONGEST = 4


@dataclass(frozen=True, slots=True)
class Sums:
    """`found`: checksums that all dumps agree on. `tried`: the best others, ranked. `hot`: positions with no reason."""

    found: tuple[SumGuess, ...]
    tried: tuple[SumGuess, ...]
    hot: tuple[int, ...]


def hot_places(images: Bytes, evidence: Evidence, controls: Sequence[str]) -> list[int]:
    """Bytes that changed with most of the controls that changed anything."""
    masks = [mask for one in controls if (mask := touched(images, evidence.moves(one))).any()]
    if len(masks) < _LEAST_CONTROLS:
        return []
    share = np.mean([mask > 0 for mask in masks], axis=0)
    return [int(at) for at in np.flatnonzero(share >= _OFTEN)]


def wire_sums(table: Bytes, hot: Sequence[int]) -> Sums:
    """Checksums over bytes of the messages as they travel, for every hot place that one explains."""
    found: list[SumGuess] = []
    tried: list[SumGuess] = []
    left = set(hot)
    varying = {int(at) for at in np.flatnonzero(np.ptp(table, axis=0))}
    while left and len(np.unique(table, axis=0)) >= _LEAST_DUMPS:
        guesses = [guess for at in _begins(left) for guess in _at(table, at, hot)]
        fitting = [one for one in guesses if one.fits and _covers(one) & left and _wide(one, varying)]
        tried += [one for one in guesses if not one.fits]
        if not fitting:
            # A few instruments begin their sum with a number of their own; that explains more, and so proves less.
            many = len(np.unique(table, axis=0)) >= _LEAST_STARTED
            guesses = [guess for at in _begins(left) for guess in _at(table, at, hot, started=True)] if many else []
            fitting = [one for one in guesses if _covers(one) & left and _whole(one, varying, hot)]
        if not fitting:
            break
        best = min(fitting, key=lambda one: _rank(one, varying, table))
        found.append(best)
        left -= _covers(best)
    return Sums(tuple(found), tuple(_ranked(tried)), tuple(sorted(left)))


def ranges(table: Bytes, guess: SumGuess) -> dict[tuple[int, int], int]:
    """All ranges (first, end) over which this checksum fits all dumps, with their start values: they differ only in
    bytes that never change."""
    found = _at(table, guess.at, (), guess, started=guess.start != 0)
    same = [one for one in found if one.fits and one.kind == guess.kind and one.form == guess.form]
    return {(one.first, one.end): one.start for one in same}


def unpacked_sums(reading: Reading, table: Bytes, hot: Sequence[int]) -> list[SumGuess]:
    """Checksums over the unpacked data that explain hot places outside of it."""
    found: list[SumGuess] = []
    left = {at for at in hot if not reading.start <= at < reading.end}
    varying = {int(at) for at in np.flatnonzero(np.ptp(table, axis=0))}
    inside = set(range(reading.start, reading.end))
    while left:
        guesses = [
            one for at in _begins(left, reading.end) for one in checksums_of(reading.images, table, at, WIRE_FORMS)
        ]
        fitting = [one for one in guesses if one.fits and _covers(one) & left and not _covers(one) & inside]
        if not fitting and len(np.unique(table, axis=0)) >= _LEAST_STARTED:
            guesses = [
                one
                for at in _begins(left, reading.end)
                for one in checksums_of(reading.images, table, at, WIRE_FORMS, started=True)
            ]
            fitting = [one for one in guesses if _covers(one) & left and not _covers(one) & inside]
        if not fitting:
            break
        found.append(min(fitting, key=lambda one: _rank(one, varying, table)))
        left -= _covers(found[-1])
    return found


def inner_sum(reading: Reading, hot: Sequence[int]) -> SumGuess | None:
    """A checksum inside the packed data, at its end, over all before it."""
    size = reading.images.shape[1]
    for form in INNER_FORMS:
        at = size - form.size
        if reading.packing != "plain" and at > 0 and any(at <= place < size for place in hot):
            fitting = [one for one in checksums(reading.images, at, [form], [0], [at]) if one.fits]
            if fitting:
                return fitting[0]
    return None


def _begins(places: set[int], lowest: int = 1) -> list[int]:
    """Where a checksum that covers one of the places may begin."""
    return sorted({at - back for at in places for back in range(_LONGEST) if at - back >= lowest})


def _at(
    table: Bytes, at: int, hot: Sequence[int], like: SumGuess | None = None, *, started: bool = False
) -> list[SumGuess]:
    forms: Sequence[SumForm] = WIRE_FORMS if like is None else [like.form]
    last = table.shape[1] - 1
    firsts, ends = range(1, at), {at, *(place for place in hot if place < at)}
    if like is not None:
        ends.add(like.end)
    forms = [form for form in forms if at + form.size <= last]
    return checksums(table, at, forms, firsts, sorted(ends), best=0, started=started)


def _wide(guess: SumGuess, varying: set[int]) -> bool:
    """A checksum is over most of what changes; that a few bytes happen to agree proves nothing."""
    inside = sum(guess.first <= at < guess.end for at in varying)
    return inside >= max(1, len(varying) // 2)


def _rank(guess: SumGuess, varying: set[int], table: Bytes) -> tuple[int, int, int, int]:
    """The likeliest least: explains most that changes; and a wider sum that also explains a byte beside it which only
    has not changed yet."""
    still = [at for at in _covers(guess) if at not in varying]
    explains = guess.kind != "xor" and any(table[0, at] for at in still)
    return -len(_covers(guess) & varying), 0 if explains else 1, guess.form.size, guess.form.bits


def _whole(guess: SumGuess, varying: set[int], hot: Sequence[int]) -> bool:
    """Covers every byte before it that changes at all, but for other checksums: with a start value any constant byte
    may be in or out, so that only the whole is worth believing."""
    before = {at for at in varying if at < guess.at and at not in hot}
    return bool(before) and all(guess.first <= at < guess.end for at in before)


def _covers(guess: SumGuess) -> set[int]:
    return set(range(guess.at, guess.at + guess.form.size))


def _ranked(tried: Sequence[SumGuess], most: int = 8) -> list[SumGuess]:
    best: dict[tuple[object, ...], SumGuess] = {}
    for one in sorted(tried, key=lambda one: -one.agree):
        best.setdefault((one.kind, one.form, one.at), one)
    return list(best.values())[:most]
