"""What a list row says about why a patch was found: which tag, which piece of the note, which letters of the name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from librarian.collection.folding import fold, words
from librarian.collection.records import Reason

from .facts import Facts

#: Signs of a note that a row has room for, around the word found.
SNIPPET = 32
_RUN = re.compile(r"[^\W_]+|[^\w\s]", re.UNICODE)
_ASCII = str.maketrans({chr(code): chr(code + 32) for code in range(ord("A"), ord("Z") + 1)})


def ascii_lower(text: str) -> str:
    """Lower case for A to Z only, as the database does it."""
    return text.translate(_ASCII)


def day(taken: int) -> str:
    """The local day of a stored time, "2026-03-12"."""
    return datetime.fromtimestamp(taken / 1e6, UTC).astimezone().date().isoformat()


def text_reasons(wanted: Sequence[str], column: str, facts: Facts) -> Iterator[Reason]:
    """Where these words stand. The name goes first; a tag or the note is named only if the name does not have them."""
    if column in {"", "name"}:
        spans = name_spans(facts.name, wanted)
        if spans:
            yield Reason("name", facts.name, spans)
            return
    if column in {"", "tags"}:
        tags = [tag for tag in facts.tags if _has(words(tag), wanted)]
        if tags:
            yield Reason("tag", tags[0])
            return
    if column in {"", "note"} and _has(facts.words("note"), wanted):
        yield Reason("note", snippet(facts.note, wanted))


def _has(found: Sequence[str], wanted: Sequence[str]) -> bool:
    return all(any(word.startswith(one) for word in found) for one in wanted)


def name_spans(name: str, wanted: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """(start, end) of the letters to underline; empty unless every word is there."""
    spans: list[tuple[int, int]] = []
    for one in wanted:
        here = [(run.start(), run.end(), fold(run[0])) for run in _RUN.finditer(name)]
        begun = [(start, end, folded) for start, end, folded in here if folded.startswith(one)]
        if not begun:
            return ()
        for start, end, folded in begun:
            # Folding may change the number of letters; then the whole word is underlined.
            plain = len(folded) == end - start
            spans.append((start, start + len(one) if plain else end))
    return tuple(sorted(set(spans)))


def snippet(note: str, wanted: Sequence[str]) -> str:
    """A piece of the note around the first word found, on one line, with ellipses where it was cut."""
    line = " ".join(note.split())
    at = 0
    for run in _RUN.finditer(line):
        if any(fold(run[0]).startswith(one) for one in wanted):
            at = run.start()
            break
    start = max(0, at - SNIPPET // 4)
    if start:
        start = line.find(" ", start, at) + 1 or start
    end = start + SNIPPET
    if end < len(line):
        end = line.rfind(" ", at + 1, end) if line.rfind(" ", at + 1, end) > 0 else end
    piece = line[start:end].strip()
    return f"{'…' if start else ''}{piece}{'…' if end < len(line) else ''}"
