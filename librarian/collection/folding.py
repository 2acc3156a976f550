"""Accent- and case-blind words, and the order of names.

The one definition of what a word is, used when sounds are kept (the index gets words that are already folded) and
when they are looked for, so that both can never disagree.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache

from librarian.errors import BadInput

LONGEST_NAME = 1000
#: What follows in a longer run of letters does not help to find it.
LONGEST_WORD = 100
LONGEST_TAG = 200
MOST_TAGS = 1000
LONGEST_NOTE = 1_000_000

#: Letters that Unicode does not take apart, but that nobody wants to type to find a sound. Common practice, no source.
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ħ": "h", "ŧ": "t", "ı": "i", "æ": "ae", "œ": "oe", "þ": "th"})
#: Scripts that are written without spaces: each sign is a word of its own (ideographs, kana).
_ALONE = "\u3040-\u30ff\u3400-\u4dbf\u4e00-\u9fff\uf900-\ufaff\U00020000-\U0003ffff"
_WORD = re.compile(f"[{_ALONE}]|[^\\W_{_ALONE}]+|[^\\w\\s\\x00-\\x7f]", re.UNICODE)
_DIGITS = re.compile(r"\d+", re.ASCII)
_DIGIT = re.compile(r"\d", re.ASCII)
_ASCII_WORD = re.compile(r"[a-z0-9]+")
#: Control characters (C0, DEL, C1) and line or paragraph separators: a name is one line.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_NOTE_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]+")


def fold(text: str) -> str:
    """The text without case, accents and width variants."""
    if text.isascii():
        return text.lower()
    apart = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in apart if unicodedata.category(sign) not in {"Mn", "Cf"})
    # Taking apart may bring capitals and joined letters back (a circled A, for instance): fold once more.
    return bare.casefold().translate(_PLAIN)


def words(text: str) -> list[str]:
    """The folded words in order: runs of letters and digits; single signs where a script has no spaces;
    signs such as arrows and pictures. Punctuation separates."""
    if text.isascii():
        return [word[:LONGEST_WORD] for word in _ASCII_WORD.findall(text.lower())]
    return [
        word[:LONGEST_WORD]
        for word in _WORD.findall(fold(text))
        if word[0].isalnum() or unicodedata.category(word[0])[0] == "S"
    ]


@lru_cache(maxsize=4096)
def tag_key(name: str) -> str:
    """What makes two spellings the same tag."""
    return fold(name)


def order_key(name: str) -> str:
    """Names sort by this: folded words, numbers by size ("Bass 9" before "Bass 10")."""
    return order_of(words(name))


def order_of(folded: Sequence[str]) -> str:
    """The same from words that are folded already."""
    joined = " ".join(folded)
    return _DIGITS.sub(lambda found: _number_key(found[0]), joined) if _DIGIT.search(joined) else joined


def _number_key(digits: str) -> str:
    """The count of digits goes first as a letter-like sign, so that plain text order is the order by size."""
    bare = digits.lstrip("0") or "0"
    return f"{chr(0x30 + min(len(bare), 9))}{bare}"


def clean(text: str) -> str:
    """One line that SQLite can store: control characters become spaces, lone surrogates the replacement sign."""
    if text.isascii() and text.isprintable():
        return text.strip()
    return _CONTROL.sub(" ", whole(text)).strip()


def clean_name(name: str, *, cut: bool = False) -> str:
    """The name as kept. Longer than 1,000 signs: refused, or with `cut` (imports) shortened with an ellipsis."""
    tidy = clean(name[: LONGEST_NAME * 8])
    if len(tidy) <= LONGEST_NAME and len(name) <= LONGEST_NAME * 8:
        return tidy
    if cut:
        return tidy[: LONGEST_NAME - 1].rstrip() + "…"
    raise BadInput(
        f"A name of {len(name):,} signs is too long to show.", f"Use {LONGEST_NAME:,} at most; a note takes more."
    )


def clean_note(note: str) -> str:
    """Plain text of several lines; control characters other than line ends and tabs become spaces."""
    if not note:
        return note
    if len(note) > LONGEST_NOTE:
        raise BadInput(f"A note of {len(note):,} signs is too long.", f"Use {LONGEST_NOTE:,} at most.")
    return _NOTE_CONTROL.sub(" ", whole(note).replace("\r\n", "\n").replace("\r", "\n")).strip()


@lru_cache(maxsize=4096)
def clean_tag(name: str) -> str:
    """The tag as kept: one line, parts of a path joined by single slashes. Empty ones are refused."""
    if len(name) > LONGEST_TAG * 4:
        raise BadInput("That tag is too long.", f"Use {LONGEST_TAG} signs at most; a note takes more.")
    tidy = "/".join(part for part in (" ".join(part.split()) for part in clean(name).split("/")) if part)
    if not tidy:
        raise BadInput("A tag needs at least one letter or digit.")
    if len(tidy) > LONGEST_TAG:
        raise BadInput(f"The tag “{tidy[:40]}…” is too long.", f"Use {LONGEST_TAG} signs at most; a note takes more.")
    return tidy


def clean_tags(names: Iterable[str]) -> list[str]:
    """The tags of one sound, each as kept."""
    return few_enough([clean_tag(name) for name in names])


def few_enough(names: list[str], most: int = MOST_TAGS) -> list[str]:
    """The tags of one sound as they are, unless they are too many for it."""
    if len(names) > most:
        raise BadInput(f"{len(names):,} tags are too many for one sound.", f"Use {MOST_TAGS:,} at most.")
    return names


def whole(text: str) -> str:
    """Pairs become the sign they mean; lone ones the replacement sign."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
