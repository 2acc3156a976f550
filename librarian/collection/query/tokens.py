"""A typed line cut into tokens that know where they stand."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

Kind = Literal["word", "quoted", "(", ")", "compare", "key"]

#: A longer line was pasted by accident; what follows is not looked at.
LONGEST_LINE = 4000
#: Tokens in one line; more of them would only slow typing down.
MOST_TOKENS = 400

_QUOTES = {'"': '"', "“": "”", "„": "“", "«": "»"}
_COMPARE = re.compile(r">=|<=|!=|<>|=>|=<|[<>=≥≤≠]")
_SAME_COMPARE = {"=>": ">=", "=<": "<=", "≥": ">=", "≤": "<=", "≠": "!=", "<>": "!="}
_KEY = re.compile(r"[^\W\d_][\w-]*:", re.UNICODE)
#: In "wave!=saw" the mark belongs to the comparison.
_WORD = re.compile(r"(?:(?!!=)[^\s()<>=≥≤≠\"“„«])+")


@dataclass(frozen=True, slots=True)
class Token:
    """`text` is what it says (a quoted one without its quotes, a key without its colon); `start`, `end` in the line.

    `open_end`: a quote that was never closed. `glued`: no blank between it and the token before.
    """

    kind: Kind
    text: str
    start: int
    end: int
    glued: bool = False
    open_end: bool = False


def tokens(line: str) -> list[Token]:
    """The tokens of a line, from left to right; every sign of it belongs to one of them or is a blank."""
    found: list[Token] = []
    place, text = 0, line[:LONGEST_LINE]
    while place < len(text) and len(found) < MOST_TOKENS:
        sign = text[place]
        if sign.isspace():
            place += 1
            continue
        token = _next(text, place, bool(found) and found[-1].end == place)
        found.append(token)
        place = token.end
    return found


def _next(text: str, place: int, glued: bool) -> Token:
    sign = text[place]
    if sign in "()":
        return Token("(" if sign == "(" else ")", sign, place, place + 1, glued)
    if sign in _QUOTES:
        end = text.find(_QUOTES[sign], place + 1)
        if end < 0:
            return Token("quoted", text[place + 1 :], place, len(text), glued, open_end=True)
        return Token("quoted", text[place + 1 : end], place, end + 1, glued)
    compare = _COMPARE.match(text, place)
    if compare:
        return Token("compare", _SAME_COMPARE.get(compare[0], compare[0]), place, compare.end(), glued)
    key = _KEY.match(text, place)
    # "http://…" or "12:30" is no key; "tag:/x" is none either.
    if key and not text.startswith("//", key.end()):
        return Token("key", key[0][:-1], place, key.end(), glued)
    word = _WORD.match(text, place)
    # Whatever begins nothing else is a word of its own, so that the cutting always moves on.
    end = word.end() if word else place + 1
    return Token("word", text[place:end], place, end, glued)


def in_quotes(text: str) -> str:
    """The text as it has to be typed to be one value: bare, or in quotes that do not occur in it. Nothing stays so."""
    cut = tokens(f"is:{text}")[1:]
    if all(token.glued and token.kind in {"word", "key"} for token in cut):
        return text
    return next((f"{opening}{text}{closing}" for opening, closing in _QUOTES.items() if closing not in text), text)
