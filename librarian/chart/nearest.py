"""The nearest valid name to a mistyped one."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST = 64
_MOST = 4096


def nearest(word: str, words: Iterable[str]) -> str:
    """The best match for `word` among `words`, or '' when none is near.

    Bounded on purpose: comparing is quadratic, and a chart may come from anywhere.
    """
    if len(word) > _LONGEST:
        return ""
    candidates = [candidate for _, candidate in zip(range(_MOST), words, strict=False) if len(candidate) <= _LONGEST]
    folded = {candidate.casefold(): candidate for candidate in reversed(candidates)}
    found = get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else ""
