"""The words in memory against plain sets, through any row of changes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from librarian.collection import wordlist
from librarian.collection.wordlist import word_list

WORDS = st.lists(st.sampled_from(["a", "ab", "abc", "b", "bell", "雨", "→", "10", "zz"]), max_size=4).map(" ".join)
ROWS = st.dictionaries(st.integers(1, 12), st.tuples(WORDS, WORDS, WORDS), max_size=12)
COLUMNS = ("name", "tags", "note")


def plain(rows, word: str, column: str, *, whole: bool) -> list[int]:
    """Patches that have the word, by going through all of them."""
    return sorted(
        patch
        for patch, texts in rows.items()
        for name, text in zip(COLUMNS, texts, strict=True)
        if column in {"", name} and any(one == word if whole else one.startswith(word) for one in text.split())
    )


def check(made: wordlist.WordList, rows) -> None:
    for word in ("a", "ab", "b", "be", "雨", "→", "1", "nothing"):
        for column in ("", *COLUMNS):
            for whole in (True, False):
                found = np.flatnonzero(made.mask(word, column, 20, whole=whole)).tolist()
                assert found == sorted(set(plain(rows, word, column, whole=whole))), (word, column, whole)
        begun = {one for texts in rows.values() for text in texts for one in text.split() if one.startswith(word)}
        counted = {one: len(set(plain(rows, one, "", whole=True))) for one in begun}
        assert made.begun(word, 100) == sorted(counted.items(), key=lambda one: (-one[1], one[0]))


@pytest.mark.parametrize("most_beside", [0, 3, 1000])
@settings(max_examples=30)
@given(first=ROWS, changes=st.lists(st.tuples(ROWS, st.sets(st.integers(1, 12))), max_size=4))
def test_it_says_what_the_rows_say(most_beside: int, first, changes) -> None:
    kept, wordlist.MOST_BESIDE = wordlist.MOST_BESIDE, most_beside
    try:
        rows = dict(first)
        made = word_list([[(patch, *rows[patch]) for patch in sorted(rows)]])
        check(made, rows)
        for written, removed in changes:
            rows.update(written)
            for patch in removed:
                rows.pop(patch, None)
            changed = sorted({*written, *removed})
            made = made.followed(changed, [(patch, *rows[patch]) for patch in changed if patch in rows])
            check(made, rows)
    finally:
        wordlist.MOST_BESIDE = kept
