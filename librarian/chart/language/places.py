"""Where every key of a TOML text stands. tomllib gives values without places; this scanner gives places without values.

The text has already been read by tomllib, so it is valid TOML: the scanner only walks. It uses no recursion.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

from librarian.chart.faults import Path

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_PART = re.compile(r"""[ \t]*([A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')[ \t]*""")
_STRING = re.compile(
    r"""\"{3}(?:\\.|[^\\])*?\"{3}"{0,2}|'{3}.*?'{3}'{0,2}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n]+")


class Places:
    """Offsets of keys and array elements, answered as line and column (both from 1)."""

    def __init__(self, text: str) -> None:
        self._starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self._offsets: dict[Path, int] = {}
        _Walk(text, self._offsets).run()

    def at(self, path: Path) -> tuple[int, int]:
        """Line and column of the key, or of the nearest enclosing one that is written; (0, 0) for the whole file."""
        while path:
            if path in self._offsets:
                return self.line_column(self._offsets[path])
            path = path[:-1]
        return (0, 0)

    def has(self, path: Path) -> bool:
        """True when this very key is written in the text."""
        return path in self._offsets

    def offset(self, path: Path) -> int:
        """Offset of the key or of its nearest written parent: the order of things in the file."""
        while path and path not in self._offsets:
            path = path[:-1]
        return self._offsets.get(path, 0)

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column of a character offset."""
        line = bisect_right(self._starts, offset)
        return (line, offset - self._starts[line - 1] + 1)


class _Walk:
    def __init__(self, text: str, offsets: dict[Path, int]) -> None:
        self.text = text
        self.offsets = offsets
        self.arrays: dict[Path, int] = {}

    def run(self) -> None:
        text, at = self.text, 0
        prefix: Path = ()
        end = len(text)
        while True:
            at = self.blank(at)
            if at >= end:
                return
            if text.startswith("[[", at):
                at, prefix = self.header(at, 2)
            elif text[at] == "[":
                at, prefix = self.header(at, 1)
            else:
                at, path = self.key(at, prefix)
                at = self.value(at, path)

    def blank(self, at: int) -> int:
        match = _BLANK.match(self.text, at)
        return match.end() if match else at

    def parts(self, at: int) -> tuple[int, list[str], int]:
        """A dotted key from `at`: where it ends, its parts, and where its last part begins."""
        parts: list[str] = []
        while True:
            match = _PART.match(self.text, at)
            if match is None:  # cannot happen in valid TOML; never loop on it
                raise ValueError(f"no key at offset {at}")
            raw = match.group(1)
            parts.append(_unquoted(raw))
            last, at = match.start(1), match.end()
            if not self.text.startswith(".", at):
                return at, parts, last
            at += 1

    def header(self, at: int, brackets: int) -> tuple[int, Path]:
        start = at
        at, parts, _ = self.parts(at + brackets)
        path: Path = ()
        for index, part in enumerate(parts):
            path += (part,)
            if index == len(parts) - 1 and brackets == 2:
                self.arrays[path] = self.arrays.get(path, -1) + 1
                self.offsets.setdefault(path, start)
            if path in self.arrays:
                path += (self.arrays[path],)
            self.offsets.setdefault(path, start)
        return at + brackets, path

    def key(self, at: int, prefix: Path) -> tuple[int, Path]:
        """A key and its equals sign; notes the places of the key and of the tables that its dots open."""
        start = at
        at, parts, last = self.parts(at)
        path = prefix
        for part in parts[:-1]:
            path += (part,)
            self.offsets.setdefault(path, start)
        path += (parts[-1],)
        self.offsets[path] = last
        return at + 1, path

    def value(self, at: int, path: Path) -> int:
        """Over one value. The stack holds the open arrays and inline tables: [path, next index or -1 for a table]."""
        text = self.text
        stack: list[list[Path | int]] = []
        while True:
            at = self.blank(at)
            if text[at] in "[{":
                stack.append([path, 0 if text[at] == "[" else -1])
                at += 1
            elif text[at] in "\"'":
                match = _STRING.match(text, at)
                at = match.end() if match else len(text)
            else:
                match = _SCALAR.match(text, at)
                at = match.end() if match else at + 1
            while stack:  # after a value, or just inside a bracket: find the next element, or close
                at = self.blank(at)
                if text[at] == ",":
                    at = self.blank(at + 1)
                if text[at] in "]}":
                    stack.pop()
                    at += 1
                    continue
                base, index = stack[-1]
                if not isinstance(base, tuple) or not isinstance(index, int):
                    raise TypeError("a stack entry is a path and an index")
                if index < 0:
                    at, path = self.key(at, base)
                else:
                    path = (*base, index)
                    self.offsets[path] = at
                    stack[-1][1] = index + 1
                break
            else:
                return at


def _unquoted(raw: str) -> str:
    if raw[0] == "'":
        return raw[1:-1]
    if raw[0] == '"':
        return str(tomllib.loads(f"k = {raw}")["k"]) if "\\" in raw else raw[1:-1]
    return raw
