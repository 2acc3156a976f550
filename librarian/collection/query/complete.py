"""What the word being typed could become: words of the language, tags, parameters, steps, words of the sounds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

from librarian.collection.folding import fold, words

from .dates import WORDS as SPANS
from .keys import HAS, KEYS, OF_TIME, SOURCES
from .names import named_tokens
from .tokens import Token, in_quotes
from .vocabulary import Control, Vocabulary

Kind = Literal["word", "tag", "parameter", "value", "instrument", "key", "date", "origin"]

#: Of one kind; more would only push the others out of sight.
MOST_OF_A_KIND = 6


@dataclass(frozen=True, slots=True)
class Completion:
    """`text` takes the place of the line from `start` to `end`. `count`: patches that have it, if it was counted."""

    text: str
    kind: Kind
    start: int
    end: int
    count: int | None = None


#: Known words that begin so, with the number of patches.
KnownWords = Callable[[str], Sequence[tuple[str, int]]]


def complete(
    line: str, cursor: int, vocabulary: Vocabulary, tag_counts: dict[str, int], known_words: KnownWords
) -> tuple[Completion, ...]:
    """What may stand where the cursor is; the likeliest kind first. `tag_counts`: patches by name of the tag."""
    before = named_tokens(line[:cursor], vocabulary)
    current = before[-1] if before and before[-1].end == cursor and before[-1].kind in {"word", "quoted"} else None
    earlier = before[:-1] if current is not None else before
    start = current.start if current is not None else cursor
    typed = current.text if current is not None else ""
    found: Iterable[tuple[str, Kind, int | None]]
    last = earlier[-1] if earlier else None
    if last is not None and last.kind == "key" and last.text.casefold() in KEYS:
        found = _after_key(last.text.casefold(), typed, vocabulary, tag_counts)
    elif last is not None and last.kind == "compare":
        found = _steps(_named(earlier[:-1], vocabulary), typed)
    elif current is not None and current.kind == "word":
        found = _anywhere(typed, vocabulary, tag_counts, known_words)
    else:
        found = ()
    return tuple(Completion(text, kind, start, cursor, count) for text, kind, count in found)


def _after_key(
    key: str, typed: str, vocabulary: Vocabulary, tag_counts: dict[str, int]
) -> Iterator[tuple[str, Kind, int | None]]:
    begun = fold(typed)
    if key == "tag":
        yield from (
            (in_quotes(name), "tag", count) for name, count in _tags(begun, vocabulary, tag_counts, MOST_OF_A_KIND * 2)
        )
    elif key == "instrument":
        for _, name in vocabulary.instruments:
            if _begins(name, begun):
                yield in_quotes(name), "instrument", None
    elif key == "has":
        yield from ((what, "key", None) for what in HAS if what.startswith(begun))
    elif key == "from":
        yield from ((in_quotes(what), "origin", None) for what in SOURCES if what.startswith(begun))
    elif key in OF_TIME:
        yield from ((what, "date", None) for what in SPANS if what.startswith(begun))


def _anywhere(
    typed: str, vocabulary: Vocabulary, tag_counts: dict[str, int], known_words: KnownWords
) -> Iterator[tuple[str, Kind, int | None]]:
    begun = fold(typed)
    if not begun:
        return
    labels = (label for folded, label in sorted(vocabulary.labels.items()) if folded.startswith(begun))
    yield from ((f"{label} ", "parameter", None) for label in islice(labels, MOST_OF_A_KIND))
    tags = _tags(begun, vocabulary, tag_counts, MOST_OF_A_KIND)
    yield from ((f"tag:{in_quotes(name)}", "tag", count) for name, count in tags)
    for name in islice((name for _, name in vocabulary.instruments if _begins(name, begun)), MOST_OF_A_KIND):
        yield f"instrument:{in_quotes(name)}", "instrument", None
    yield from ((f"{key}:", "key", None) for key in KEYS if key.startswith(begun))
    last = words(typed)
    if last:
        yield from ((word, "word", count) for word, count in islice(known_words(last[-1]), MOST_OF_A_KIND))


def _tags(begun: str, vocabulary: Vocabulary, tag_counts: dict[str, int], most: int) -> list[tuple[str, int]]:
    """Tags of which a part of the path begins so, most used first; those that no patch has are left out."""
    found = [
        (name, tag_counts.get(name, 0))
        for _, name, key in vocabulary.tags
        if f"/{begun}" in f"/{key}" or _begins(name, begun)
    ]
    return sorted((row for row in found if row[1]), key=lambda row: (-row[1], row[0]))[:most]


def _begins(name: str, begun: str) -> bool:
    return fold(name).startswith(begun) or any(word.startswith(begun) for word in words(name))


def _named(earlier: Sequence[Token], vocabulary: Vocabulary) -> tuple[Control, ...]:
    """The parameter whose name ends here."""
    run: list[Token] = []
    for token in reversed(earlier[-vocabulary.longest :]):
        if token.kind != "word":
            break
        run.insert(0, token)
    for start in range(len(run)):
        name = " ".join(word for token in run[start:] for word in words(token.text))
        controls = vocabulary.control(name) or (vocabulary.begun(name) if start == len(run) - 1 else ())
        if controls:
            return controls
    return ()


def _steps(controls: Sequence[Control], typed: str) -> Iterator[tuple[str, Kind, int | None]]:
    begun = fold(typed)
    names = dict.fromkeys(name for control in controls for name in control.parameter.positions)
    for name in names:
        if fold(name).startswith(begun):
            # Bare, this word asks for what was never received.
            yield f'"{name}"' if name.casefold() == "unknown" else in_quotes(name), "value", None
