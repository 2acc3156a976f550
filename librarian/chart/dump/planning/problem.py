"""One fault of the dump side of a chart: where in the file, what is wrong, what to write instead."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """`path`: keys as in the TOML, e.g. ("layout", "voice", "fields", 3, "bits"). `sentence` is plain and whole."""

    path: tuple[str | int, ...]
    sentence: str
    remedy: str = ""
