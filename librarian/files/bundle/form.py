"""The bundle's own words: names of its files, its numbers, and the text that explains it to whoever opens it."""

from __future__ import annotations

import json
from typing import Any

FORMAT = 1
"""Grows when a reader of an older one would misread the new one; keys may be added without it."""
MARK = "librarian bundle"
INDEX = "bundle.json"
README = "README.txt"
INSTRUMENTS = "instruments.jsonl"
SOUNDS = "sounds/{:06d}.jsonl"
UNREAD = "not-understood.jsonl"
SEARCHES = "searches.jsonl"
CHARTS = "charts/"
SOUNDS_A_FILE = 1000

EXPLAINED = """\
This is a bundle of sounds of electronic instruments.

It is a zip of plain text in UTF-8. Files that end in .jsonl have one JSON object on each line.

bundle.json         what is in the bundle: every file with its size and SHA-256, and counts
instruments.jsonl   the instruments; "chart_file" is the chart that explains an instrument
charts/*.toml       charts: every parameter of a model, its range, how it travels by MIDI, how values are shown
sounds/*.jsonl      the sounds, with name, tags, note and every version they ever had, oldest first
not-understood.jsonl  MIDI bytes from files that no chart explained
searches.jsonl      search lines that were kept

A version has "values": parameter id to the exact whole number in the instrument's own units (the chart's "range"
and "display" say what it means), "unknown": parameters that were never received, and "received": the MIDI messages
that it came from, in hexadecimal, byte for byte. Joined one behind the other they are what a .syx file holds: sending
them to the instrument brings the sound back without any program but one that sends bytes. "taken" is when, in UTC;
"origin" and "detail" say how; "parent" is the number of the version that it was made from.
"""


def line(found: Any) -> bytes:
    """One object as a line: keys in alphabetical order, so that equal content is equal bytes."""
    return json.dumps(found, ensure_ascii=False, sort_keys=True, separators=(", ", ": ")).encode("utf-8") + b"\n"


def page(found: Any) -> bytes:
    """One object for people, over several lines."""
    return json.dumps(found, ensure_ascii=False, sort_keys=True, indent=1).encode("utf-8") + b"\n"
