"""The documented keys of every `--json` answer. Keys are only ever added; `librarian answers` prints their schema.

Every answer is one object with "verb" and "ok". With "ok": false there is "problem" and nothing else. Values are the
exact integers in the instrument's own units, `text` is what people read, times are ISO 8601 in UTC, bytes are hex.
"""

from __future__ import annotations

from librarian.cli.answers.base import Answer, Problem, Trouble
from librarian.cli.answers.charts import ChartAbout, ChartPrinted, ChartRow, Charts, Checked, Fault, Schema
from librarian.cli.answers.collection import (
    Compared,
    Done,
    Found,
    LibraryAbout,
    Likes,
    QueryProblem,
    Shown,
    Similar,
    Step,
    Tags,
    Versions,
)
from librarian.cli.answers.instruments import (
    Captured,
    Identified,
    Instrument,
    Instruments,
    Panicked,
    Port,
    Ports,
    Recalled,
    Verified,
)
from librarian.cli.answers.sounds import Comparison, Difference, Patch, Sound, Value, Version
from librarian.cli.answers.trying import Demo, DemoStep, Documented

__all__ = [
    "OF_VERB",
    "Answer",
    "Captured",
    "ChartAbout",
    "ChartPrinted",
    "ChartRow",
    "Charts",
    "Checked",
    "Compared",
    "Comparison",
    "Demo",
    "DemoStep",
    "Difference",
    "Documented",
    "Done",
    "Fault",
    "Found",
    "Identified",
    "Instrument",
    "Instruments",
    "LibraryAbout",
    "Likes",
    "Panicked",
    "Patch",
    "Port",
    "Ports",
    "Problem",
    "QueryProblem",
    "Recalled",
    "Schema",
    "Shown",
    "Similar",
    "Sound",
    "Step",
    "Tags",
    "Trouble",
    "Value",
    "Verified",
    "Version",
    "Versions",
]

OF_VERB: dict[str, type[Answer]] = {
    "answers": Documented,
    "capture": Captured,
    "chart check": Checked,
    "chart list": Charts,
    "chart print": ChartPrinted,
    "chart schema": Schema,
    "compare": Compared,
    "delete": Done,
    "demo": Demo,
    "find": Found,
    "identify": Identified,
    "instrument add": Instruments,
    "instrument change": Instruments,
    "instrument list": Instruments,
    "instrument remove": Instruments,
    "keep": Done,
    "library path": LibraryAbout,
    "like": Likes,
    "note": Done,
    "panic": Panicked,
    "ports": Ports,
    "recall": Recalled,
    "redo": Step,
    "rename": Done,
    "restore": Done,
    "show": Shown,
    "tag": Done,
    "tags": Tags,
    "undo": Step,
    "untag": Done,
    "verify": Verified,
    "versions": Versions,
}
