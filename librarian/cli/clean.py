"""Text from outside (names in dumps, ports, files, the library) made harmless for a terminal.

A name may hold anything: escape sequences that recolour, retitle or rewind a terminal, marks that turn the reading
direction, line breaks that fake a second line. They are shown, not obeyed and not swallowed: ESC becomes \\x1b.
"""

from __future__ import annotations

import unicodedata

# Invisible characters of category Cf that do no harm and are part of words in living scripts (and in emoji).
_HARMLESS = frozenset("\u00ad\u200c\u200d")
# Cc control, Cf format (direction marks, zero widths), Cs lone surrogates, Co private use, Cn unassigned,
# Zl and Zp line and paragraph separators.
_VISIBLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def clean(text: str, *, lines: bool = False, longest: int = 2000) -> str:
    """The text with everything invisible written out. `lines`: line feeds stay. Cut after `longest` characters."""
    cut = text[:longest]
    safe = "".join(_shown(each, lines) for each in cut)
    return safe if len(text) <= longest else f"{safe}… ({len(text)} characters)"


def _shown(character: str, lines: bool) -> str:
    if character == "\n" and lines:
        return character
    if unicodedata.category(character) in _VISIBLE and character not in _HARMLESS:
        return _written_out(ord(character))
    return character


def _written_out(code: int) -> str:
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
