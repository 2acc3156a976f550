"""Names of controls that have signs of the language in them, as they stand on the panel: “Level (dB)”, “LFO > Pitch”.

Cut at those signs such a name would be a group, a comparison or a key. Before a comparison, or the word `unknown`, it
is one word; elsewhere the signs mean what they always mean. In quotation marks any name may stand before a comparison.
"""

from __future__ import annotations

from collections.abc import Sequence

from librarian.collection.folding import words

from .tokens import Token, tokens
from .vocabulary import Vocabulary, as_written


def ends_a_name(token: Token) -> bool:
    """What stands before a comparison, or the word `unknown`, may be the name of a control."""
    return token.kind == "compare" or (token.kind == "word" and token.text.casefold() == "unknown")


def named_tokens(line: str, vocabulary: Vocabulary) -> Sequence[Token]:
    """The tokens of a line; a name that only its place before a comparison tells from something else is one word."""
    cut = tokens(line)
    joined: list[Token] = []
    taken = 0
    for at, token in enumerate(cut):
        if ends_a_name(token):
            first = _first_of_name(line, cut, taken, at, vocabulary)
            if first is not None:
                start, end = cut[first].start, cut[at - 1].end
                joined += [*cut[taken:first], Token("word", line[start:end], start, end, cut[first].glued)]
                taken = at
    return [*joined, *cut[taken:]]


def _first_of_name(line: str, cut: Sequence[Token], earliest: int, after: int, vocabulary: Vocabulary) -> int | None:
    """Where the name begins that ends just before `after`; None when nothing there has to be joined."""
    if after == earliest:
        return None
    before = cut[after - 1]
    if before.kind == "quoted" and cut[after].kind == "compare":
        found = not before.open_end and vocabulary.control(" ".join(words(before.text)))
        if found:
            return after - 1
    if not vocabulary.with_signs:
        return None
    starts = range(max(earliest, after - vocabulary.longest), after)
    return next((at for at in starts if as_written(line[cut[at].start : before.end]) in vocabulary.with_signs), None)
