"""The collection: sounds kept, found and never lost, in one SQLite file.

`Library` is the door; everything behind it may change. It imports no window and prints nothing.
"""

from __future__ import annotations

from .backups import BackupRow
from .finding import Found
from .folding import clean_name
from .holding import Held
from .layout import Layout
from .library import Library
from .opening import default_path
from .packed import PackedValues, pack_many, usual_layout
from .problems import BusyLibrary, ChangedLibrary, LibraryProblem, NewerLibrary
from .query.complete import Completion
from .query.dates import Span, here_and_now, span
from .query.problem import Problem
from .records import (
    Group,
    GroupBy,
    Ids,
    InstrumentRow,
    NewPatch,
    Order,
    PatchRow,
    Reason,
    SavedSearchRow,
    StepRow,
    UnreadRow,
    VersionRow,
)
from .repairing import Repaired, repair
from .values import ValueTable

__all__ = [
    "BackupRow",
    "BusyLibrary",
    "ChangedLibrary",
    "Completion",
    "Found",
    "Group",
    "GroupBy",
    "Held",
    "Ids",
    "InstrumentRow",
    "Layout",
    "Library",
    "LibraryProblem",
    "NewPatch",
    "NewerLibrary",
    "Order",
    "PackedValues",
    "PatchRow",
    "Problem",
    "Reason",
    "Repaired",
    "SavedSearchRow",
    "Span",
    "StepRow",
    "UnreadRow",
    "ValueTable",
    "VersionRow",
    "clean_name",
    "default_path",
    "here_and_now",
    "pack_many",
    "repair",
    "span",
    "usual_layout",
]
