"""The words of all live patches in memory: which patches have a word that begins so, without asking the file.

A sorted list of words, and for each the patches that have it, one run behind the other: all words with one beginning
are one stretch of that array. A `WordList` never changes; `followed` makes the next one out of it, with what changed
in a small list of its own until that is worth joining. Agrees with the index of words in the file, from which it is
read: same words, same columns. About 50 bytes a sound with ten words.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import count
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

Row = tuple[int, str, str, str]
Flags = NDArray[np.bool_]

#: Bits of the columns; '' is any of them.
BITS = {"name": 1, "tags": 2, "note": 4, "": 7}
#: Changed patches that are kept beside the others before both are joined.
MOST_BESIDE = 1000
#: Stand for the end of a column and of a row while words are cut; no word is made of them.
_COLUMN_ENDS, _ROW_ENDS = ",", ";"
_AFTER_ALL = "\U0010ffff"


@dataclass(frozen=True, slots=True)
class Runs:
    """`words` sorted; the patches that have `words[n]` are `patches[starts[n]:starts[n + 1]]`, each once.

    `columns`: where they have it, as `BITS`.
    """

    words: list[str]
    starts: NDArray[np.int64]
    patches: NDArray[np.int32]
    columns: NDArray[np.uint8]

    def stretch(self, word: str, *, whole: bool) -> tuple[int, int]:
        """The words that begin so (or the one that is `whole`), as places in `words`."""
        first = bisect_left(self.words, word)
        if whole:
            return first, first + (first < len(self.words) and self.words[first] == word)
        return first, bisect_left(self.words, word + _AFTER_ALL, lo=first)

    def having(self, word: str, column: str, *, whole: bool) -> NDArray[np.int32]:
        """Patches that have it in that column ('' any), some perhaps several times."""
        first, last = self.stretch(word, whole=whole)
        part = slice(int(self.starts[first]), int(self.starts[last]))
        patches = self.patches[part]
        return patches if not column else patches[(self.columns[part] & BITS[column]) != 0]


@dataclass(frozen=True)
class WordList:
    """`beside`: the words of the patches that changed since `main` was made; what `main` says of `changed` is over."""

    main: Runs
    changed: NDArray[np.int32]
    beside: Runs
    _rows: Mapping[int, Row] = field(default_factory=dict, repr=False)

    def mask(self, word: str, column: str, size: int, *, whole: bool) -> Flags:
        """True at the id of every patch that has a word that begins so (is it, with `whole`); shape (size,)."""
        flags = np.zeros(size, np.bool_)
        flags[self.main.having(word, column, whole=whole)] = True
        if len(self.changed):
            flags[self.changed] = False
            flags[self.beside.having(word, column, whole=whole)] = True
        return flags

    def begun(self, word: str, most: int) -> list[tuple[str, int]]:
        """Words that begin so, with the number of patches that have them, most frequent first."""
        counts: dict[str, int] = {}
        for runs, over in ((self.main, self.changed), (self.beside, np.empty(0, np.int32))):
            first, last = runs.stretch(word, whole=False)
            if first == last:
                continue
            starts = runs.starts[first : last + 1]
            valid = np.ones(int(starts[-1] - starts[0]), np.int64)
            if len(over):
                valid[np.isin(runs.patches[int(starts[0]) : int(starts[-1])], over)] = 0
            numbers = np.add.reduceat(valid, starts[:-1] - starts[0])
            for name, number in zip(runs.words[first:last], numbers.tolist(), strict=True):
                counts[name] = counts.get(name, 0) + number
        some = ((name, number) for name, number in counts.items() if number)
        return sorted(some, key=lambda one: (-one[1], one[0]))[:most]

    def followed(self, changed: Sequence[int], rows: Iterable[Row]) -> WordList:
        """The next state: `rows` hold the words of those of the `changed` patches that are live."""
        beside = {**self._rows}
        for patch in changed:
            beside.pop(patch, None)
        beside.update((row[0], row) for row in rows)
        over = np.union1d(self.changed, np.array(changed, np.int32))
        runs = cut_up([list(beside.values())])
        if len(over) > MOST_BESIDE:
            return WordList(_joined(self.main, over, runs), np.empty(0, np.int32), _NOTHING)
        return WordList(self.main, over, runs, beside)


def word_list(portions: Iterable[Sequence[Row]]) -> WordList:
    """The words of these rows of the index: id, then words of name, tags and note, joined by blanks."""
    return WordList(cut_up(portions), np.empty(0, np.int32), _NOTHING)


def cut_up(portions: Iterable[Sequence[Row]]) -> Runs:
    """Rows to runs. No Python code runs for a single word, as millions are cut."""
    numbers: defaultdict[str, int] = defaultdict(count().__next__)
    column_end, row_end = numbers[_COLUMN_ENDS], numbers[_ROW_ENDS]
    parts = [_cut(rows, numbers, column_end, row_end) for rows in portions if rows]
    words, patches, columns = (
        np.concatenate(arrays) if parts else np.empty(0, kind)
        for arrays, kind in zip(zip(*parts, strict=True) if parts else ((),) * 3, _KINDS, strict=True)
    )
    names = sorted(name for name in numbers if numbers[name] > row_end)
    ranks = np.zeros(len(numbers), np.int32)
    ranks[np.fromiter(map(numbers.__getitem__, names), np.int64, len(names))] = np.arange(len(names))
    return _runs(names, ranks[words], patches, columns)


_KINDS = (np.int32, np.int32, np.uint8)


def _cut(
    rows: Sequence[Row], numbers: Mapping[str, int], column_end: int, row_end: int
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.uint8]]:
    """Number of the word, patch, bit of the column of each word of these rows."""
    text = "".join(f"{name} {_COLUMN_ENDS} {tags} {_COLUMN_ENDS} {note} {_ROW_ENDS} " for _, name, tags, note in rows)
    cut = text.split()
    found = np.fromiter(map(numbers.__getitem__, cut), np.int32, len(cut))
    row = np.cumsum(found == row_end)
    column = np.cumsum(found == column_end) - 2 * row
    is_word = found > row_end
    patches = np.fromiter(map(itemgetter(0), rows), np.int32, len(rows))
    return found[is_word], patches[row[is_word]], (1 << column[is_word]).astype(np.uint8)


def _runs(names: list[str], words: NDArray[np.int32], patches: NDArray[np.int32], columns: NDArray[np.uint8]) -> Runs:
    """Sort by word, then by patch; a patch that has a word several times has it once, in several columns."""
    order = np.argsort(words.astype(np.int64) << 32 | patches, kind="stable")
    words, patches, columns = words[order], patches[order], columns[order]
    if len(words):
        fresh = np.ones(len(words), np.bool_)
        fresh[1:] = (words[1:] != words[:-1]) | (patches[1:] != patches[:-1])
        places = np.flatnonzero(fresh)
        words, patches, columns = words[places], patches[places], np.bitwise_or.reduceat(columns, places)
    return Runs(names, np.searchsorted(words, np.arange(len(names) + 1)), patches, columns)


def _joined(main: Runs, over: NDArray[np.int32], beside: Runs) -> Runs:
    """Both as one, without what `main` says of the patches that are `over`."""
    names = sorted({*main.words, *beside.words})
    places = {name: place for place, name in enumerate(names)}
    gone = np.zeros(max(_last(main.patches), _last(over)) + 1, np.bool_)
    gone[over] = True
    kept = ~gone[main.patches]
    words = np.concatenate([_words(main, places)[kept], _words(beside, places)])
    return _without_unused(
        _runs(
            names,
            words,
            np.concatenate([main.patches[kept], beside.patches]),
            np.concatenate([main.columns[kept], beside.columns]),
        )
    )


def _last(patches: NDArray[np.int32]) -> int:
    return int(patches.max(initial=0))


def _words(runs: Runs, places: Mapping[str, int]) -> NDArray[np.int32]:
    """The place of its word among `places` for each patch of the runs."""
    own = np.fromiter((places[name] for name in runs.words), np.int32, len(runs.words))
    return np.repeat(own, np.diff(runs.starts))


def _without_unused(runs: Runs) -> Runs:
    used = np.diff(runs.starts) > 0
    names = [name for name, some in zip(runs.words, used.tolist(), strict=True) if some]
    return Runs(names, np.append(runs.starts[:-1][used], runs.starts[-1]), runs.patches, runs.columns)


_NOTHING = Runs([], np.zeros(1, np.int64), np.empty(0, np.int32), np.empty(0, np.uint8))
