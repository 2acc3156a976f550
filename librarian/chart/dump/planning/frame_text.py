"""Frames as they are written in a chart: "F0 7D 3{device} 20 {program} {data} {sum} F7" to tokens."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.chart.dump.planning.digits import HEX, NotReadable

_REMEDY = 'Write bytes as two hexadecimal digits and parts in braces, e.g. "F0 7D {device} 10 F7" or "3{device}".'
LONGEST = 8192


@dataclass(frozen=True, slots=True)
class Fixed:
    """One constant byte."""

    byte: int


@dataclass(frozen=True, slots=True)
class Named:
    """A part by its name."""

    name: str


@dataclass(frozen=True, slots=True)
class Halves:
    """A byte made of two nibbles, each a constant or a part."""

    high: int | str
    low: int | str


Token = Fixed | Named | Halves


def read_frame(text: str) -> list[Token]:
    """The tokens of a frame. Raises `NotReadable` for what is neither bytes nor parts."""
    if len(text) > LONGEST:
        raise NotReadable(f"The frame has {len(text)} characters; {LONGEST} are the most.", "Use a `reserved` part.")
    tokens: list[Token] = []
    for word in text.replace("\t", " ").replace("\n", " ").split(" "):
        if word:
            tokens += _read_word(word)
    if not tokens:
        raise NotReadable("The frame is empty.", _REMEDY)
    return tokens


def _read_word(word: str) -> list[Token]:
    units: list[int | str] = []
    rest = word
    while rest:
        if rest[0] == "{":
            name, closed, rest = rest[1:].partition("}")
            if not closed or not name or not all(letter.isalnum() or letter in "_-" for letter in name):
                raise NotReadable(f"“{word}” is no part in braces.", _REMEDY)
            units.append(name)
        elif rest[0] in HEX:
            units.append(int(rest[0], 16))
            rest = rest[1:]
        else:
            raise NotReadable(f"“{word}” is neither a byte nor a part.", _REMEDY)
    if len(units) == 1 and isinstance(units[0], str):
        return [Named(units[0])]
    if len(units) % 2:
        raise NotReadable(f"“{word}” is half a byte too long or too short.", _REMEDY)
    tokens: list[Token] = []
    for high, low in zip(units[0::2], units[1::2], strict=True):
        if isinstance(high, int) and isinstance(low, int):
            tokens.append(Fixed(high << 4 | low))
        else:
            tokens.append(Halves(high, low))
    return tokens


def named_in(text: str | None) -> list[str]:
    """The parts that a frame names, in order; nothing for a frame that cannot be read."""
    names: list[str] = []
    try:
        for token in read_frame(text) if text is not None else []:
            if isinstance(token, Named):
                names.append(token.name)
            elif isinstance(token, Halves):
                names += [half for half in (token.high, token.low) if isinstance(half, str)]
    except NotReadable:
        return []
    return names
