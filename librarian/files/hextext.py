"""Bytes that came as text: hexadecimal listings, bytes saved as UTF-8, bytes saved as nibbles.

No standard says how SysEx is written down as text; the forms accepted are those of common practice: F0, F0h, 0xF0, $F0,
separated by blanks, commas, semicolons, tabs and new lines, with lines of comment.
"""

from __future__ import annotations

import codecs
import re

from librarian.errors import BadInput

_COMMENT = re.compile(r"^[ \t]*(?:;|#|//).*$", re.MULTILINE)
_TOKEN = re.compile(r"[^\s,;]+")
_BYTES = re.compile(r"(?:0[xX]|\$)?([0-9A-Fa-f]{2})[hH]?|((?:[0-9A-Fa-f]{2})+)")
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_LONGEST_SHOWN = 20


def bytes_from(data: bytes) -> tuple[bytes, str]:
    """The MIDI bytes in a file, and how they were written, '' for plain bytes. Raises BadInput for other text."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            try:
                return _hex(data.decode(encoding)), "The file is hexadecimal text; it was read as the bytes it lists."
            except UnicodeDecodeError:
                return data, ""
    if data and data.isascii():
        if not data.strip(b"\x00\x1a"):
            return data, ""  # nothing but padding
        if max(data) < 0x10 and len(data) % 2 == 0 and data[:2] in (b"\x0f\x00", b"\x00\x0f"):
            low_first = data[0] == 0
            pairs = zip(data[::2], data[1::2], strict=True)
            joined = bytes((b << 4 | a) if low_first else (a << 4 | b) for a, b in pairs)
            return joined, "Every byte was saved as two half bytes; they were put together."
        return _hex(data.decode("ascii")), "The file is hexadecimal text; it was read as the bytes it lists."
    if b"\xc3\xb0" in data and b"\xc3\xb7" in data:
        try:
            return data.decode("utf-8").encode("latin-1"), "The bytes were saved as UTF-8 text; this was taken back."
        except UnicodeError:
            return data, ""
    return data, ""


def _hex(text: str) -> bytes:
    bare = _COMMENT.sub("", text.lstrip("\ufeff"))
    out = bytearray()
    for token in _TOKEN.finditer(bare):
        found = _BYTES.fullmatch(token[0])
        if found is None:
            line = bare.count("\n", 0, token.start()) + 1
            shown = token[0][:_LONGEST_SHOWN]
            raise BadInput(
                f"Line {line}: “{shown}” is no byte in hexadecimal, and the file holds no MIDI bytes otherwise.",
                "A .syx file holds raw bytes, or text such as F0 7D 01 F7; comment lines begin with ; or #.",
            )
        out += bytes.fromhex(found[1] or found[2])
    return bytes(out)
