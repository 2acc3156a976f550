"""The nearest valid name to a mistyped one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from difflib import get_close_matches
from itertools import islice

_LONGEST = 64
_MOST_WORDS = 4096
_left: ContextVar[list[int] | None] = ContextVar("comparisons left", default=None)


def nearest(word: str, words: Iterable[str]) -> str:
    """The best match for `word` among `words`, or '' when none is near.

    Bounded on purpose: comparing takes long, and a chart may come from anywhere.
    """
    left = _left.get()
    if len(word) > _LONGEST or (left is not None and left[0] <= 0):
        return ""
    candidates = [candidate for candidate in islice(words, _MOST_WORDS) if len(candidate) <= _LONGEST]
    if left is not None:
        left[0] -= len(candidates) + 1
    folded = {candidate.casefold(): candidate for candidate in reversed(candidates)}
    found = get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else ""


@contextmanager
def bounded(comparisons: int) -> Iterator[None]:
    """Inside, all calls of `nearest` together compare at most about this many words; later ones find nothing."""
    token = _left.set([comparisons])
    try:
        yield
    finally:
        _left.reset(token)
