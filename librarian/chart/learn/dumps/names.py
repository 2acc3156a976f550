"""The sound's name in the dumps: where it stands, how long it is, which code each character has."""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from librarian.chart.learn.dumps.evidence import Bytes

LEAST, LEAST_SHIFTED = 4, 6
"""A run of fewer letters that fit is chance."""
_PRINTED = "".join(chr(code) for code in range(0x20, 0x7F))
Forms = tuple[tuple[int, int, str], ...]
_FORMS: Forms = (
    (1, 8, "msb_first"), (2, 4, "msb_first"), (2, 4, "lsb_first"), (2, 7, "msb_first"), (2, 7, "lsb_first"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NameFound:
    """`keys`: of the field in the chart language. `charset`: the table that it names, or None for plain ASCII."""

    at: int
    size: int
    width: int
    keys: Mapping[str, Any]
    charset: Mapping[str, Any] | None

    @property
    def places(self) -> set[tuple[int, int]]:
        """The (byte, bit) that it claims."""
        return {(at, bit) for at in range(self.at, self.at + self.size * self.width) for bit in range(8)}


def find_name(images: Bytes, texts: Sequence[tuple[int, str]], digit: int) -> NameFound | None:
    """`texts`: (row, what the sound is called there). `digit`: bits that a byte of the layout carries."""
    told = [(row, text) for row, text in texts if len(text) >= LEAST]
    if not told:
        return None
    row, text = max(told, key=lambda one: len(one[1]))
    best: tuple[int, int, tuple[int, int, str], int] | None = None
    for form in _FORMS:
        width, bits, order = form
        codes = [_code(images[row], at, width, bits, order) for at in range(images.shape[1] - width + 1)]
        for at in range(len(codes)):
            first = codes[at]
            if first is None or not 0 <= first < 1 << 7:
                continue
            shift = first - ord(text[0])
            size = _agree(codes, at, width, text, shift)
            enough = size >= (LEAST_SHIFTED if shift else LEAST)
            if enough and _one_for_one(images, texts, at, size, form) and (best is None or size > best[1]):
                best = (at, size, form, shift)
    return _found(images, texts, best, digit) if best is not None else None


def _one_for_one(
    images: Bytes, texts: Sequence[tuple[int, str]], at: int, size: int, form: tuple[int, int, str]
) -> bool:
    """Every character has one code in all of the texts, and every code is one character."""
    width, bits, order = form
    code_of: dict[str, int | None] = {}
    char_of: dict[int | None, str] = {}
    for row, text in texts:
        for place, char in enumerate(text[:size]):
            code = _code(images[row], at + place * width, width, bits, order)
            if code_of.setdefault(char, code) != code or char_of.setdefault(code, char) != char:
                return False
    return True


def _agree(codes: Sequence[int | None], at: int, width: int, text: str, shift: int) -> int:
    """How many characters stand there, one behind the other."""
    size = 0
    while size < len(text) and at + size * width < len(codes) and codes[at + size * width] == ord(text[size]) + shift:
        size += 1
    return size


def _code(row: Bytes, at: int, width: int, bits: int, order: str) -> int | None:
    parts = [int(row[at + place]) for place in range(width)]
    if any(part >> bits for part in parts):
        return None
    number = 0
    for part in parts if order == "msb_first" else reversed(parts):
        number = number << bits | part
    return number


def _found(
    images: Bytes, texts: Sequence[tuple[int, str]], best: tuple[int, int, tuple[int, int, str], int], digit: int
) -> NameFound:
    at, size, (width, bits, order), shift = best
    seen: dict[str, int] = {}
    pad: int | None = None
    for row, text in texts:
        codes = [_code(images[row], at + place * width, width, bits, order) for place in range(size)]
        seen.update({char: code for char, code in zip(text, codes, strict=False) if code is not None})
        rest = set(codes[len(text) :])
        if len(rest) == 1:
            pad = rest.pop()
    keys: dict[str, Any] = {"name": size, "at": at}
    if width > 1:
        keys["bytes"] = width
    if order != "msb_first":
        keys["order"] = order
    if width > 1 and bits != digit:
        keys["digit"] = bits
    charset = None
    if any(code != ord(char) for char, code in seen.items()):
        charset = _charset(seen, shift)
        keys["charset"] = "learnt"
    if pad is not None and pad != seen.get(" ", 0x20):
        keys["pad"] = pad
    return NameFound(at, size, width, keys, charset)


def _charset(seen: Mapping[str, int], shift: int) -> dict[str, Any]:
    """Ranges of letters and digits that run on from what was seen; all of ASCII where everything is shifted alike."""
    if all(code == ord(char) + shift for char, code in seen.items()) and 0x20 + shift >= 0 and 0x7E + shift < 256:
        return {"characters": _PRINTED, "first": 0x20 + shift}
    more = {code: char for char, code in seen.items()}
    for run in (string.ascii_uppercase, string.ascii_lowercase, string.digits):
        starts = {seen[char] - place for place, char in enumerate(run) if char in seen}
        if len(starts) == 1:
            first = starts.pop()
            more |= {first + place: char for place, char in enumerate(run) if first + place not in more}
    codes = sorted(code for code in more if 0 <= code < 256)
    first = codes[0]
    return {"characters": more[first], "first": first, "more": {str(code): more[code] for code in codes[1:]}}
